"""Evenings in processes of their own, to be killed at any system call.

Reads one JSON line an evening on its standard input, {"root": STUDIO, "act": WHAT, "memory": FOLDER, "traced": BOOL},
forks for it and prints the child's number; a child that is to be traced waits for its tracer before its first step. All
libraries are loaded once, here. When a child ends its wait status is printed.
"""

from __future__ import annotations

import ctypes
import json
import os
import signal
import sys
import time
from pathlib import Path

from faults import evening

from dawnproof.ledger.ledger import Ledger
from dawnproof.pipeline.decisions import decide, place_scan
from dawnproof.storage.studio import open_studio

PR_SET_PTRACER, ANY = 0x59616D61, -1
NO_TRACER = 77


def play(root: Path, act: str) -> None:
    """One run of the daemon, or one command of a person with what it sets going."""
    what, _, rest = act.partition(" ")
    if what == "watch":
        evening.run_until_idle(root)
        return
    if what == "live":
        watch_on(root)
        return
    studio = open_studio(root)
    ledger = Ledger.open(studio.ledger_path)
    heard = evening.Heard([], [])
    if what == "place":
        file, _, name = rest.partition(" ")
        place_scan(studio, ledger, file, name, "Noor")
    else:
        decide(studio, ledger, rest, what, "looked at beside the original", "Noor")
    evening.service_of(studio, ledger, heard).work_off()
    ledger.close()


def watch_on(root: Path) -> None:
    """Until told to stop by SIGTERM."""
    studio = open_studio(root)
    ledger = Ledger.open(studio.ledger_path)
    service = evening.service_of(studio, ledger, evening.Heard([], []), until_idle=False)
    signal.signal(signal.SIGTERM, lambda *_: service.stop.set())
    service.run()
    ledger.close()


def wait_for_tracer() -> None:
    """Polled, not stopped: a stop and its end may cross the tracer's own."""
    until = time.monotonic() + 15
    while "TracerPid:\t0\n" in Path("/proc/self/status").read_text():
        if time.monotonic() > until:
            os._exit(NO_TRACER)
        time.sleep(0.01)
    time.sleep(0.05)


def main() -> None:
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            ctypes.CDLL(None).prctl(PR_SET_PTRACER, ANY)
            if asked["traced"]:
                wait_for_tracer()
            evening.InlinePool.memory = evening.Memory(Path(asked["memory"]))
            play(Path(asked["root"]), asked["act"])
            os._exit(0)
        print(child, flush=True)
        _, status = os.waitpid(child, 0)
        print(status, flush=True)


if __name__ == "__main__":
    main()
