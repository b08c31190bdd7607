"""Rates of the lift in millimetres over the whole way: a shim scan, `calibrate`, a lifted work, `examine`.

Each seed is one bed (parallax 0.3 to 0.8, a cut or a blend zone of up to 40 px, a stitch up to 4 mm from where the rule
book says), calibrated from one scan of a textured sheet on a shim of 0.3 to 1 mm, and three works lifted by 2 to 40 px
of doubling, each measured from its file with the bed as calibrated.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import scans
import surfaces
from bench.eye_pictures import PROFILE, Pictures
from bench.rates import Group, Options, Trial

from dawnproof.calibrate import calibrate_bed
from dawnproof.errors import ScanError
from dawnproof.model import MM_PER_INCH, Bed
from dawnproof.storage.studio import open_studio
from dawnproof.workers.asks import Ask
from dawnproof.workers.measuring import measure_scan

ROWS, COLUMNS, WORKS_EACH = 1200, 1500, 3
SHARE, MM = 0.10, 0.1
WITHIN = "within 10 % or 0.1 mm, of those told"


def within(measured_mm: float, true_mm: float) -> bool:
    """The aim: 10 % or 0.1 mm, whichever is more."""
    return abs(measured_mm - true_mm) <= max(SHARE * true_mm, MM)


def _lifted(pictures: Pictures, seed: int, folder: Path) -> Iterator[Trial]:
    """One bed: calibrated, then three lifted works."""
    rng = np.random.default_rng((seed, 11))
    ppi, parallax = float(rng.choice([400, 600])), float(rng.uniform(0.3, 0.8))
    blend = 0.0 if rng.random() < 0.5 else float(rng.uniform(4, 40))
    px_per_mm = ppi / MM_PER_INCH
    nominal = COLUMNS / 2 / px_per_mm
    column = round(COLUMNS / 2 + float(rng.uniform(-4, 4)) * px_per_mm)
    root = folder / f"studio-{seed}"
    (root / ".dawnproof").mkdir(parents=True)
    (root / "dawnproof.toml").write_text(
        f'based_on = "fine-art"\n[beds.bed-a]\nwidth_mm = {COLUMNS / px_per_mm}\nlength_mm = {ROWS / px_per_mm}\n'
        f"seam_mm = {nominal}\nseam_tolerance_mm = 5.0\n"
    )

    def scanned(work: surfaces.Surface, lift_mm: float, turn: int) -> scans.Scan:
        left, right = scans.cameras(seed + turn, noise=float(rng.uniform(0.0005, 0.004)))
        stitch = scans.Stitch(column, lift_mm * parallax * px_per_mm, blend, 0.0, 0.5, left, right)
        return scans.make_scan(work, None, stitch, ppi=ppi, seed=seed + turn)

    def written(scan: scans.Scan, name: str) -> Path:
        return scans.write_tiff(root / name, scan, icc=PROFILE.read_bytes())

    shim_mm = float(rng.choice([0.3, 0.5, 1.0]))
    texture = surfaces.load(str(pictures.textures[seed % len(pictures.textures)]))
    sheet = surfaces.relief(surfaces.paper(ROWS, COLUMNS, seed), texture, 0.25, seed)
    told = f"seed {seed}: {ppi:.0f} ppi, parallax {parallax:.3f}, blend {blend:.0f} px, shim {shim_mm} mm"
    shim = scanned(sheet, shim_mm, 0)
    try:
        calibrate_bed(open_studio(root), written(shim, "shim.tif"), "bed-a", shim_mm)
    except ScanError as error:
        yield Trial("beds calibrated from one shim scan", False, f"{told}: {error}", shim)
        return
    bed: Bed = open_studio(root).book.bed("bed-a")
    found = bed.parallax or 0.0
    yield Trial("beds calibrated from one shim scan", True, told)
    near = abs(found / parallax - 1) <= SHARE / 2
    yield Trial("parallax within 5 %", near, f"{told}: found {found:.3f}", shim)
    for turn in range(1, WORKS_EACH + 1):
        picture = pictures.works[int(rng.integers(len(pictures.works)))]
        lift_mm = float(rng.uniform(2, 40)) / parallax / px_per_mm
        work = surfaces.from_picture(surfaces.load(str(picture)), ROWS, COLUMNS, seed + turn)
        work = surfaces.relief(work, texture, float(rng.uniform(0.02, 0.08)), seed + turn)
        scan = scanned(work, lift_mm, turn)
        path = written(scan, f"SL-0700_{turn}.tif")
        reading = next(r for r in measure_scan(Ask(str(path), bed)).readings if (r.check, r.name) == ("seam", "lift"))
        path.unlink()
        about = f"{told}, {picture.stem[:16]} lifted {lift_mm:.3f} mm"
        yield Trial("lifted works of which a lift is told", reading.value is not None, f"{about}: {reading.why}", scan)
        if isinstance(reading.value, float):
            yield Trial(WITHIN, within(reading.value, lift_mm), f"{about}: {reading.value:.3f} mm", scan)


def _trials(pictures: Pictures, seeds: range, _: Options) -> Iterator[Trial]:
    with tempfile.TemporaryDirectory() as folder:
        for seed in seeds:
            yield from _lifted(pictures, seed, Path(folder))


GROUPS = (Group("lift", "in mm, over a shim scan, `calibrate` and `examine`", _trials, {WITHIN: 100}),)
