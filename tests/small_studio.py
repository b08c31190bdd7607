"""A small studio for tests of the commands: tiny scans with a profile, quick to settle, and the installed command."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import tifffile

Pixels = npt.NDArray[np.uint16]
REPOSITORY = Path(__file__).resolve().parent.parent
ICC = (Path(__file__).resolve().parent / "data" / "icc" / "sRGB-v4.icc").read_bytes()
PPI = 400.0
ROWS, COLUMNS = 280, 420  # of a work alone; a wide one has twice the columns less the overlap
MARGIN, OVERLAP = 60, 200

BOOK = """\
based_on = "fine-art"

[intake]
settle_s = 0.3
scan_s = 0.3

[archive]
reserve_gb = 0.0

[limits.join]
overlap = { note = 5.0, fault = 1.0, below = true }

[beds.bed-a]
width_mm = 600.0
length_mm = 450.0

[beds.bed-b]
width_mm = 600.0
length_mm = 450.0
"""


def make_studio(root: Path, job_list: str = "", more: str = "") -> Path:
    """A studio's folder with its rule book, and a job list where one is given."""
    (root / "inbox").mkdir(parents=True)
    (root / "dawnproof.toml").write_text(BOOK + more, encoding="utf-8")
    if job_list:
        (root / "jobs.csv").write_text(job_list, encoding="utf-8")
    return root


def work(seed: int, columns: int = COLUMNS) -> Pixels:
    """A painted sheet within a white lid, 16 bits, without black or white: grain, shapes, nothing that repeats."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:ROWS, 0:columns].astype(float)
    shapes = np.zeros((ROWS, columns))
    for _ in range(14):
        cx, cy, size = rng.uniform(0, columns), rng.uniform(0, ROWS), rng.uniform(20, 90)
        shapes += rng.uniform(-1, 1) * np.exp(-((x - cx) ** 2 + (y - cy) ** 2) / size**2)
    grain = rng.normal(0, 0.02, (ROWS, columns))
    tone = 0.45 + 0.18 * np.tanh(shapes)[..., None] * rng.uniform(0.5, 1, 3) + grain[..., None]
    bed = np.full((ROWS + 2 * MARGIN, columns + 2 * MARGIN, 3), 0.94)
    bed[MARGIN:-MARGIN, MARGIN:-MARGIN] = tone
    bed += rng.normal(0, 0.003, bed.shape)
    return np.asarray(np.rint(np.clip(bed, 0, 0.99) * 65535), dtype=np.uint16)


def halves(seed: int) -> tuple[Pixels, Pixels]:
    """Left and right part of a wide work, cut from one picture: the right one begins OVERLAP before the left ends."""
    wide = work(seed, 2 * COLUMNS - OVERLAP)
    middle = wide.shape[1] // 2
    return wide[:, : middle + OVERLAP // 2], wide[:, middle - OVERLAP // 2 :]


def write(path: Path, pixels: npt.NDArray[Any], ppi: float = PPI, icc: bytes | None = ICC) -> Path:
    """A finished scan: it appears under its name when it is whole."""
    path.parent.mkdir(parents=True, exist_ok=True)
    hidden = path.with_name(f".{path.name}.part")
    tifffile.imwrite(
        hidden,
        np.ascontiguousarray(pixels),
        photometric="rgb" if pixels.ndim == 3 else "minisblack",
        resolution=(ppi, ppi),
        resolutionunit="INCH",
        iccprofile=icc,
        rowsperstrip=64,
        metadata=None,
    )
    hidden.rename(path)
    return path


def eight_bits(pixels: Pixels) -> Pixels:
    """What is left when a program works in 8 bits and saves 16: a fault that needs the artwork."""
    return np.asarray(pixels // 257 * 257, dtype=np.uint16)


def dawnproof(*words: str | Path, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run the command as a person does."""
    command = [sys.executable, "-m", "dawnproof", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, env=_environment(), timeout=300)


def document(*words: str | Path, code: int = 0) -> dict[str, Any]:
    """What the command prints with --json: one document and nothing else."""
    ran = dawnproof(*words, "--json")
    assert ran.returncode == code, ran.stderr + ran.stdout
    found = json.loads(ran.stdout)
    assert isinstance(found, dict)
    return found


def night(studio: Path) -> str:
    """The daemon until everything has its end; its lines."""
    ran = dawnproof("watch", studio, "--until-idle", "--plain")
    assert ran.returncode == 0, ran.stderr
    return ran.stdout


def interrupted(words: list[str], said: str) -> subprocess.CompletedProcess[str]:
    """Run the command and press Ctrl-C once its output holds `said`, or after a moment where `said` is ''."""
    command = [sys.executable, "-u", "-m", "dawnproof", *words]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=_environment())
    assert child.stdout is not None
    seen = ""
    if said:
        for line in child.stdout:
            seen += line
            if said in line:
                break
    else:
        _until_it_has_children(child)
    child.send_signal(signal.SIGINT)
    out, err = child.communicate(timeout=120)
    return subprocess.CompletedProcess(command, child.returncode, seen + out, err)


def _until_it_has_children(child: subprocess.Popen[str]) -> None:
    tasks = Path(f"/proc/{child.pid}/task")
    while child.poll() is None:
        if any(p.joinpath("children").read_text().strip() for p in tasks.iterdir()):
            return
        time.sleep(0.05)


def _environment() -> dict[str, str]:
    return os.environ | {"PYTHONPATH": str(REPOSITORY / "daemon"), "COLUMNS": "100"}


def called(*words: str | Path) -> tuple[int, str, str]:
    """The command within this process, where a process of its own is not the point: exit code, stdout, stderr."""
    from typer.testing import CliRunner

    from dawnproof.cli import app
    from dawnproof.errors import DawnproofError

    try:
        result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    except DawnproofError as error:
        return error.exit_code, "", str(error)
    return result.exit_code, result.stdout, result.stderr


def told(*words: str | Path) -> dict[str, Any]:
    """The document a command prints with --json, within this process."""
    code, out, err = called(*words, "--json")
    assert code == 0, err
    found = json.loads(out)
    assert isinstance(found, dict)
    return found
