"""The contact sheets of the night, written beside the summary."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import cv2
import numpy as np

from ..assemble.contact import ContactWork, contact_sheets
from ..assemble.proof import Rgb, jpeg
from ..model import Night
from ..report.account import parts
from ..report.contact import ContactLabel, contact_labels, contact_title
from ..storage.moves import write_beside
from .thumbs import thumb_of

QUALITY = 86


def write_contact_sheets(night: Night, day: str, folder: Path, pictures: Mapping[str, bytes]) -> tuple[str, ...]:
    """Write them and give their names; sheets of an earlier, longer writing of that day go. `pictures` are JPEG bytes
    by 'JOB/proof' or 'JOB/parts'."""
    labels = contact_labels(night)
    sheets = contact_sheets([_work(label, night, pictures) for label in labels], contact_title(night, labels))
    names = [contact_name(day, number) for number in range(1, len(sheets) + 1)] if labels else []
    for name, sheet in zip(names, sheets, strict=False):
        write_beside(folder / name, jpeg(sheet, f"works of the night, sRGB; {contact_title(night, labels)}", QUALITY),
                     replace=True)  # fmt: skip
    for left in folder.glob(f"{day}-contact-*.jpg"):
        if left.name not in names:
            left.unlink(missing_ok=True)
    return tuple(names)


def contact_name(day: str, number: int) -> str:
    """'2026-11-25-contact-1.jpg'."""
    return f"{day}-contact-{number}.jpg"


def _work(label: ContactLabel, night: Night, pictures: Mapping[str, bytes]) -> ContactWork:
    picture = _decoded(pictures.get(f"{label.job}/parts") or pictures.get(f"{label.job}/proof") or b"")
    if picture is None:
        picture = _thumbs(label.job, night)
    return ContactWork(picture, label.width_mm, label.height_mm, label.shape, label.number, label.pile, label.thing,
                       label.size)  # fmt: skip


def _decoded(data: bytes) -> Rgb | None:
    found = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR) if data else None
    return None if found is None else np.asarray(found[:, :, ::-1], np.uint8)


def _thumbs(job: str, night: Night) -> Rgb | None:
    """The small grey pictures of the ledger side by side, where there is no proof yet."""
    view = next((v for v in night.jobs if v.row.job == job), None)
    found = parts(view) if view else ()
    thumbs = [thumb_of(scan.measured) for scan in found if scan.measured and scan.measured.thumb]
    if not thumbs:
        return None
    height = max(thumb.shape[0] for thumb in thumbs)
    same = [cv2.resize(t, (max(1, round(t.shape[1] * height / t.shape[0])), height)) for t in thumbs]
    return np.repeat(np.hstack(same)[:, :, None], 3, 2).astype(np.uint8)
