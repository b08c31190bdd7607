"""Places of all parts together, from exact and from noisy matches."""

from collections.abc import Sequence

import numpy as np
import pytest
from bench.join_scene import ArraySource

from dawnproof.assemble.fit import Matches
from dawnproof.assemble.layout import closure, grid_rows, lay_out, outward, reference_part
from dawnproof.assemble.parts import JoinPart
from dawnproof.assemble.register import PairFit
from dawnproof.assemble.view import View, apply, compose, inverse

SIZE = 400
RANDOM = np.random.default_rng(3)


def placed(x: float, y: float, turn_deg: float = 0.0, scale: float = 1.0) -> np.ndarray:
    turn = np.deg2rad(turn_deg)
    linear = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    return np.column_stack([linear, [x, y]])


def views(count: int) -> list[View]:
    image = ArraySource(np.zeros((SIZE, SIZE, 1), np.uint8))
    return [View(JoinPart(f"p{i}", "", image, 300.0)) for i in range(count)]


def fitted(first: np.ndarray, second: np.ndarray, noise_px: float = 0.0) -> PairFit:
    """Matches of the overlap of two placed squares."""
    points = RANDOM.uniform(0, SIZE, (4000, 2))
    there = apply(compose(inverse(second), first), points)
    inside = ((there > 0) & (there < SIZE)).all(axis=1)
    ours, theirs = points[inside][:150], there[inside][:150]
    theirs = theirs + noise_px * RANDOM.standard_normal(theirs.shape)
    information = np.tile(np.eye(2) / max(noise_px, 0.01) ** 2, (len(ours), 1, 1))
    matches = Matches(ours, theirs, information, np.ones(len(ours)), len(ours))
    centre = ours.mean(axis=0)
    return PairFit(compose(inverse(second), first), matches, 0.2, 80.0, (float(centre[0]), float(centre[1])), -50.0)


def grid(noise_px: float):  # type: ignore[no-untyped-def]
    truth = [placed(320 * c, 315 * r, turn) for (r, c), turn in zip(np.ndindex(2, 2), (0, 0.8, -1.1, 0.4), strict=True)]
    pairs = {p: fitted(truth[p[0]], truth[p[1]], noise_px) for p in [(0, 1), (2, 3), (0, 2), (1, 3)]}
    return truth, pairs


def relative(matrices: Sequence[np.ndarray], i: int, reference: int) -> np.ndarray:
    return compose(inverse(matrices[reference]), matrices[i])


def test_exact_matches_give_exact_places() -> None:
    truth, pairs = grid(0.0)
    layout = lay_out(views(4), pairs)
    for i in range(4):
        found, true = relative(layout.matrices, i, layout.reference), relative(truth, i, layout.reference)
        assert found == pytest.approx(true, abs=1e-3)
    assert layout.rows == ((0, 1), (2, 3))


def test_noisy_matches_close_the_loop() -> None:
    truth, pairs = grid(0.1)
    layout = lay_out(views(4), pairs)
    assert max(closure(layout, pair, fit) for pair, fit in pairs.items()) < 0.05
    corner = np.array([[SIZE, SIZE]], float)
    for i in range(4):
        found = apply(relative(layout.matrices, i, layout.reference), corner)
        assert found == pytest.approx(apply(relative(truth, i, layout.reference), corner), abs=0.15)


def test_a_wild_twentieth_of_the_matches_changes_nothing() -> None:
    truth, pairs = grid(0.05)
    for fit in pairs.values():
        fit.matches.second[::20] += 6.0
    layout = lay_out(views(4), pairs)
    assert relative(layout.matrices, 3, layout.reference)[:, 2] == pytest.approx(
        relative(truth, 3, layout.reference)[:, 2], abs=0.1
    )


@pytest.mark.parametrize(
    ("second", "freedom"),
    [(placed(300.37, 2.0), "shift"), (placed(300.37, 2.0, 0.5), "turn"), (placed(300.0, 2.0, 0.5, 1.004), "scale")],
)
def test_the_simplest_freedom_that_suffices_is_taken(second: np.ndarray, freedom: str) -> None:
    layout = lay_out(views(2), {(0, 1): fitted(placed(0, 0), second, 0.05)})
    assert layout.freedom == freedom


def test_a_shift_of_nearly_whole_pixels_is_whole() -> None:
    layout = lay_out(views(2), {(0, 1): fitted(placed(0, 0), placed(300.004, -7.003), 0.02)})
    assert np.array_equal(layout.matrices[1], np.array([[1.0, 0, 300], [0, 1.0, 0]]))
    assert np.array_equal(layout.matrices[0][:, 2], [0.0, 7.0])
    assert (layout.width, layout.height) == (700, 407)


def test_outward_and_reference() -> None:
    chain = {(0, 1): None, (1, 2): None, (1, 3): None}
    assert reference_part(4, chain) == 1  # type: ignore[arg-type]
    assert outward(5, chain, 0) == [0, 1, 2, 3]  # type: ignore[arg-type]


def test_rows_are_read_from_places_not_from_order() -> None:
    spots = [placed(320 * c, 315 * r + 12 * c) for r, c in [(1, 1), (0, 0), (1, 0), (0, 1)]]
    assert grid_rows(views(4), spots) == ((1, 3), (2, 0))
