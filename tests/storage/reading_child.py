"""Reads scans in a child of its own each, with limits, and prints one JSON line a file: what became of it.

python reading_child.py FILE…          (a seed after a file, FILE@SEED, changes some of its bytes first)
"""

from __future__ import annotations

import json
import os
import random
import resource
import sys
import time
from pathlib import Path

from dawnproof.errors import ScanError
from dawnproof.storage.tiff import measure_pass

MEMORY_BYTES = 3 << 30
CPU_S = 15
MAX_PIXELS = 400_000_000


def mutated(data: bytes, seed: int) -> bytes:
    """Up to eight changes, most of them where the structure is: near the beginning and near the end."""
    chance = random.Random(seed)
    changed = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        near = chance.choice([0, 0, max(0, len(changed) - 400), chance.randrange(len(changed))])
        at = min(len(changed) - 1, near + chance.randrange(400))
        changed[at] = chance.choice([0, 1, 0x7F, 0x80, 0xFF, changed[at] ^ 1 << chance.randrange(8)])
    if chance.random() < 0.2:
        del changed[chance.randrange(len(changed)) :]
    return bytes(changed)


def outcome(path: Path) -> dict[str, object]:
    run = None
    try:
        run = measure_pass(path, max_pixels=MAX_PIXELS)
        rows = sum(len(band) for band in run)
    except ScanError as error:
        return {"error": type(error).__name__, "reason": str(error)}
    return {"rows": rows, "height": run.facts.height_px, "sha256": run.sha256, "reader": run.scan.reader.name}


def in_child(name: str) -> dict[str, object]:
    read_end, write_end = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read_end)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CPU, (CPU_S, CPU_S))
        path, _, seed = name.partition("@")
        if seed:
            fd = os.memfd_create("mutated")
            os.write(fd, mutated(Path(path).read_bytes(), int(seed)))
            path = f"/proc/self/fd/{fd}"
        os.write(write_end, json.dumps(outcome(Path(path))).encode())
        os._exit(0)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as pipe:
        answer = pipe.read()
    _, status, usage = os.wait4(child, 0)
    result = json.loads(answer) if answer else {"died": os.waitstatus_to_exitcode(status)}
    return {"file": name, "peak_mb": usage.ru_maxrss // 1024, **result}


if __name__ == "__main__":
    for argument in sys.argv[1:]:
        begun = time.monotonic()
        line = in_child(argument)
        print(json.dumps(line | {"seconds": round(time.monotonic() - begun, 2)}), flush=True)
