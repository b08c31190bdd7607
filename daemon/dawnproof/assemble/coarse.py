"""Where two parts may lie on one another, roughly: candidates only, each to be proved patch by patch afterwards.

Two sources: features (SIFT, Lowe 2004, on locally normalised grey, so that paper grain counts as much as ink) with
random sampling, and phase correlation over turned copies, which finds narrow and faint overlaps. What stands at the
same place of the bed in both parts (lid, dust, streaks) is left out of both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
from scipy import fft

from ..measure.overlap import noise_level
from .parts import Matrix
from .view import Grey, inverse

FEATURES = 5000
_SAME_PLACE_PX = 3.0
_RANSAC_PX = 3.0
_LEAST_INLIERS = 8
_ELSEWHERE = ((37, 23), (-29, 41), (61, -17), (-43, -53))  # shifts at which only chance agrees
_BEYOND_CHANCE, _LEAST_MARKS, _MOST_MARKS = 4.0, 0.001, 0.3
_NEAR_PX, _ALIKE, _PLAIN = 2.5, 0.75, 0.3
_STANDING_OUT = 1.7  # times the local deviation, in both: a speck of two pixels is lost among what lies around it


@dataclass(frozen=True)
class Candidate:
    """A map from the first overview's pixel centres to the second's and a score to sort by."""

    matrix: Matrix
    score: float


def normalised(grey: Grey, sigma: float = 6.0) -> Grey:
    """Local mean taken off and divided by the local deviation, cut at 3; whole columns and rows that differ from
    their surroundings (streaks) taken off. Flat places, below three times the noise, fade to 0."""
    high = grey - cv2.GaussianBlur(grey, (0, 0), sigma)
    high -= np.median(high, axis=0, keepdims=True)
    high -= np.median(high, axis=1, keepdims=True)
    deviation = np.sqrt(cv2.GaussianBlur(high * high, (0, 0), 2 * sigma))
    floor = max(noise_level(grey), 2e-4)
    return np.asarray(np.clip(high / (deviation + floor), -3, 3), dtype=np.float32)


def bed_marks(first: Grey, second: Grey) -> npt.NDArray[np.bool_] | None:
    """Where two normalised overviews of one size agree at the very same place of the bed: dust, scratches, lid.
    None when sizes differ, when no more agrees than at any other shift, or so much that it is the texture itself."""
    if first.shape != second.shape:
        return None

    def same(down: int, across: int) -> npt.NDArray[np.bool_]:
        moved = np.roll(second, (down, across), (0, 1))
        likeness, size = _likeness_around(first, moved)
        specks = (np.minimum(np.abs(first), np.abs(moved)) > _STANDING_OUT) & (first * moved > 0)
        return np.asarray(((likeness > _ALIKE) & (size > _PLAIN)) | specks)

    here = same(0, 0)
    by_chance = float(np.mean([same(*shift).mean() for shift in _ELSEWHERE]))
    if here.mean() < _BEYOND_CHANCE * by_chance + _LEAST_MARKS:
        return None
    return here if with_rims(here).mean() < _MOST_MARKS else None


def with_rims(marks: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Marks and what their blur reaches."""
    return np.asarray(cv2.dilate(marks.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0)


def moved_along(first: Grey, second: Grey, matrix: Matrix, marks: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Which of the marks on `first` are the work's own after all: where the work lies by `matrix` (pixels of the first
    to the second's), the second shows them too, and there more alike than at the same place of the bed. A row of equal
    things as far from one another as the parts looks like marks of the bed."""
    rows, columns = first.shape
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    laid = np.asarray(cv2.warpAffine(second, matrix, (columns, rows), flags=flags), np.float32)
    with_work = _likeness_around(first, laid)[0]
    if first.shape != second.shape:
        return np.asarray(marks & (with_work > _ALIKE))
    return np.asarray(marks & (with_work > _likeness_around(first, second)[0]))


def _likeness_around(first: Grey, second: Grey) -> tuple[Grey, Grey]:
    """Around each pixel: correlation of the two, and how plain they are (geometric mean of their powers)."""
    size = np.sqrt(_near(first * first) * _near(second * second))
    return np.asarray(_near(first * second) / np.maximum(size, 1e-9)), size


def _near(values: Grey) -> Grey:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), _NEAR_PX))


@dataclass(frozen=True)
class Features:
    """(n, 2) places x, y and (n, 128) descriptors."""

    points: Grey
    words: Grey

    def outside(self, marks: npt.NDArray[np.bool_]) -> Features:
        """Without those that lie on marks."""
        at = np.rint(self.points).astype(int)
        rows, columns = marks.shape
        kept = ~marks[np.clip(at[:, 1], 0, rows - 1), np.clip(at[:, 0], 0, columns - 1)]
        return Features(self.points[kept], self.words[kept])

    def turned(self, quarters: int, rows: int, columns: int) -> Features:
        """As if the (rows, columns) picture had been turned anticlockwise; the words do not know which way is up."""
        points = self.points
        for _ in range(quarters % 4):
            points = np.stack([points[:, 1], columns - 1 - points[:, 0]], axis=1)
            rows, columns = columns, rows
        return Features(points, self.words)


def features(image: Grey) -> Features:
    """Of a normalised overview; places that are 0 are left out."""
    sift = cv2.SIFT.create(nfeatures=FEATURES, contrastThreshold=0.015)
    keys, words = sift.detectAndCompute(_as_bytes(image), (image != 0).astype(np.uint8))
    if words is None:
        return Features(np.zeros((0, 2), np.float32), np.zeros((0, 128), np.float32))
    return Features(np.array([key.pt for key in keys], np.float32), np.asarray(words, dtype=np.float32))


def feature_candidates(first: Features, second: Features, most: int = 3) -> Iterator[Candidate]:
    """From matched features, the best supported first."""
    found = _matches(first, second)
    if found is None:
        return
    from_points, to_points = found
    for _ in range(most):
        if len(from_points) < _LEAST_INLIERS:
            return
        matrix, inside = cv2.estimateAffinePartial2D(
            from_points, to_points, method=cv2.RANSAC, ransacReprojThreshold=_RANSAC_PX, maxIters=5000, confidence=0.999
        )
        if matrix is None or inside.sum() < _LEAST_INLIERS:
            return
        if 0.9 < np.hypot(matrix[0, 0], matrix[1, 0]) < 1.1:
            yield Candidate(np.asarray(matrix, dtype=np.float64), float(inside.sum()))
        left = inside.ravel() == 0
        from_points, to_points = from_points[left], to_points[left]


def _matches(first: Features, second: Features) -> tuple[Grey, Grey] | None:
    if min(len(first.points), len(second.points)) < _LEAST_INLIERS:
        return None
    matcher = cv2.FlannBasedMatcher({"algorithm": 1, "trees": 4}, {"checks": 48})
    pairs = [p for p in matcher.knnMatch(first.words, second.words, k=2) if len(p) == 2]
    kept = [p[0] for p in pairs if p[0].distance < 0.85 * p[1].distance]
    if len(kept) < _LEAST_INLIERS:
        return None
    from_points = first.points[[m.queryIdx for m in kept]]
    to_points = second.points[[m.trainIdx for m in kept]]
    moved = np.linalg.norm(from_points - to_points, axis=1) > _SAME_PLACE_PX
    return from_points[moved], to_points[moved]


def _as_bytes(image: Grey) -> npt.NDArray[np.uint8]:
    return np.asarray(np.clip(128 + 42 * image, 0, 255), dtype=np.uint8)


def correlation_candidates(first: Grey, second: Grey, angles_deg: npt.NDArray[np.float64]) -> Iterator[Candidate]:
    """The best places by phase correlation (Kuglin and Hines 1975) for each turning of `second`, best first."""
    rows = fft.next_fast_len(first.shape[0] + second.shape[0], real=True)
    columns = fft.next_fast_len(first.shape[1] + second.shape[1], real=True)
    spectrum = fft.rfft2(first, (rows, columns), workers=2)
    passed = low_pass(rows, columns, 0.11)
    found: list[Candidate] = []
    for angle in angles_deg:
        turned, turn = turned_by(second, float(angle))
        cross = np.conj(spectrum) * fft.rfft2(turned, (rows, columns), workers=2)
        cross *= passed / (np.abs(cross) + 1e-3 * np.abs(cross).mean())
        surface = fft.irfft2(cross, (rows, columns), workers=2)
        found += _peaks(surface, turn, second.shape)
    yield from sorted(found, key=lambda c: -c.score)


def low_pass(rows: int, columns: int, finest: float) -> npt.NDArray[np.float32]:
    """Keeps what turning by a fraction of a degree leaves in place, up to about `finest` cycles a pixel; takes out the
    two axes, where streaks live."""
    fy, fx = np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(columns)[None, :]
    kept = np.exp(-(fy**2 + fx**2) / (2 * finest**2))
    kept[np.abs(fy[:, 0]) < 1.5 / rows, :] = 0
    kept[:, fx[0] < 1.5 / columns] = 0
    return np.asarray(kept, dtype=np.float32)


def turned_by(image: Grey, angle_deg: float) -> tuple[Grey, Matrix]:
    """The image turned about its centre, cut at its frame, and the map from turned to unturned pixels."""
    rows, columns = image.shape
    turn = cv2.getRotationMatrix2D(((columns - 1) / 2, (rows - 1) / 2), angle_deg, 1.0)
    if angle_deg == 0:
        return image, np.asarray(turn)
    return np.asarray(cv2.warpAffine(image, turn, (columns, rows))), inverse(np.asarray(turn))


def _peaks(surface: npt.NDArray[np.float32], turn: Matrix, shape: tuple[int, ...], most: int = 3) -> list[Candidate]:
    rows, columns = surface.shape
    spread = float(surface.std()) + 1e-12
    found = []
    work = surface.copy()
    # the bed's own marks: nothing moved and nothing turned
    for row in range(-3, 4):
        for column in range(-3, 4):
            work[row, column] = 0
    for _ in range(most):
        row, column = (int(i) for i in np.unravel_index(int(np.argmax(work)), work.shape))
        score = float(work[row, column]) / spread
        dy = row if row < shape[0] else row - rows
        dx = column if column < shape[1] else column - columns
        # first at x shows what the turned second shows at x + (dx, dy)
        shift = np.array([dx, dy], dtype=np.float64)
        matrix = np.column_stack([turn[:, :2], turn[:, :2] @ shift + turn[:, 2]])
        found.append(Candidate(matrix, score))
        ys = np.arange(row - 4, row + 5) % rows
        xs = np.arange(column - 4, column + 5) % columns
        work[np.ix_(ys, xs)] = 0
    return found
