"""One file of the inbox on its way to its scan row: how far it has come."""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import dataclass
from datetime import datetime
from enum import Enum

from ..errors import ScanError
from ..model import Identity, Measured, WaitingScan
from ..pipeline.intake import Arrived
from ..storage.disk import Digested
from ..watch.inbox import Entry
from ..watch.settle import Watched


class Stage(Enum):
    """How far a file has come."""

    SETTLING = "settling"
    TURN = "waiting its turn"
    MEASURING = "measuring"
    READING = "reading"  # its digest, where no child could measure it
    WAITING = "waiting"  # not whole; it may still become so
    STAYING = "staying"  # a link, a pipe, left alone by rule, unreadable


@dataclass
class Arriving:
    """One file on its way: what was seen of it, and what is being done with it."""

    entry: Entry
    since_utc: str
    stage: Stage = Stage.SETTLING
    watched: Watched | None = None
    reason: str = ""
    look_s: float = 0.0
    arrived: Arrived | None = None
    identity: Identity | None = None
    measuring: Future[Measured] | None = None
    reading: Future[Digested] | None = None
    error: ScanError | None = None
    undecodable: Identity | None = None
    deaths: int = 0


def shown_stage(file: Arriving) -> tuple[str, str]:
    """The stage and its reason, as a screen says them."""
    if file.stage is Stage.TURN:
        return "waiting", "its turn to be measured"
    return ("measuring" if file.stage is Stage.READING else file.stage.value), file.reason


def touched(waiting: WaitingScan, entry: Entry) -> bool:
    """Whether the file may have changed after it was admitted: then it is read again, as a new arrival. The time of
    change counts as well: a file put over another may bring an old time along."""
    admitted_ns = datetime.fromisoformat(waiting.admitted_utc).timestamp() * 1e9
    identity = entry.identity
    return identity.size != waiting.size_bytes or max(identity.mtime_ns, identity.ctime_ns) > admitted_ns
