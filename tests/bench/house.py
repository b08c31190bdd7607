"""All that tells how a house does, in one run: python tests/bench/house.py FOLDER [MEMORY] [--small]

`cluster.py` (one and two scans at once, local against a cluster on the same cores) and `examine.py` (the share of
decode, digest and checks in a scan's time) in FOLDER, `ledger.py` (10 000 small jobs) and `growth.py` (1, 10, 100 beds)
in MEMORY (/dev/shm). With --small each takes seconds: that they run, not what they measure.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path

FULL = {"examine": ("--gb", "0.5")}
SMALL = {
    "cluster": ("--mb", "20", "--rounds", "1"),
    "examine": ("--gb", "0.02"),
    "ledger": ("--jobs", "40", "--step", "20"),
    "growth": ("--gb", "0.02", "--jobs", "20"),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("memory", type=Path, nargs="?", default=Path("/dev/shm"))
    parser.add_argument("--small", action="store_true")
    args = parser.parse_args()
    where = {"cluster": args.folder, "examine": args.folder, "ledger": args.memory, "growth": args.memory}
    failed = []
    for name, folder in where.items():
        print(f"== {name}", flush=True)
        more = (SMALL if args.small else FULL).get(name, ())
        if subprocess.run([sys.executable, Path(__file__).with_name(f"{name}.py"), folder, *more]).returncode:
            failed.append(name)  # the others are measured all the same
    if failed:
        sys.exit(f"failed: {', '.join(failed)}")


if __name__ == "__main__":
    main()
