"""What happens on the other computer: prove that it sees the same bytes, do the task in a limited child, name what was
written by its content."""

from __future__ import annotations

import hashlib
import pickle
import secrets
import shutil
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from urllib.parse import quote

from ..errors import WorkerDied
from .allowance import offered
from .build import BUILD
from .errand import Answer, Done, Errand, Failed, Outgrown, Piece, Room, Unfit
from .proof import no_such_room, seen_differently

PROGRESS = "dawnproof-progress"
TELL_S = 1.0


def carry_out(version: str, errand: bytes) -> bytes:
    """The one function that travels. The errand is unpacked only by the very version that packed it; a pickled
    `Answer` goes back, also where the task failed, so that an exception always means trouble with the cluster."""
    from distributed import get_worker

    worker = get_worker()
    name, address = str(worker.name), str(worker.address)
    if version != BUILD:
        why = f"it has Dawnproof {BUILD}, the studio {version}: install the same"
        return pickle.dumps(Unfit(name, address, why))
    return pickle.dumps(_answer(pickle.loads(errand), name, address))


def _answer(errand: Errand, name: str, address: str) -> Answer:
    for sample in errand.samples:
        if why := seen_differently(sample):
            return Unfit(name, address, why, sample.path)
    for room in errand.rooms:
        if why := no_such_room(room):
            return Unfit(name, address, why)
    try:
        desks = [_desk_in(room, name) for room in errand.rooms]
    except OSError as error:
        why = f"it cannot write in {error.filename} ({error.strerror}): give its user the right"
        return Unfit(name, address, why)
    begun_s = time.monotonic()
    question = errand.question.placed([s.path for s in errand.samples], [str(d) for d in desks])
    try:
        result = errand.run(_slots(), errand.what, errand.subject, errand.function, question, _teller(errand.number))
        known = question.digests(result)
        return Done(address, result, tuple(p for i, desk in enumerate(desks) for p in _pieces(i, desk, known)))
    except Exception as error:  # whatever the task raised is its answer, and is raised again where it was asked
        for desk in desks:
            shutil.rmtree(desk, ignore_errors=True)
        if isinstance(error, WorkerDied) and not offered.was_kept_since(begun_s):
            return Outgrown(name, address, offered.most_mb)
        return Failed(name, address, error)


def _desk_in(room: Room, name: str) -> Path:
    """A folder of this attempt alone: one that was given up may still be writing in its own."""
    desk = Path(room.path) / f"{quote(name, safe='')[:64]}-{secrets.token_hex(8)}"
    desk.mkdir()
    for inner in room.inner:
        (desk / inner).mkdir(parents=True, exist_ok=True)
    return desk


def _pieces(room: int, desk: Path, known: Mapping[str, str]) -> list[Piece]:
    """What was written, each file renamed to its digest."""
    found = []
    for path in sorted(p for p in desk.rglob("*") if p.is_file()):
        wanted = path.relative_to(desk).as_posix()
        sha256 = known.get(wanted) or _digest(path)
        named = desk / sha256
        path.rename(named)
        found.append(Piece(room, wanted, f"{desk.name}/{sha256}", sha256, named.stat().st_size))
    return found


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _slots() -> int:
    from distributed import get_worker

    return int(get_worker().state.nthreads)


def _teller(number: str) -> Callable[[float], None]:
    from distributed import get_worker

    worker, last = get_worker(), [0.0]

    def told(share: float) -> None:
        if time.monotonic() - last[0] >= TELL_S:
            last[0] = time.monotonic()
            worker.log_event(PROGRESS, [number, share])

    return told
