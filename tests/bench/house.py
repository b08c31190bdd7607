"""All that tells how a house does, in one run: python tests/bench/house.py FOLDER [MEMORY]

`cluster.py` (one and two scans at once, local against a cluster on the same cores) and `examine.py` (the share of
decode, digest and checks in a scan's time) in FOLDER, `ledger.py` (10 000 small jobs) and `growth.py` (1, 10, 100 beds)
in MEMORY (/dev/shm).
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("memory", type=Path, nargs="?", default=Path("/dev/shm"))
    args = parser.parse_args()
    for name, where in (("cluster", args.folder), ("examine", args.folder), ("ledger", args.memory),
                        ("growth", args.memory)):  # fmt: skip
        print(f"== {name}", flush=True)
        more = ["--gb", "0.5"] if name == "examine" else []
        subprocess.run([sys.executable, Path(__file__).with_name(f"{name}.py"), where, *more], check=True)


if __name__ == "__main__":
    main()
