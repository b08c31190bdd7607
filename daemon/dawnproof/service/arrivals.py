"""Files of the inbox between their first sight and their scan row: settling, waiting their turn, being measured."""

from __future__ import annotations

import queue
import traceback
from collections.abc import Callable, Collection
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace
from pathlib import Path

from ..errors import LedgerError, MoveError, NotAScan, NotWhole, ScanError, WorkerDied
from ..ledger.ledger import Ledger
from ..model import ArrivingRow, Identity, ListedJob, Measured, PartName, ScanRow, StayingRow, shown
from ..naming import compile_rule, job_key
from ..pipeline.intake import arrived, ask_for, belongs_elsewhere, said_event
from ..pipeline.roots import Roots
from ..storage.disk import Digested, digest
from ..storage.studio import Studio
from ..storage.whole import bytes_in_holes, check_structure
from ..watch.gate import Gate, Lease, Passage, WholeChecks, left_alone, pass_gate
from ..watch.inbox import Entry, scan_inbox
from ..watch.observer import Hint
from ..watch.settle import Patience
from ..workers.engine import Engine
from ..workers.measuring import measure_scan
from .arriving import Arriving, Stage, shown_stage, touched
from .entering import enter
from .staying import Staying
from .turns import Turns
from .voice import Voice, now_utc

SCAN_ENDINGS = (".tif", ".tiff", ".btf", ".tf8")
LOOK_S = 1.0  # between two looks at a file that settles
LOOK_AGAIN_S = 5.0  # and at one that settled without being whole
OFFERED = 4  # files handed out at a time, more where many computers help: the rest waits here, in turns between beds


@dataclass(frozen=True, slots=True)
class Admitted:
    """A scan that was entered in the ledger."""

    row: ScanRow
    elsewhere: bool  # it belongs to no job's parts and goes to its own place


