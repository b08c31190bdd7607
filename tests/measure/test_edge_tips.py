"""The teeth of a rough edge: found wherever along the side they stand out, and no dust for a tooth."""

import numpy as np
import numpy.typing as npt
import pytest

from dawnproof.measure.edge_tips import tips_along

EDGE, ROWS = 40, 240


def look(picture: npt.NDArray[np.float32], slope_deg: float = 0.0) -> npt.NDArray[np.float64]:
    """Outermost columns seen along the left side, (n, 2): row and column."""
    rows = len(picture)
    middle, slope = np.array([30.0, rows / 2]), float(np.tan(np.radians(slope_deg)))
    along, depth = tips_along(picture, middle, np.array([1.0, 0.0]), rows, (EDGE - 30.0, slope), 0.003)
    return np.stack((rows / 2 + along, 30.0 + depth), axis=1)


def sheet(rows: int = ROWS) -> npt.NDArray[np.float32]:
    picture = np.full((rows, 120, 3), 0.05, np.float32)
    picture[:, EDGE:] = 0.6
    return picture


@pytest.mark.parametrize(("row", "rows"), [(120, ROWS), (1, ROWS), (236, ROWS), (1501, 3000)])
def test_a_tooth_is_seen_anywhere_from_corner_to_corner(row: int, rows: int) -> None:
    """Of a long side as of a short one: a tooth of three pixels does not fall between what is looked at."""
    picture = sheet(rows)
    picture[row : row + 3, EDGE - 5 :] = 0.6
    tips = look(picture)
    assert tips[:, 1].min() == pytest.approx(EDGE - 5, abs=0.3)
    assert row - 1 <= tips[tips[:, 1].argmin(), 0] <= row + 4


def test_a_single_pixel_is_dust() -> None:
    picture = sheet()
    picture[120, EDGE - 6] = 0.6
    assert look(picture)[:, 1].min() > EDGE - 1.5


def test_places_are_told_in_the_directions_of_the_side() -> None:
    """Along a side that leans, each place still lies on its edge."""
    y, x = np.mgrid[0:ROWS, 0:120] + 0.5
    lean = np.tan(np.radians(1.5))
    cover = np.clip(x - EDGE - lean * (y - ROWS / 2) + 0.5, 0, 1)
    picture = (0.05 + 0.55 * cover[..., None] * np.ones(3)).astype(np.float32)
    tips = look(picture, 1.5)
    assert len(tips) > 0.9 * ROWS
    assert tips[:, 1] == pytest.approx(EDGE + lean * (tips[:, 0] - ROWS / 2), abs=0.3)
