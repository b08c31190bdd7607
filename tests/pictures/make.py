"""The pictures of the README: python tests/pictures/make.py STUDIO (a folder `dawnproof rehearse` played in).

Needs chromium. Writes dashboard.png, morning.png and contact.jpg beside this file.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import cv2
from rich.console import Console

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1] / "daemon")]

from dawnproof.ledger.ledger import Ledger  # noqa: E402
from dawnproof.pipeline.morning import write_morning  # noqa: E402
from dawnproof.pipeline.night import gather_night  # noqa: E402
from dawnproof.report.dashboard import dashboard  # noqa: E402
from dawnproof.storage.studio import open_studio  # noqa: E402

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--hide-scrollbars",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


def shoot(page: Path, out: Path, width: int, height: int) -> None:
    with tempfile.TemporaryDirectory() as profile:
        subprocess.run(
            ["chromium", *FLAGS, f"--user-data-dir={profile}", f"--window-size={width},{height}",
             f"--screenshot={out}", page.as_uri()],
            check=True, stderr=subprocess.DEVNULL,
        )  # fmt: skip


def main() -> None:
    studio = open_studio(Path(sys.argv[1]))
    ledger = Ledger.read(studio.ledger_path)
    last = datetime.fromisoformat(ledger.runs()[-1].beat_utc)
    with tempfile.TemporaryDirectory() as scratch:
        console = Console(record=True, width=120, height=38, file=(Path(scratch) / "screen.txt").open("w"))
        console.print(dashboard(gather_night(studio, ledger, last - timedelta(hours=1), last), 120, 38))
        svg = console.export_svg(title="dawnproof watch saltmarsh-lane")
        picture = Path(scratch) / "dashboard.html"
        plain = re.sub(r"@font-face\s*{[^}]*}|<circle [^>]*/>", "", svg)  # no fonts from the network, no window knobs
        picture.write_text(f"<body style='margin:0'>{plain}</body>", "utf-8")
        shoot(picture, HERE / "dashboard.png", 1240, 860)
        write_morning(studio, ledger, last - timedelta(hours=1), last.astimezone(UTC), None)
        page = next(p for p in studio.morning.glob("*.html") if "scan-again" not in p.name and "bed-" not in p.name)
        shoot(page, HERE / "morning.png", 1000, 1250)
        sheet = cv2.imread(str(next(iter(sorted(studio.morning.glob("*-contact-1.jpg"))))))
        assert sheet is not None
        small = cv2.resize(sheet, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA)
        cv2.imwrite(str(HERE / "contact.jpg"), small, [cv2.IMWRITE_JPEG_QUALITY, 85])
    ledger.close()


if __name__ == "__main__":
    main()
