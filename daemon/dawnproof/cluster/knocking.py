"""Do the helpers stand ready? One look at the scheduler, without any work."""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping

from .link import CLOSE_S, CONNECT_S, Helper, Line, LineState


def knock(address: str | None, file: str | None) -> tuple[bool, str]:
    """Whether the scheduler answers and somebody can help, and the words for it. ImportError without the libraries."""
    import distributed  # noqa: F401

    woken = threading.Event()
    line = Line(address, file, woken.set, lambda number, share: None)
    until = time.monotonic() + 2 * CONNECT_S
    while line.state is LineState.CONNECTING and time.monotonic() < until:
        woken.wait(0.2)
    up, helpers, why = line.state is LineState.UP, line.look.helpers, line.why
    line.close().join(CLOSE_S)
    if not up:
        return (
            False,
            f"the scheduler {line.name} does not answer ({why or 'nothing is heard'}); start it, see the README",
        )
    return _words(line.name, helpers)


def _words(name: str, helpers: Mapping[str, Helper]) -> tuple[bool, str]:
    fit = [h for h in helpers.values() if h.memory_mb]
    bare = sorted(h.name for h in helpers.values() if not h.memory_mb)
    if bare:
        return False, f"{', '.join(bare)} at {name} offers no memory; start it with `dawnproof worker`"
    if not fit:
        return False, f"no computer helps at {name}; start `dawnproof worker` on one"
    each = ", ".join(
        f"{h.name} ({h.places} at a time, {h.memory_mb:.0f} MB)" for h in sorted(fit, key=lambda h: h.name)
    )
    return True, f"{name} answers; {each}"
