"""How fast is a scan read? Times on the same warm file in one run, memory as the sum of PSS.

    python tests/bench/reading.py FOLDER [--gb 1 4] [--keep]

Makes 16-bit RGB scans in FOLDER and prints for each: R = `pyvips.Image.stats()` + `hashlib.file_digest`, one after the
other; the pass over all bands with its digest, as a multiple of the digest alone and of R; the same with every row
seen once more by numpy; the peak memory of the reading process.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent / "daemon"))

from dawnproof.storage.tiff import MasterTags, Packing, measure_pass, write_master

WIDTH = 20_000


def rows(height: int) -> Iterator[npt.NDArray[np.uint16]]:
    """Paper with a slow wash and sensor noise; what it shows does not matter, that it is not constant does."""
    noise = np.random.default_rng(1).integers(0, 500, (512, WIDTH, 3), "u2")
    wash = (30_000 + 9_000 * np.sin(np.arange(WIDTH) / 900)).astype("u2")[None, :, None]
    for first in range(0, height, 512):
        yield (noise + wash + np.uint16(first % 977))[: min(512, height - first)]


def make(path: Path, gigabytes: float, packing: Packing) -> None:
    height = int(gigabytes * 1e9 / (WIDTH * 6))
    tags = MasterTags("SL-0412", (), "bench")
    write_master(path, rows(height), WIDTH, height, 3, 16, None, (600.0, 600.0), tags, packing=packing, replace=True)


def seconds(act: Callable[[], object]) -> float:
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def file_digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def stats(path: Path) -> object:
    import pyvips

    pyvips.cache_set_max(0)
    return pyvips.Image.tiffload(str(path), access="sequential").stats()


def read(path: Path, look: bool) -> str:
    run = measure_pass(path)
    for band in run:
        if look:
            band.max()
    return run.sha256


def in_child(path: Path, look: bool) -> tuple[float, int]:
    """Seconds of the pass (imports left out) and peak PSS in MB of a process that does nothing else."""
    command = [sys.executable, __file__, str(path.parent), "--child", str(path), *(["--look"] if look else [])]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    peak = 0
    while child.poll() is None:
        peak = max(peak, pss_mb(child.pid))
        time.sleep(0.02)
    assert child.stdout is not None
    answer: dict[str, Any] = json.loads(child.stdout.read())
    return float(answer["seconds"]), peak


def pss_mb(pid: int) -> int:
    try:
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                return int(line.split()[1]) // 1024
    except (OSError, ProcessLookupError):
        pass
    return 0


def report(path: Path) -> None:
    file_digest(path)  # warm
    digest_s = min(seconds(lambda: file_digest(path)) for _ in range(2))
    stats_s = min(seconds(lambda: stats(path)) for _ in range(2))
    assert read(path, False) == file_digest(path)
    for look in (False, True):
        pass_s, peak_mb = min(in_child(path, look) for _ in range(2))
        print(
            f"{path.name:14} {path.stat().st_size / 1e9:5.2f} GB  sha256 {digest_s:5.2f} s  stats {stats_s:5.2f} s  "
            f"R {digest_s + stats_s:5.2f} s | pass{' + numpy max' if look else '':12} {pass_s:5.2f} s = "
            f"{pass_s / digest_s:4.2f} x sha256 = {pass_s / (digest_s + stats_s):4.2f} R, peak PSS {peak_mb} MB"
        )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--gb", type=float, nargs="*", default=[1.0, 4.0])
    parser.add_argument("--keep", action="store_true")
    parser.add_argument("--child", type=Path)
    parser.add_argument("--look", action="store_true")
    asked = parser.parse_args()
    if asked.child:
        print(json.dumps({"seconds": seconds(lambda: read(asked.child, asked.look))}))
        return
    for gigabytes in asked.gb:
        for packing in Packing if gigabytes <= 1 else [Packing.NONE]:
            path = asked.folder / f"{packing.name.lower()}-{gigabytes:g}g.tif"
            if not path.exists():
                begun = time.perf_counter()
                make(path, gigabytes, packing)
                print(f"made {path.name} in {time.perf_counter() - begun:.1f} s")
            report(path)
            if not asked.keep:
                path.unlink()


if __name__ == "__main__":
    main()
