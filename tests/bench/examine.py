"""The whole `examine` against a plain read: python tests/bench/examine.py FOLDER [--gb 1 4] [--keep]

R is the time of `pyvips.Image.stats()` plus the time of `hashlib.file_digest`, one after the other, on the same warm
file. Printed for each size: `examine` with process start and without as multiples of R, the largest sum of PSS over
all processes, and the share of decode, digest and each check.
"""

from __future__ import annotations

import argparse
import compileall
import hashlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as in the product's children

import numpy as np
import numpy.typing as npt
import pyvips

sys.path[:0] = [str(Path(__file__).parents[2] / "daemon")]

from dawnproof.model import Bed  # noqa: E402 - run from anywhere
from dawnproof.storage.tiff_write import MasterTags, write_master  # noqa: E402
from dawnproof.workers.asks import Ask  # noqa: E402
from dawnproof.workers.measuring import measure_scan  # noqa: E402

PPI = 600.0


def make(path: Path, gb: float) -> Bed:
    """A 16-bit RGB scan with a work on a white lid: grain everywhere, strokes, a little shadow."""
    width = 9000
    height = int(gb * 1e9 / (width * 6))
    rng = np.random.default_rng(7)
    tile = rng.normal(0, 600, (512, width, 3)).astype(np.float32)
    strokes = np.cumsum(rng.normal(0, 900, (512, width, 3)), axis=1, dtype=np.float64)
    strokes = ((strokes - strokes.mean(1, keepdims=True)) * 0.05 % 24000).astype(np.float32)

    def bands() -> Iterator[npt.NDArray[np.uint16]]:
        for row in range(0, height, 512):
            rows = min(512, height - row)
            shift = int(rng.integers(0, width))
            band = 61000 + 0.5 * tile[:rows]
            if 300 < row < height - 812:
                band[:, 300:-300] = 18000 + np.roll(strokes[:rows], shift, 1)[:, 300:-300] + tile[:rows, 300:-300]
            yield np.clip(band, 0, 65535).astype(np.uint16)

    icc = (Path(__file__).parents[1] / "data" / "icc" / "sRGB-v4.icc").read_bytes()
    write_master(path, bands(), width, height, 3, 16, icc, (PPI, PPI), MasterTags("", (), "bench"), replace=True)
    return Bed("bed-a", width * 25.4 / PPI, height * 25.4 / PPI, (width * 12.7 / PPI,), 5.0, 0.5)


def plain_read(path: Path) -> float:
    pyvips.cache_set_max(0)
    begun = time.perf_counter()
    pyvips.Image.new_from_file(str(path), access="sequential").stats()
    with path.open("rb") as file:
        hashlib.file_digest(file, "sha256")
    return time.perf_counter() - begun


def pss_mb(root: int) -> float:
    """Sum of PSS over a process and all below it."""
    total, todo = 0.0, [root]
    while todo:
        pid = todo.pop()
        try:
            rollup = Path(f"/proc/{pid}/smaps_rollup").read_text()
            total += next(float(line.split()[1]) for line in rollup.splitlines() if line.startswith("Pss:")) / 1024
            for task in Path(f"/proc/{pid}/task").iterdir():
                todo += [int(c) for c in (task / "children").read_text().split()]
        except (OSError, StopIteration):
            continue
    return total


def whole(path: Path, book: Path) -> float:
    """Seconds of the command, process start and all."""
    begun = time.perf_counter()
    _ended_well(_command(path, book).communicate()[0])
    return time.perf_counter() - begun


def largest_pss_mb(path: Path, book: Path) -> float:
    """Largest PSS of the command with its children, in a run of its own: looking costs it time."""
    child = _command(path, book)
    most = [0.0]

    def watch() -> None:
        while child.poll() is None:
            most[0] = max(most[0], pss_mb(child.pid))
            time.sleep(0.1)

    watcher = threading.Thread(target=watch)
    watcher.start()
    _ended_well(child.communicate()[0])
    watcher.join()
    return most[0]


def _command(path: Path, book: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "dawnproof", "examine", str(path), "--json", "--book", str(book)]
    environment = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2] / "daemon")}
    return subprocess.Popen(command, stdout=subprocess.PIPE, env=environment)


def _ended_well(out: bytes) -> None:
    error = json.loads(out)["scans"][0]["error"]
    assert error is None, error


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--gb", type=float, nargs="+", default=[1.0, 4.0])
    parser.add_argument("--keep", action="store_true")
    args = parser.parse_args()
    compileall.compile_dir(Path(__file__).parents[2] / "daemon", quiet=1)  # as an installation does
    for gb in args.gb:
        path = args.folder / f"bench-{gb:g}gb_whole.tif"
        bed = make(path, gb)
        book = args.folder / "bench.toml"
        book.write_text(
            f"[beds.bed-a]\nwidth_mm = {bed.width_mm}\nlength_mm = {bed.length_mm}\n"
            f"seam_mm = {bed.seams_mm[0]}\nparallax = 0.5\n"
        )
        plain_read(path)
        plain = min(plain_read(path) for _ in range(2))
        seconds, most = min(whole(path, book) for _ in range(2)), largest_pss_mb(path, book)
        begun = time.perf_counter()
        measured = measure_scan(Ask(str(path), bed))
        inside = time.perf_counter() - begun
        plain = min(plain, plain_read(path))
        print(f"{gb:g} GB: R = {plain:.2f} s; examine {seconds:.2f} s = {seconds / plain:.2f} R; without process start "
              f"{inside:.2f} s = {inside / plain:.2f} R; PSS at most {most:.0f} MB")  # fmt: skip
        total = sum(s for name, s in measured.seconds if name != "total")
        for name, share in sorted(measured.seconds, key=lambda pair: -pair[1]):
            if name != "total":
                print(f"    {name:10} {share:6.2f} s  {share / total:5.1%} of the thread time")
        if not args.keep:
            path.unlink()


if __name__ == "__main__":
    main()
