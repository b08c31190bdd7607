"""Small invented scans of parts for the tests of joining, made once a session."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from bench.join_scene import ArraySource, Laid, Scene, laid, scan

from dawnproof.assemble.parts import JoinPart

DATA = Path(__file__).parent / "data"
ROWS, COLUMNS = 460, 640
PPI = 300.0


@lru_cache(maxsize=4)
def scene(relief: float = 0.05, picture: str = "pictures/seeding_cut.jpg") -> Scene:
    """A picture with the relief of gravel; `relief` is the standard deviation of its shading."""
    read = cv2.imread(str(DATA / picture), cv2.IMREAD_COLOR)
    assert read is not None
    pigment = cv2.resize(read, (COLUMNS, ROWS), interpolation=cv2.INTER_AREA)[:, :, ::-1].astype(np.float32) / 255
    texture = cv2.imread(str(DATA / "textures/gravel.png"), cv2.IMREAD_GRAYSCALE)
    assert texture is not None
    grain = texture.astype(np.float32)
    height = cv2.GaussianBlur(cv2.resize(grain, (COLUMNS, ROWS), interpolation=cv2.INTER_AREA), (0, 0), 0.8)
    work = np.asarray(0.05 + 0.8 * pigment, np.float32)
    return Scene(work, np.asarray(height, np.float32), relief / max(float(np.gradient(height)[0].std()), 1e-9))


def halves(overlap_px: int = 70, turn_deg: float = 0.0, shift: tuple[float, float] = (0.0, 0.0)) -> tuple[Laid, Laid]:
    """Left and right half of the scene, the right one turned and shifted."""
    wide, high = (COLUMNS - 40 + overlap_px) // 2, ROWS - 60
    left = laid((20 + (wide - 1) / 2, 30 + (high - 1) / 2), (high, wide))
    middle = (COLUMNS - 21 - (wide - 1) / 2 + shift[0], 30 + (high - 1) / 2 + shift[1])
    return left, laid(middle, (high, wide), turn_deg)


def scanned(part: Laid, seed: int = 1, noise: float = 0.002, gain: float = 1.0, bend_px: float = 0.0) -> ArraySource:
    return ArraySource(scan(scene().lit(), part, np.random.default_rng(seed), noise, gain, bend_px))


def pair(first: ArraySource, second: ArraySource, labels: str = "LR") -> list[JoinPart]:
    return [JoinPart(name, label, image, PPI) for name, label, image in zip("ab", labels, (first, second), strict=True)]


def true_matrix(onto: Laid, part: Laid) -> npt.NDArray[np.float64]:
    """(2, 3) pixel centres of `part` to those of `onto`, as they were laid down."""
    back = np.linalg.inv(onto.matrix[:, :2])
    return np.column_stack([back @ part.matrix[:, :2], back @ (part.matrix[:, 2] - onto.matrix[:, 2])])


def corner_error(found: npt.NDArray[np.float64], true: npt.NDArray[np.float64], part: Laid) -> float:
    """px, largest over the corners of the part."""
    corners = np.array([[x, y] for x in (0.0, part.columns - 1.0) for y in (0.0, part.rows - 1.0)])
    apart = corners @ (found[:, :2] - true[:, :2]).T + found[:, 2] - true[:, 2]
    return float(np.abs(apart).max())
