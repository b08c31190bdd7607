"""The tree of errors; each class owns its exit code, each instance its whole message.

DawnproofError                     anything a person can mend; the message says what, where and how
├── UsageError            exit 2   wrong call: no such file, job, bed or book, nonsense argument
│   ├── RuleBookError     exit 2   names book, key, nearest known key, and the mend
│   └── EnvironmentFault  exit 2   the machine or a folder is not as needed
├── ScanError             exit 1   a file that cannot be read as a scan, with the reason
│   ├── NotWhole                   still being written, or damaged
│   ├── NotAScan                   whole, but not a TIFF we can measure
│   └── WorkerDied                 the measuring child ended: memory, time, or a crash
├── JoinRefused           exit 1   parts that do not belong together, with the reason
└── MoveError             exit 1   a move that was not made; the source is untouched
    ├── BrokenOff         exit 1   told to stop in the middle of a file: it goes on another time
    └── LedgerError       exit 1   the ledger cannot be written: nothing moves
"""

from typing import ClassVar


class DawnproofError(Exception):
    """Something a person in the studio can mend; `str(error)` is the whole message."""

    exit_code: ClassVar[int] = 1


class UsageError(DawnproofError):
    """The command was given something that does not exist or cannot be."""

    exit_code: ClassVar[int] = 2


class RuleBookError(UsageError):
    """A rule book that cannot be used."""

    def __init__(self, book: str, key: str, problem: str, mend: str = "", line: int = 0) -> None:
        self.book, self.key, self.problem, self.mend = book, key, problem, mend
        where = f"{book}, line {line}" if line else book
        where = f"{where}: {key}" if key else where
        super().__init__(f"{where}: {problem}" + (f"; {mend}" if mend else ""))

    def at_line(self, line: int) -> "RuleBookError":
        """The same, with the line of the book where its key stands."""
        return RuleBookError(self.book, self.key, self.problem, self.mend, line)


class EnvironmentFault(UsageError):
    """A folder, a permission or a library is not as the daemon needs it."""


class ScanError(DawnproofError):
    """A file that cannot be measured."""


class NotWhole(ScanError):
    """The file is incomplete: still being written, or cut off."""


class NotAScan(ScanError):
    """The file is whole but is not an image that can be measured."""


class WorkerDied(ScanError):
    """The child that measured or joined ended before it answered."""


class JoinRefused(DawnproofError):
    """Parts that cannot be joined honestly.

    `code` is a stable word for tests and records: unrelated, overlap, ambiguous, turned, format, clipped, lift, ...
    """

    def __init__(self, code: str, reason: str, advice: str = "") -> None:
        self.code, self.reason, self.advice = code, reason, advice
        super().__init__(reason)

    def __reduce__(self) -> tuple[type["JoinRefused"], tuple[str, str, str]]:
        return type(self), (self.code, self.reason, self.advice)


class MoveError(DawnproofError):
    """A file could not be moved; it is still where it was."""


class BrokenOff(MoveError):
    """Reading or copying was told to stop; nothing is wrong, and nothing of it is left."""


class LedgerError(MoveError):
    """The ledger cannot be written; nothing is moved until it can."""
