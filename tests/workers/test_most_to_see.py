"""A doubling is shown where a person sees it: not in an empty sky, and no other displacement than is said."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from report.scanned import lifted
from scans import Stitch, make_scan, write_tiff
from surfaces import ground, strokes
from workers.test_close_up_places import finding, measured

from dawnproof.model import Box, SeamSample, Where
from dawnproof.storage.tiff import Scan, open_scan
from dawnproof.workers.close_up_places import TILE, of_scan
from dawnproof.workers.most_to_see import Shows, rows_to_show, structure_of

ROWS, COLUMNS, SEAM, PPI = 2400, 900, 450, 254.0
SKY = 1300  # rows without anything in them, above a painting


@pytest.fixture(scope="module")
def scan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Scan]:
    """Doubled all along by 6 px."""
    work = np.concatenate([ground(SKY, COLUMNS, (0.5, 0.6, 0.8)), strokes(ROWS - SKY, COLUMNS, 5)])
    path = tmp_path_factory.mktemp("sky") / "SL-0412_whole.tif"
    write_tiff(path, make_scan(work, None, Stitch(SEAM, 6.0), ppi=PPI))
    with open_scan(path) as opened:
        yield opened


def stitch(*px: float | None) -> Where:
    """Along the whole stitch, at ten px a mm."""
    step = ROWS / 10 / len(px)
    profile = tuple(SeamSample((k + 0.5) * step, one, None, 1.0) for k, one in enumerate(px))
    return Where(SEAM / 10 - 0.6, 0.0, 1.2, ROWS / 10, profile)


def shown(scan: Scan, where: Where) -> tuple[Box, str]:
    of_this = replace(measured(readings=(lifted(),)), width_px=COLUMNS, height_px=ROWS, crop=None)
    (doubling, *_) = of_scan(0, "whole", of_this, (finding("seam", "doubling", where),), structure_of(scan))
    return doubling.at, doubling.words


def test_a_doubling_that_is_largest_in_an_empty_sky_is_shown_in_the_painting(scan: Scan) -> None:
    at, words = shown(scan, stitch(6.5, 6.5, 7.0, 6.5, 6.0, 6.0, 6.0, 6.0))
    assert at.y >= SKY
    assert words.endswith(", 6.0 px here")


def test_what_is_far_less_displaced_is_not_shown_for_it(scan: Scan) -> None:
    """The painting below lay flat: nothing would be seen there however much it shows."""
    at, words = shown(scan, stitch(6.0, 7.0, 6.0, 6.0, 0.0, 0.0, 2.0, None))
    assert at.bottom <= SKY
    assert "here" not in words


def test_where_no_row_tells_anything_the_place_with_most_in_it_is_shown(scan: Scan) -> None:
    at, _ = shown(scan, stitch(None, None, None, None))
    assert at.y >= SKY


def test_the_largest_stays_where_there_is_about_as_much_to_see() -> None:
    box, where = Box(440, 0, 12, 2400), stitch(5.0, 5.0, 5.0, 7.0, 5.0, 5.0)
    for more, expected in ((1.1, 1400), (1.4, 200)):
        found = rows_to_show(where, box, 340, 10.0, _more_at_the_top(more))
        assert abs(found.row - expected) <= 40, more
        assert found.px == (None if expected == 1400 else 5.0)


def _more_at_the_top(more: float) -> Shows:
    return lambda at, px: more if at.y < 100 else 1.0


def test_only_few_places_are_read_again_and_none_twice(scan: Scan, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[tuple[int, ...]] = []
    region = scan.region

    def counted(_: Scan, *at: int) -> Any:
        read.append(at)
        return region(*at)

    monkeypatch.setattr(type(scan), "region", counted)
    shows = structure_of(scan)
    for _ in range(2):
        rows_to_show(stitch(*[6.0] * 200), Box(440, 0, 12, ROWS), TILE.height - 40, 10.0, shows)
    assert 1 <= len(read) <= 9
    assert len(set(read)) == len(read)


def test_a_stitch_at_the_frame_is_no_trouble(scan: Scan) -> None:
    for x in (-20, 0, COLUMNS - 5, COLUMNS + 30):
        assert structure_of(scan)(Box(x, ROWS - 100, 12, 340), 400.0) >= 0.0
