"""How well the checks see, and how seldom they cry wolf, on scans made from any pictures: one table with counts, 95 %
intervals (Wilson) and what was missed.

    python tests/bench/eye.py [FOLDER ...] [TEXTURES ...] [--seeds A:B] [--only NAME,...] [--keep FOLDER]
                              [--height N] [--width N] [--place known|unknown]

FOLDER: pictures of one's own; a folder with 'texture' in its name gives relief instead. Without a folder the pictures
of ../shared/testdata and of scikit-image are used, those that were looked at while the stitch was made ("tuned") apart
from the others ("unseen"). `--only` picks groups of rows; each makes its scans from the same seeds. `--height`: of
long and part (2400 px without it) and of the sheets of streaks, focus, fringe, travel and likeness (1300); `--width`:
of these sheets (1000). Real scans are larger, and on them more is seen. `--place unknown`: scans of the stitch do not
say where on the bed they lie. `--keep` writes every scan that was missed there as a TIFF. The end names the rows whose
aim is not met.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS.parent / "daemon"), str(TESTS)]
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import cv2  # noqa: E402
from bench import eye_clipping, eye_coding, eye_frame, eye_jobs, eye_seam, eye_zones, lift  # noqa: E402
from bench.eye_pictures import LEAST_SIDE, Pictures, picture_sets  # noqa: E402
from bench.rates import HEADING, Options, Row, counted, seeds_of, show, show_unmet  # noqa: E402

MODULES = (eye_jobs, eye_seam, lift, eye_coding, eye_zones, eye_frame, eye_clipping)
GROUPS = {group.name: group for module in MODULES for group in module.GROUPS}


def table(pictures: Pictures, seeds: range, names: list[str], options: Options, keep: Path | None) -> list[Row]:
    """Prints the rows of each group as soon as it is through."""
    print(f"\n{pictures.name}: {len(pictures.works)} pictures, {len(pictures.textures)} textures,", end=" ")
    print(f"seeds {seeds.start}:{seeds.stop}\n{HEADING}", flush=True)
    rows = []
    for name in names:
        found = counted(GROUPS[name], GROUPS[name].trials(pictures, seeds, options), keep)
        show(GROUPS[name], found)
        rows += found
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__,
        epilog="\n".join(("groups:", *(f"  {name:10s}{group.title}" for name, group in GROUPS.items()))),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--seeds", type=seeds_of, default="0:20")
    parser.add_argument("--only", type=lambda names: names.split(","), default=list(GROUPS))
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--height", type=int)
    parser.add_argument("--width", type=int)
    parser.add_argument("--place", choices=["known", "unknown"], default="known")
    asked = parser.parse_args()
    if unknown := set(asked.only) - set(GROUPS):
        parser.error(f"no such group: {', '.join(sorted(unknown))}; there are {', '.join(GROUPS)}")
    cv2.setNumThreads(1)
    if lost := [str(folder) for folder in asked.folders if not folder.is_dir()]:
        parser.error(f"no such folder: {', '.join(lost)}")
    sets = picture_sets(asked.folders)
    if bare := [pictures.name for pictures in sets if not pictures.works]:
        parser.error(f"no picture to make works of ({', '.join(bare)}); each side must have {LEAST_SIDE} px")
    options = Options(asked.height, asked.width, asked.place == "known")
    for pictures in sets:
        show_unmet(table(pictures, asked.seeds, asked.only, options, asked.keep))


if __name__ == "__main__":
    main()
