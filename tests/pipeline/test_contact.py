"""The contact sheets on the disk: as many as there are, none of an earlier writing left."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from report.nights import empty_night, many_jobs, saltmarsh_lane

from dawnproof.model import Night
from dawnproof.pipeline.contact import contact_name, write_contact_sheets
from dawnproof.report.page import morning_page

DAY = "2026-11-25"


def test_a_shorter_writing_leaves_no_sheet_of_a_longer_one(tmp_path: Path) -> None:
    assert write_contact_sheets(many_jobs(60), DAY, tmp_path, {}) == tuple(contact_name(DAY, n) for n in (1, 2, 3))
    (tmp_path / "2026-11-24-contact-2.jpg").write_bytes(b"of another day")
    names = write_contact_sheets(saltmarsh_lane(), DAY, tmp_path, {})
    assert {p.name for p in tmp_path.iterdir()} == {*names, "2026-11-24-contact-2.jpg"}
    assert write_contact_sheets(empty_night(), DAY, tmp_path, {}) == ()
    assert [p.name for p in tmp_path.iterdir()] == ["2026-11-24-contact-2.jpg"]


def test_a_proof_is_shown_in_its_colours(tmp_path: Path) -> None:
    night = saltmarsh_lane()
    blue = bytes(cv2.imencode(".jpg", np.full((90, 120, 3), (250, 20, 20), np.uint8))[1])
    assert share_of_blue(night, tmp_path, {}) == 0
    assert share_of_blue(night, tmp_path, {f"{v.row.job}/proof": blue for v in night.jobs}) > 0.02


def share_of_blue(night: Night, folder: Path, pictures: dict[str, bytes]) -> float:
    (name, *_) = write_contact_sheets(night, DAY, folder, pictures)
    sheet = cv2.imread(str(folder / name))
    assert sheet is not None
    return float((np.abs(sheet.astype(int) - (250, 20, 20)) < 12).all(2).mean())


def test_the_page_leads_to_the_sheets() -> None:
    page = morning_page(saltmarsh_lane(), {}, (contact_name(DAY, 1), contact_name(DAY, 2)))
    assert f'<a href="{contact_name(DAY, 2)}">' in page
    assert "contact sheet" not in morning_page(saltmarsh_lane(), {})
