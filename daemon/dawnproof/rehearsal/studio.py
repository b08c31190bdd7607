"""The studio folder of the rehearsal: its rule book and its job list, as text a studio would write."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from io import StringIO
from pathlib import Path

from .scenario import BEDS, Evening, Work

COLUMNS = ("job", "width_mm", "height_mm", "medium", "print_mm", "due", "hold", "handling", "up", "parts")


def found(studio: Path, evening: Evening, today: date) -> None:
    """Make the folder with rule book, job list and an inbox; FileExistsError where a rule book already is."""
    (studio / "inbox").mkdir(parents=True, exist_ok=True)
    with (studio / "dawnproof.toml").open("x", encoding="utf-8") as book:
        book.write(rule_book())
    with (studio / "jobs.csv").open("x", encoding="utf-8", newline="") as jobs:
        jobs.write(job_list(evening, today))


def rule_book() -> str:
    """dawnproof.toml: small beds, short waits, everything else as shipped."""
    beds = "\n".join(
        f"""
[beds.{flatbed.bed.name}]
width_mm = {flatbed.bed.width_mm}
length_mm = {flatbed.bed.length_mm}
seam_mm = {flatbed.bed.seams_mm[0]}
seam_tolerance_mm = {flatbed.bed.seam_tolerance_mm}
parallax = {flatbed.bed.parallax}
lid = "{flatbed.bed.lid}"
"""
        for flatbed in BEDS
    )
    return f"""# Saltmarsh Lane Print Room, an invented studio: works lent for the winter show.
based_on = "fine-art"

[naming]
pattern = "{{job}}_{{part}}[_t{{take}}]"

[intake]
settle_s = 2.0              # a rehearsal does not wait as long as a night may
scan_s = 1.0

[jobs]
grid_quiet_min = 0.1
{beds}
[kinds.canvas]
jobs = "SL-C*"
based_on = "heavy-texture"
relief = true
"""


def job_list(evening: Evening, today: date) -> str:
    """jobs.csv: what was lent, its size, when it is due back."""
    text = StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(COLUMNS)
    for count, work in enumerate(w for w in evening.works if w.listed):
        rows.writerow(_row(work, today + timedelta(days=3 + count % 9)))
    return text.getvalue()


def _row(work: Work, due: date) -> tuple[str, ...]:
    size = (f"{work.width_mm:.0f}", f"{work.height_mm:.0f}")
    print_mm = f"{1.2 * max(work.width_mm, work.height_mm):.0f}"
    return (work.job, *size, work.medium.value, print_mm, due.isoformat(), "", "", "", work.parts)
