"""Has a file stopped changing? Pure: what was seen, and when by a clock that never jumps (monotonic seconds).

File times are only compared for equality, so that a wrong clock or a file dated in the future holds nothing up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from ..model import Identity

BYTES_PER_SETTLE: Final = 4 << 30  # a file of this size settles twice as long: its writer pauses longer too
FACTOR_WITHOUT_LEASE: Final = 3.0  # no lease to ask whether a writer still holds it: wait longer instead


class State(Enum):
    """How far a file in the inbox has come."""

    SETTLING = "it changed a moment ago"
    SETTLED = "it has not changed for long enough to be looked at"
    WAITING = "it has settled but is not whole"
    DAMAGED = "it was not whole and did not change for too long"


@dataclass(frozen=True, slots=True)
class Patience:
    """The rule book's seconds: unchanged before a look, and unchanged but not whole before giving up. Once the
    evening is over nothing more is waited for: what has settled without being whole is given up."""

    settle_s: float = 10.0
    give_up_s: float = 1800.0
    evening_over: bool = False

    def settle_s_for(self, size: int, lease_known: bool = True) -> float:
        return self.settle_s * (1 + size / BYTES_PER_SETTLE) * (1 if lease_known else FACTOR_WITHOUT_LEASE)


@dataclass(frozen=True, slots=True)
class Watched:
    """One file of the inbox over time: unchanged since `since_s`; `problem` is why it was not whole when last looked
    at in this state, '' when it was not looked at or nothing was wrong."""

    identity: Identity
    first_s: float
    since_s: float
    problem: str = ""
    lease_known: bool = True


@dataclass(frozen=True, slots=True)
class Verdict:
    """A state, the sentence for it, and the seconds until it can become another by itself."""

    state: State
    reason: str
    in_s: float


def observe(before: Watched | None, identity: Identity, now_s: float) -> Watched:
    """Take note of what stands at the name now; any change starts the time again."""
    if before is None:
        return Watched(identity, now_s, now_s)
    if before.identity == identity:
        return before
    return Watched(identity, before.first_s, now_s, lease_known=before.lease_known)


def found_wanting(watched: Watched, problem: str, lease_known: bool = True) -> Watched:
    """The gate looked at the file in this state: `problem` says what is missing, '' that nothing is."""
    return replace(watched, problem=problem, lease_known=lease_known)


def judge(watched: Watched, now_s: float, patience: Patience) -> Verdict:
    """What the observations mean at this moment. A size of 0 is never settled, however long it stands."""
    quiet_s = max(0.0, now_s - watched.since_s)
    needed_s = patience.settle_s_for(watched.identity.size, watched.lease_known)
    problem = watched.problem or ("the file is empty so far" if watched.identity.size == 0 else "")
    if quiet_s < needed_s:
        left_s = needed_s - quiet_s
        return Verdict(State.SETTLING, f"changed {quiet_s:.0f} s ago, looked at in {left_s:.0f} s", left_s)
    if not problem:
        return Verdict(State.SETTLED, "unchanged for long enough", 0.0)
    if patience.evening_over:
        return Verdict(State.DAMAGED, f"not whole, and nothing was writing it when the daemon stopped: {problem}", 0.0)
    if quiet_s >= max(patience.give_up_s, needed_s):
        return Verdict(State.DAMAGED, f"unchanged for {quiet_s / 60:.0f} min and still not whole: {problem}", 0.0)
    return Verdict(State.WAITING, problem, patience.give_up_s - quiet_s)
