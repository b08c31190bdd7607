"""Lift in millimetres over the whole way: a shim scan, `calibrate`, a lifted work, `examine`.

    python tests/bench/lift.py FOLDER ... [--textures FOLDER ...] [--seeds A:B]

FOLDER: pictures that works are made of. Each seed is one bed (parallax 0.3 to 0.8, a cut or a blend zone of up to
40 px, a stitch up to 4 mm from where the rule book says), calibrated from one scan of a textured sheet on a shim of
0.3 to 1 mm, and three works lifted by 2 to 40 px of doubling, each measured from its file with the bed as calibrated.
Aim: within 10 % or 0.1 mm. Rates with Wilson's 95 % interval; every miss is named.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2] / "daemon"), str(HERE.parents[1]), str(HERE.parent)]
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np  # noqa: E402
import scans  # noqa: E402
import surfaces  # noqa: E402
from eye_zones import Rate  # type: ignore[import-not-found]  # noqa: E402

from dawnproof.calibrate import calibrate_bed  # noqa: E402
from dawnproof.errors import ScanError  # noqa: E402
from dawnproof.model import MM_PER_INCH, Bed  # noqa: E402
from dawnproof.storage.studio import open_studio  # noqa: E402
from dawnproof.workers.asks import Ask  # noqa: E402
from dawnproof.workers.measuring import measure_scan  # noqa: E402

PROFILE = HERE.parents[1] / "data" / "icc" / "sRGB-v4.icc"
ROWS, COLUMNS, WORKS_EACH = 1200, 1500, 3
SHARE, MM = 0.10, 0.1


def within(measured_mm: float, true_mm: float) -> bool:
    """The aim: 10 % or 0.1 mm, whichever is more."""
    return abs(measured_mm - true_mm) <= max(SHARE * true_mm, MM)


def run(pictures: list[Path], textures: list[Path], seed: int, folder: Path, rates: dict[str, Rate]) -> None:
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

    def written(work: surfaces.Surface, lift_mm: float, name: str, turn: int) -> Path:
        left, right = scans.cameras(seed + turn, noise=float(rng.uniform(0.0005, 0.004)))
        stitch = scans.Stitch(column, lift_mm * parallax * px_per_mm, blend, 0.0, 0.5, left, right)
        scan = scans.make_scan(work, None, stitch, ppi=ppi, seed=seed + turn)
        return scans.write_tiff(root / name, scan, icc=PROFILE.read_bytes())

    shim_mm = float(rng.choice([0.3, 0.5, 1.0]))
    texture = surfaces.load(str(textures[seed % len(textures)]))
    sheet = surfaces.relief(surfaces.paper(ROWS, COLUMNS, seed), texture, 0.25, seed)
    told = f"seed {seed}: {ppi:.0f} ppi, parallax {parallax:.3f}, blend {blend:.0f} px, shim {shim_mm} mm"
    try:
        calibrate_bed(open_studio(root), written(sheet, shim_mm, "shim.tif", 0), "bed-a", shim_mm)
    except ScanError as error:
        rates["calibrated"].add(False, f"{told}: {error}")
        return
    bed: Bed = open_studio(root).book.bed("bed-a")
    found = bed.parallax or 0.0
    rates["calibrated"].add(True, told)
    rates["parallax"].add(abs(found / parallax - 1) <= SHARE / 2, f"{told}: found {found:.3f}")
    for turn in range(1, WORKS_EACH + 1):
        picture = pictures[int(rng.integers(len(pictures)))]
        lift_mm = float(rng.uniform(2, 40)) / parallax / px_per_mm
        work = surfaces.from_picture(surfaces.load(str(picture)), ROWS, COLUMNS, seed + turn)
        work = surfaces.relief(work, texture, float(rng.uniform(0.02, 0.08)), seed + turn)
        path = written(work, lift_mm, f"SL-0700_{turn}.tif", turn)
        reading = next(r for r in measure_scan(Ask(str(path), bed)).readings if (r.check, r.name) == ("seam", "lift"))
        path.unlink()
        about = f"{told}, {picture.stem[:16]} lifted {lift_mm:.3f} mm"
        rates["told"].add(reading.value is not None, f"{about}: {reading.why}")
        if isinstance(reading.value, float):
            rates["within"].add(within(reading.value, lift_mm), f"{about}: {reading.value:.3f} mm")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("pictures", nargs="+", type=Path)
    parser.add_argument("--textures", nargs="*", type=Path, default=[HERE.parents[1] / "data" / "textures"])
    parser.add_argument("--seeds", default="0:10")
    asked = parser.parse_args()
    first, past = map(int, asked.seeds.split(":"))
    rates = {
        "calibrated": Rate("beds calibrated from one shim scan"),
        "parallax": Rate("parallax within 5 %"),
        "told": Rate("lifted works: a lift is told"),
        "within": Rate("lift within 10 % or 0.1 mm"),
    }
    pictures, textures = (
        [p for folder in folders for p in sorted(folder.iterdir()) if p.suffix.lower() in {".png", ".jpg", ".tif"}]
        for folders in (asked.pictures, asked.textures)
    )
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, past):
            run(pictures, textures, seed, Path(folder), rates)
    for rate in rates.values():
        print(rate.line())
        for miss in rate.misses:
            print(f"    {miss}")


if __name__ == "__main__":
    main()
