"""`python -m dawnproof` and the console command."""

import os

INTERRUPTED = 130

try:
    import signal
    import sys
    from collections.abc import Iterator
    from contextlib import contextmanager, suppress
    from types import FrameType
    from typing import NoReturn

    from .errors import DawnproofError
except KeyboardInterrupt:  # these take longer than all that was before them
    os._exit(INTERRUPTED)


class _Interrupts:
    """Remembers Ctrl-C: an interrupt that strikes inside a library's own clean-up is swallowed there."""

    def __init__(self) -> None:
        self.came = False

    def __call__(self, number: int, frame: FrameType | None) -> None:
        self.came = True
        raise KeyboardInterrupt


def main() -> None:
    """Run the command line; an error a person can mend is one message on stderr and its exit code."""
    interrupts = _Interrupts()
    signal.signal(signal.SIGINT, interrupts)
    try:
        with _child_begun(sys.argv[1:]):
            from .cli import app

            app()
    except DawnproofError as error:
        sys.stderr.write(f"dawnproof: {str(error).encode('utf-8', 'backslashreplace').decode()}\n")
        if interrupts.came:
            _leave_interrupted()
        sys.exit(error.exit_code)
    except SystemExit:
        if interrupts.came:
            _leave_interrupted()
        raise
    except KeyboardInterrupt:
        _leave_interrupted()
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    finally:  # what is left is the interpreter's own end, which would tell an interrupt by its traceback
        signal.signal(signal.SIGINT, lambda number, frame: os._exit(INTERRUPTED))


@contextmanager
def _child_begun(words: list[str]) -> Iterator[None]:
    """Command line and rule book take as long to load as what measures: for `examine`, a child loads that meanwhile."""
    if words[:1] != ["examine"] or "--help" in words:
        yield
        return
    from .workers import ahead
    from .workers.asks import ready_to_measure

    ahead.begin(ready_to_measure)
    try:
        yield
    finally:
        ahead.end_unused()


def _leave_interrupted() -> NoReturn:
    """Exit code 130 whatever was interrupted: where it was code made from text, as data classes are, the interpreter
    would end itself by the signal instead."""
    with suppress(OSError, ValueError):
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(INTERRUPTED)


if __name__ == "__main__":
    main()
