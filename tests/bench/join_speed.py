"""Time and memory of large joins: `python tests/bench/join_speed.py FOLDER [--scale 1.0] [--only CASES]`.

Makes an A2 sheet at 600 ppi (14031 x 9921 px, times --scale) from a picture and synthetic relief, cuts it into two
halves and four quarters, the second and later ones turned by a fraction of a degree, and joins them in one run with
the command (16 bits, files to file), with OpenCV's general stitching class in its flat-scan mode (8 bits, in memory;
its failures are counted), and copies the output with pyvips. Cases: halves, quarters, and `large`, a pair
whose output weighs 2 GB.

Wall seconds mean nothing on a busy machine, CPU seconds and ratios within a run a little more; memory is the
proportional set size of the command and all its children, sampled ten times a second.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import tifffile

HERE = Path(__file__).resolve()
DATA = HERE.parents[1] / "data"
DAEMON = HERE.parents[2] / "daemon"
SHEET = (9921, 14031)  # rows, columns
LARGE = (15150, 22000)  # 2 GB of 16-bit RGB
PPI = 600.0
OVERLAP = 0.15
TURNS_DEG = (0.0, 0.3, -0.25, 0.2)
BAND_ROWS = 512

STITCH = """
import sys, time, cv2, tifffile
images = [cv2.cvtColor((tifffile.imread(p) >> 8).astype("uint8"), cv2.COLOR_RGB2BGR) for p in sys.argv[1:]]
begun = time.perf_counter()
status, joined = cv2.Stitcher_create(cv2.Stitcher_SCANS).stitch(images)
size = joined.shape if status == 0 else (0, 0)
print(status, time.perf_counter() - begun, size[1], size[0])
"""
COPY = """
import sys, pyvips
pyvips.Image.new_from_file(sys.argv[1], access="sequential").write_to_file(sys.argv[2], bigtiff=True)
"""


@dataclass(frozen=True)
class Spent:
    """Wall and CPU seconds, peak MB and what was printed."""

    seconds: float
    cpu_s: float
    peak_mb: float
    code: int
    said: str


def run_watched(command: Sequence[str]) -> Spent:
    """Run a command and watch the memory of it and all its descendants."""
    environment = os.environ | {"PYTHONPATH": str(DAEMON), "OPENBLAS_NUM_THREADS": "1"}
    begun = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment)
    peak, cpu = [0.0], dict[int, float]()
    watcher = threading.Thread(target=_watch, args=(child, peak, cpu), daemon=True)
    watcher.start()
    said, _ = child.communicate()
    watcher.join()
    return Spent(time.perf_counter() - begun, sum(cpu.values()), peak[0], child.returncode, said)


def _watch(child: subprocess.Popen[str], peak: list[float], cpu: dict[int, float]) -> None:
    while child.poll() is None:
        family = _family(child.pid)
        peak[0] = max(peak[0], sum(_pss_mb(number) for number in family))
        cpu.update({number: used for number in family if (used := _cpu_s(number))})
        time.sleep(0.1)


def _family(number: int) -> list[int]:
    found = [number]
    for task in Path(f"/proc/{number}/task").glob("*/children"):
        try:
            found += [n for child in task.read_text().split() for n in _family(int(child))]
        except OSError:
            continue
    return found


def _cpu_s(number: int) -> float:
    try:
        fields = Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _pss_mb(number: int) -> float:
    try:
        lines = Path(f"/proc/{number}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return next((float(line.split()[1]) / 1000 for line in lines if line.startswith("Pss:")), 0.0)


def make_sheet(path: Path, size: tuple[int, int]) -> npt.NDArray[np.uint16]:
    """The sheet as a memory-mapped file: a picture enlarged, shaded by relief that repeats nowhere on it."""
    rows, columns = size
    sheet: Any = np.lib.format.open_memmap(path, mode="w+", dtype=np.uint16, shape=(rows, columns, 3))
    read = cv2.imread(str(DATA / "pictures" / "seeding_cut.jpg"), cv2.IMREAD_COLOR)
    assert read is not None
    picture = read[:, :, ::-1].astype(np.float32) / 255
    random = np.random.default_rng(1)
    grains = [_grain(random, side) for side in (1999, 2311)]  # together they repeat after millions of pixels
    x = np.arange(columns)
    for top in range(0, rows, BAND_ROWS):
        y = np.arange(top, min(rows, top + BAND_ROWS))
        across = np.tile((x * (picture.shape[1] - 1) / columns).astype(np.float32), (len(y), 1))
        along = np.tile((y * (picture.shape[0] - 1) / rows).astype(np.float32)[:, None], (1, columns))
        pigment = cv2.remap(picture, across, along, cv2.INTER_CUBIC)
        shade = sum(g[y[:, None] % g.shape[0], x[None, :] % g.shape[1]] for g in grains)
        band = (0.15 + 0.7 * pigment) * (1 + 0.05 * np.asarray(shade))[:, :, None]
        sheet[top : top + len(y)] = np.rint(np.clip(band, 0, 0.98) * 65535)
    return np.asarray(sheet)


def _grain(random: np.random.Generator, side: int) -> npt.NDArray[np.float32]:
    """Paper grain of about 0.1 mm with some coarser tooth, standard deviation 1, seamless."""
    spectrum = np.fft.rfft2(random.standard_normal((side, side)))
    fy, fx = np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None, :]
    radius = np.hypot(fy, fx)
    shaped = np.fft.irfft2(spectrum * np.exp(-((radius / 0.15) ** 2)) / (radius + 0.02), (side, side))
    return np.asarray(shaped / shaped.std(), np.float32)


def cut(sheet: npt.NDArray[np.uint16], grid: tuple[int, int], folder: Path, name: str) -> list[Path]:
    """The sheet in parts, each turned about its middle (bicubic), a little noise added, written band by band."""
    rows, columns = sheet.shape[:2]
    found = []
    for place in range(grid[0] * grid[1]):
        row, column = divmod(place, grid[1])
        y0, y1 = _span(rows, grid[0], row)
        x0, x1 = _span(columns, grid[1], column)
        path = folder / f"SL-0412-{name}_{_label(grid, row, column)}.tif"
        bands = _bands(sheet, (y0, y1, x0, x1), TURNS_DEG[place], np.random.default_rng(place))
        tifffile.imwrite(
            path, bands, shape=(y1 - y0, x1 - x0, 3), dtype=np.uint16, photometric="rgb", resolution=(PPI, PPI),
            resolutionunit="INCH", rowsperstrip=BAND_ROWS, metadata=None,
        )  # fmt: skip
        found.append(path)
    return found


def _span(length: int, count: int, at: int) -> tuple[int, int]:
    if count == 1:
        return 0, length
    half = int(OVERLAP * length / 2)
    return max(0, at * length // count - half), min(length, (at + 1) * length // count + half)


def _label(grid: tuple[int, int], row: int, column: int) -> str:
    return "LR"[column] if grid == (1, 2) else f"r{row + 1}c{column + 1}"


def _bands(sheet: npt.NDArray[np.uint16], box: tuple[int, int, int, int], turn_deg: float,
           random: np.random.Generator) -> Any:  # fmt: skip
    y0, y1, x0, x1 = box
    turn = np.deg2rad(turn_deg)
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    x = np.arange(x0, x1) - middle[0]
    for top in range(y0, y1, BAND_ROWS):
        y = (np.arange(top, min(y1, top + BAND_ROWS)) - middle[1])[:, None]
        across = np.clip(np.cos(turn) * x - np.sin(turn) * y + middle[0], 0, sheet.shape[1] - 1)
        along = np.clip(np.sin(turn) * x + np.cos(turn) * y + middle[1], 0, sheet.shape[0] - 1)
        low, high = int(along.min()), int(along.max()) + 3
        window = np.asarray(sheet[max(0, low - 2) : high]).astype(np.float32)
        moved = cv2.remap(window, across.astype(np.float32), (along - max(0, low - 2)).astype(np.float32),
                          cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
        noise = random.standard_normal(moved.shape, np.float32) * 120
        yield np.rint(np.clip(moved + noise, 0, 65535)).astype(np.uint16)


def compare(name: str, parts: list[Path], folder: Path, others: bool) -> None:
    """Join the parts in all ways and print what each took."""
    out = folder / f"{name}.tif"
    out.unlink(missing_ok=True)
    words = [sys.executable, "-m", "dawnproof", "join", *map(str, parts), "--out", str(out)]
    ours = run_watched(words)
    weight = out.stat().st_size / 1e9 if out.exists() else 0.0
    heavy = sum(p.stat().st_size for p in parts) / 1e9
    print(f"{name}: dawnproof join {ours.seconds:.1f} s ({ours.cpu_s:.1f} of CPU), peak {ours.peak_mb:.0f} MB, "
          f"exit {ours.code}, output {weight:.2f} GB, parts {heavy:.2f} GB", flush=True)  # fmt: skip
    if ours.code:
        print(ours.said)
        return
    copied = run_watched([sys.executable, "-c", COPY, str(out), str(folder / "copy.tif")])
    if copied.code:
        print(f"  pyvips copy failed: {copied.said}")
        return
    print(f"  pyvips copy {copied.seconds:.1f} s ({copied.cpu_s:.1f}), peak {copied.peak_mb:.0f} MB; join / copy "
          f"{ours.seconds / copied.seconds:.1f}", flush=True)  # fmt: skip
    if others:
        with tifffile.TiffFile(out) as joined:
            rows, columns = joined.pages[0].shape[:2]
        _stitched(parts, ours, rows * columns)


def _stitched(parts: list[Path], ours: Spent, pixels: int) -> None:
    """The general class on the same parts. It reports success when it left parts out, so its size is looked at."""
    theirs = run_watched([sys.executable, "-c", STITCH, *map(str, parts)])
    said = theirs.said.split()
    if theirs.code or not said or said[-4] != "0":
        status = "died" if theirs.code else f"status {said[-4] if len(said) >= 4 else theirs.said}"
        print(f"  general stitching class, flat-scan mode: failed ({status}), peak {theirs.peak_mb:.0f} MB", flush=True)
        return
    seconds, size = float(said[-3]), int(said[-2]) * int(said[-1])
    if size < 0.95 * pixels:
        print(f"  general stitching class, flat-scan mode: left parts out, {said[-2]} x {said[-1]} px", flush=True)
        return
    ratios = f"join / stitching {ours.seconds / seconds:.2f}, CPU {ours.cpu_s / theirs.cpu_s:.2f}"
    print(f"  general stitching class, flat-scan mode: {seconds:.1f} s in memory ({theirs.cpu_s:.1f} of CPU with "
          f"reading), {said[-2]} x {said[-1]} px, peak {theirs.peak_mb:.0f} MB; {ratios}", flush=True)  # fmt: skip


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("folder", type=Path)
    asked.add_argument("--scale", type=float, default=1.0)
    asked.add_argument("--only", default="halves,quarters,large")
    given = asked.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    grids = {"halves": (1, 2), "quarters": (2, 2), "large": (1, 2)}
    for name in given.only.split(","):
        rows, columns = (round(given.scale * side) for side in (LARGE if name == "large" else SHEET))
        path = given.folder / f"sheet-{rows}x{columns}.npy"
        sheet = np.load(path, mmap_mode="r") if path.exists() else make_sheet(path, (rows, columns))
        parts = cut(sheet, grids[name], given.folder, name)
        compare(name, parts, given.folder, others=name != "large")


if __name__ == "__main__":
    main()
