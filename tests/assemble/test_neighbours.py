"""What names promise."""

import pytest

from dawnproof.assemble.neighbours import expected_pairs, place_of


@pytest.mark.parametrize(
    ("label", "place"),
    [("L", (0, 0)), ("R", (0, 1)), ("T", (0, 0)), ("B", (1, 0)), ("r2c3", (1, 2)), ("2of4", None), ("whole", None)],
)
def test_places_of_labels(label: str, place: tuple[int, int] | None) -> None:
    assert place_of(label) == place


def test_neighbours_of_a_grid_are_tried_diagonals_are_not() -> None:
    assert expected_pairs(["r1c1", "r2c2", "r1c2", "r2c1"]) == [(0, 2), (0, 3), (1, 2), (1, 3)]


def test_numbered_parts_promise_nothing() -> None:
    assert expected_pairs(["1of3", "2of3", "3of3"]) == [(0, 1), (0, 2), (1, 2)]
