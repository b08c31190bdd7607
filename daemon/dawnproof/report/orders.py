"""Command lines a person can copy: with the studio's real path and the real job, quoted for a shell."""

from __future__ import annotations

import re
from collections.abc import Sequence
from shlex import quote

from ..model import JobView, Night, Pile, ScanRow, shown

MOST = 12  # jobs of a pile whose commands are written out
_MEANT = re.compile(r"did you mean (\S+)\?")
OCCASIONS = {
    Pile.SCAN_AGAIN: "To archive one as it is",
    Pile.LOOK_FIRST: "Looked at and well; or not well",
    Pile.MAY_GO_BACK: "To have one scanned again all the same",
}
_BY = "--by NAME"
_WHY = "--because TEXT --by NAME"


def orders(pile: Pile, views: Sequence[JobView], night: Night) -> tuple[str, ...]:
    """The commands by which a person decides otherwise about the jobs of a pile; TEXT and NAME are theirs to fill in. A
    job whose number holds what is not shown as it is has none."""
    told = [view.row.job for view in views if shown(view.row.job) == view.row.job]
    if pile is Pile.SCAN_AGAIN:
        return tuple(_line("accept", night, job, _WHY) for job in told[:MOST])
    if pile is Pile.LOOK_FIRST:
        return tuple(line for job in told[:MOST]
                     for line in (_line("release", night, job, _BY), _line("refuse", night, job, _WHY)))  # fmt: skip
    return tuple(_line("refuse", night, job, _WHY) for job in told[:1]) if pile is Pile.MAY_GO_BACK else ()


def place_order(scan: ScanRow, night: Night) -> str:
    """The command that gives a file its name, the proposed one where there is one; '' where it is not its name."""
    meant = _MEANT.search(scan.reason)
    if shown(scan.file) != scan.file or not (meant or "name" in scan.reason):
        return ""
    return f"dawnproof place {root_of(night)} {quote(scan.file)} --as {quote(meant[1]) if meant else 'NAME'}"


def root_of(night: Night) -> str:
    """The studio's folder, quoted."""
    return quote(night.root) if night.root and shown(night.root) == night.root else "STUDIO"


def _line(verb: str, night: Night, job: str, rest: str) -> str:
    return f"dawnproof {verb} {root_of(night)} {quote(job)} {rest}"
