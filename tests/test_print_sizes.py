"""Print sizes by hand-made arithmetic: millimetres = pixels x 25.4 / ppi."""

from __future__ import annotations

import pytest

from dawnproof.print_sizes import largest_prints, ordered_print


def test_largest_prints() -> None:
    sizes = {p.ppi: (p.width_mm, p.height_mm) for p in largest_prints(7016, 4961)}
    # an A4 at 600 ppi (297 x 210 mm) prints as A3 at 300 ppi: 594 x 420 mm
    assert sizes[300] == pytest.approx((594.0, 420.0), abs=0.1)
    assert list(sizes) == [360, 300, 240, 180]


def test_detail_below_one_counts_as_fewer_pixels() -> None:
    assert largest_prints(3000, 2000, 0.5)[1].width_mm == pytest.approx(127.0)


def test_the_ordered_print() -> None:
    # FADGI 2016's own rule: needed scan ppi = print ppi x enlargement; 300 mm at 600 ppi printed 600 mm long is 300 ppi
    found = ordered_print(7087, 3543, 600.0)
    assert found.effective_ppi == pytest.approx(300.0, abs=0.1)
    assert found.short_mm == pytest.approx(300.0, abs=0.1)