class Arrivals:
    """`take_hints`, `full_scan`, `look` are called by the loop; `on_admitted` gets every new scan row."""

    def __init__(
        self,
        studio: Studio,
        ledger: Ledger,
        pool: Engine,
        roots: Roots,
        voice: Voice,
        reader: Executor,
        on_admitted: Callable[[Admitted], None],
    ) -> None:
        self._studio, self._ledger, self._pool, self._roots, self._voice = studio, ledger, pool, roots, voice
        self._reader = reader
        self._on_admitted = on_admitted
        self._rule = compile_rule(studio.book.naming.pattern, studio.book.name)
        self._intake = studio.book.intake
        self._patience = Patience(self._intake.settle_s, self._intake.give_up_min * 60)
        self._files: dict[Path, Arriving] = {}
        self._turns = Turns()
        self._admitted: dict[Path, Identity] = {}
        self.staying = Staying(ledger, voice)
        self._measuring = 0
        self.impatient = False  # nothing more will come: what is not whole now never will be
        self.listed: dict[str, ListedJob] = {}

    # what the loop asks

    def left(self) -> bool:
        """Whether a file has not come to its end yet."""
        return any(f.stage is not Stage.STAYING for f in self._files.values())

    def busy(self) -> bool:
        """Whether something is being measured or read right now."""
        return any(f.stage in {Stage.MEASURING, Stage.READING, Stage.TURN} for f in self._files.values())

    def arriving_jobs(self) -> frozenset[str]:
        """Jobs of which a part is being measured: they are not judged behind its back."""
        names = (f.arrived.name for f in self._files.values() if f.arrived is not None)
        return frozenset(n.job for n in names if isinstance(n, PartName))

    def be_impatient(self, now_s: float) -> None:
        """Judge at once what is there."""
        if not self.impatient:
            self.impatient = True
            for file in self._files.values():
                file.look_s = min(file.look_s, now_s)

    def show(self) -> None:
        """Bring the ledger's list of what is arriving up to date."""
        default = self._studio.book.beds[0].name
        self._ledger.set_arriving(
            (str(path).encode("utf-8", "surrogateescape"),
             ArrivingRow(shown(path.name), f.entry.bed or default, f.entry.identity.size, f.since_utc,
                         *shown_stage(f)))
            for path, f in self._files.items() if f.stage is not Stage.STAYING
        )  # fmt: skip

    # seeing

    def take_hints(self, hints: queue.Queue[Hint]) -> bool:
        """Empty the queue; True when something was told that is not known yet."""
        news = False
        try:
            while True:
                hint = hints.get_nowait()
                news = news or hint.path is None or hint.path not in self._files
        except queue.Empty:
            return news

    def full_scan(self) -> frozenset[tuple[Path, Identity]]:
        """Look at everything in the inbox: the truth, of which events are hints. Gives what counts for stillness."""
        away = self._roots.unsound_in(self._studio.inbox)
        found = scan_inbox(self._studio.inbox, {b.name for b in self._studio.book.beds}, not_into=away)
        present = {e.path: e for e in found.entries} | {p: f.entry for p, f in self._files.items() if _in(away, p)}
        for entry in found.entries:
            self._see(entry)
        for path in [
            p for p, f in self._files.items() if p not in present and f.measuring is None and f.reading is None
        ]:
            del self._files[path]
        self._admitted = {p: i for p, i in self._admitted.items() if p in present or _in(away, p)}
        for trouble in found.troubles:
            self.staying.stay(StayingRow(str(trouble.path), shown(trouble.path.name), trouble.reason, "unreadable"))
        self.staying.forget(self._studio.inbox, present, {str(t.path) for t in found.troubles}, away)
        if found.cut_short:
            self._voice.alarm("inbox size", "the inbox holds more files than are looked at in one go; move some away")
        else:
            self._voice.calm("inbox size")
        return frozenset((e.path, e.identity) for e in found.entries if not left_alone(e.path.name, self._intake.leave))

    def _see(self, entry: Entry) -> None:
        known = self._files.get(entry.path)
        if known is not None:
            known.entry = entry
            return
        if self._admitted.get(entry.path) == entry.identity:
            return
        waiting = self._ledger.waiting_at(entry.path)
        if waiting is not None and not touched(waiting, entry):
            self._admitted[entry.path] = entry.identity
            return
        self._files[entry.path] = Arriving(entry, now_utc().isoformat())

    # looking

    def look(self, now: float) -> None:
        """One turn: ask the gate, collect what the children found, hand out the next files."""
        for path, file in list(self._files.items()):
            if not self._roots.sound(path):
                continue
            try:
                self._look_at(path, file, now)
            except (LedgerError, MoveError, OSError):
                raise
            except Exception as error:  # the one broad handler around one file: it must not end the night
                self._broke(path, file, error, now)
        self._hand_out()
        self.staying.enter()

    def _look_at(self, path: Path, file: Arriving, now: float) -> None:
        if file.measuring is not None:
            if file.measuring.done():
                self._measured(path, file, file.measuring, now)
        elif file.reading is not None:
            if file.reading.done():
                self._read(path, file, file.reading, now)
        elif file.stage is not Stage.TURN and now >= file.look_s:
            file.look_s = now + min(LOOK_S, max(0.1, self._patience.settle_s / 5))
            if not self._known_undecodable(file, now):
                self._pass_gate(path, file, now)

    def _known_undecodable(self, file: Arriving, now: float) -> bool:
        """The child could not read it to its end, and nothing has changed since: not decoded again before its time."""
        if file.undecodable is None or self.impatient or file.entry.identity != file.undecodable:
            return False
        since = file.watched.since_s if file.watched else now
        file.look_s = now + LOOK_AGAIN_S
        return now - since < self._patience.give_up_s

    def _pass_gate(self, path: Path, file: Arriving, now: float) -> None:
        patience = replace(self._patience, evening_over=self.impatient)
        is_tiff = path.suffix.lower() in SCAN_ENDINGS
        checks = WholeChecks(check_structure if is_tiff else _any_file, bytes_in_holes)
        passage = pass_gate(path, file.watched, now, patience, self._intake.leave, checks)
        file.watched, file.reason = passage.watched, passage.reason
        if passage.gate in {Gate.LEFT_ALONE, Gate.NEVER_TOUCHED}:
            kind = "left alone" if passage.gate is Gate.LEFT_ALONE else "never touched"
            self._stays_put(path, file, passage.reason, kind, now)
        elif passage.gate in {Gate.GONE, Gate.FOLDER}:
            del self._files[path]
        elif passage.gate is not Gate.WAIT:
            self._whole_or_set_aside(path, file, passage)
        elif self.impatient and passage.watched is not None and passage.watched.problem == Lease.HELD.value:
            self._stays_put(path, file, f"{Lease.HELD.value}; close it there", "held open", now)
        else:
            settled = passage.watched is not None and bool(passage.watched.problem)
            file.stage = Stage.WAITING if settled else Stage.SETTLING
            if settled and not self.impatient:
                file.look_s = now + min(LOOK_AGAIN_S, max(LOOK_S, self._patience.settle_s / 2))

    def _stays_put(self, path: Path, file: Arriving, reason: str, kind: str, now: float) -> None:
        self.staying.stay(StayingRow(str(path), shown(path.name), reason, kind))
        file.stage, file.look_s = Stage.STAYING, now + self._intake.scan_s

    def _whole_or_set_aside(self, path: Path, file: Arriving, passage: Passage) -> None:
        file.arrived = arrived(self._studio, self._ledger, self._rule, path, file.entry.bed, self.listed)
        file.identity = passage.identity
        if passage.gate is Gate.DAMAGED:
            self._read_digest(path, file, NotWhole(passage.reason))
        elif passage.gate is Gate.NOT_A_SCAN or path.suffix.lower() not in SCAN_ENDINGS:
            self._read_digest(path, file, NotAScan(passage.reason or "it is no TIFF"))
        elif file.undecodable == passage.identity:
            self._read_digest(path, file, NotWhole((file.error and str(file.error)) or "it cannot be read to its end"))
        else:
            file.stage = Stage.TURN
            self._turns.wait(file.entry.bed or "", path)

    # measuring, in turns between the beds

    def _hand_out(self) -> None:
        most = max(OFFERED, 2 * self._pool.places())
        while self._measuring < most and self._turns:
            self._measure(self._turns.next())

    def _measure(self, path: Path) -> None:
        file = self._files.get(path)
        if file is None or file.stage is not Stage.TURN or file.arrived is None:
            return
        name = file.arrived.name
        job = name.job if isinstance(name, PartName) else ""
        listed = self.listed.get(job_key(job))
        book = self._studio.book.for_job(job, listed.medium if listed else "")
        file.stage = Stage.MEASURING
        self._measuring += 1
        file.measuring = self._pool.submit(
            "measuring", shown(path.name), measure_scan, ask_for(file.arrived, book, listed)
        )

    def _measured(self, path: Path, file: Arriving, future: Future[Measured], now: float) -> None:
        file.measuring = None
        self._measuring -= 1
        try:
            measured = future.result()
        except WorkerDied as error:
            file.deaths += 1
            if file.deaths < 2 and "memory" not in str(error):
                self._settle_again(file)  # once more: its neighbour may have been the cause
            else:
                self._read_digest(path, file, error)
        except NotWhole as error:
            file.undecodable, file.error, file.reason = file.identity, error, str(error)
            if self.impatient:
                self._read_digest(path, file, error)
            else:
                file.stage, file.arrived, file.look_s = Stage.WAITING, None, now + LOOK_AGAIN_S
        except ScanError as error:
            self._read_digest(path, file, error)
        else:
            self._enter(path, file, measured, None, measured.sha256, now, self._pool.helper_of(future))

    def _broke(self, path: Path, file: Arriving, error: Exception, now: float) -> None:
        text = "".join(traceback.format_exception(error))
        self._voice.say("error", "", f"{shown(path.name)}: looking at it failed\n{text}")
        file.measuring = file.reading = None
        if file.arrived is None:
            reason = f"the program failed at it ({type(error).__name__}: {error}); please report it"
            self._stays_put(path, file, reason, "never touched", now)
            return
        self._read_digest(
            path, file, ScanError(f"measuring failed inside the program ({type(error).__name__}: {error})")
        )

    def _settle_again(self, file: Arriving) -> None:
        file.stage, file.watched, file.arrived = Stage.SETTLING, None, None

    # entering

    def _read_digest(self, path: Path, file: Arriving, error: ScanError) -> None:
        """What no child could measure still gets its digest; read beside the loop, it may be large."""
        file.stage, file.error = Stage.READING, error
        file.reading = self._reader.submit(digest, path)

    def _read(self, path: Path, file: Arriving, future: Future[Digested], now: float) -> None:
        file.reading = None
        try:
            sha256 = future.result().sha256
        except MoveError as trouble:
            file.arrived, file.watched = None, None
            self._stays_put(path, file, str(trouble), "unreadable", now)
        else:
            self._enter(path, file, None, file.error, sha256, now)

    def _enter(
        self,
        path: Path,
        file: Arriving,
        measured: Measured | None,
        error: ScanError | None,
        sha256: str,
        now: float,
        helper: str = "",
    ) -> None:
        """The scan gets its row, with all that follows from it at once; a kill leaves both or neither."""
        try:
            here = Identity.of(path.lstat())
        except OSError as trouble:
            self._stays_put(path, file, f"it cannot be looked at ({trouble.strerror})", "unreadable", now)
            return
        if here != file.identity or file.arrived is None:
            self._settle_again(file)  # replaced meanwhile: looked at as a new arrival
            return
        with self._ledger.together():
            row = enter(self._studio, self._ledger, self._voice, file.arrived, measured, error, sha256)
        del self._files[path]
        self._admitted[path] = here
        self.staying.no_longer(str(path))
        if row is not None:
            said = said_event(row, row.admitted_utc)
            on_a_helper = helper and said.kind == "measured"
            self._voice.tell(replace(said, text=f"{said.text} on {shown(helper)}") if on_a_helper else said)
            for finding in row.findings:
                self._voice.say("alarm", row.name.job if row.name else "", finding.text)
            self._on_admitted(Admitted(row, belongs_elsewhere(row)))


def _in(folders: Collection[Path], path: Path) -> bool:
    return any(path.is_relative_to(folder) for folder in folders)


def _any_file(path: Path) -> None:
    """Anything that is no TIFF by name: set aside whole or not."""
