"""The morning of several studios: each written to its own folder as ever, and one summary over all beside the first."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

from ..report.documents import to_json
from ..report.house import StudioNight, house_document, house_page, house_text
from ..storage.moves import write_beside
from ..storage.studio import Studio
from .morning import Written


@dataclass(frozen=True, slots=True)
class HouseWritten:
    """A summary over all studios as it was written."""

    folder: Path
    text: str
    document: dict[str, Any]


def write_house(mornings: Sequence[tuple[Studio, Written]]) -> HouseWritten:
    """Write DAY-house.txt, .json and .html to the first studio's morning folder."""
    folder = mornings[0][1].folder
    names = _told_apart([studio.root for studio, _ in mornings])
    house = [
        StudioNight(name, str(studio.root), _link(folder, written), written.night)
        for name, (studio, written) in zip(names, mornings, strict=True)
    ]
    text, document = house_text(house), house_document(house)
    for ending, content in (("txt", text), ("json", to_json(document)), ("html", house_page(house))):
        path = folder / f"{mornings[0][1].day}-house.{ending}"
        write_beside(path, content.encode("utf-8", "backslashreplace"), replace=True)
    return HouseWritten(folder, text, document)


def _told_apart(roots: Sequence[Path]) -> list[str]:
    """The folders' names; the whole path where two are called the same."""
    names = [root.name for root in roots]
    return [root.name if names.count(root.name) == 1 else str(root) for root in roots]


def _link(folder: Path, written: Written) -> str:
    """From the house's page to a studio's own, so that both may be opened from anywhere the store is mounted."""
    return quote(os.path.relpath(written.folder / f"{written.day}.html", folder), errors="surrogateescape")
