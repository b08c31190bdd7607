"""The pictures and textures that the benches of the eye make their works of."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import skimage

TUNED = ("coffee", "chelsea", "ihc", "motorcycle_left", "rocket", "starry_night", "Picture_0B", "seeding")
TUNED_TEXTURES = ("gravel", "brick")
UNFIT = ("chessboard", "horse", "logo", "phantom", "motorcycle_right", "color", "microaneurysms", "clock_motion")
SUFFIXES = {".png", ".jpg", ".jpeg", ".tif", ".tiff"}
LEAST_SIDE = 250
TESTS = Path(__file__).resolve().parents[1]
PROFILE = TESTS / "data" / "icc" / "sRGB-v4.icc"


@dataclass(frozen=True)
class Pictures:
    """One set of pictures and textures."""

    name: str
    works: tuple[Path, ...]
    textures: tuple[Path, ...]


def picture_sets(folders: list[Path]) -> list[Pictures]:
    """One set of the folders given, of which one with 'texture' in its name gives relief; without any, those beside the
    checkout and of scikit-image, those the stitch was tuned on apart from the others."""
    shared, own = TESTS.parents[1] / "shared" / "testdata", Path(skimage.__file__).parent / "data"
    textures = sorted((shared / "textures").glob("*.png")) or sorted((TESTS / "data" / "textures").glob("*.png"))
    if folders:
        given = [path for folder in folders for path in sorted(folder.iterdir()) if _usable(path)]
        relief = tuple(p for p in given if "texture" in p.parent.name) or tuple(textures)
        return [Pictures("given", tuple(p for p in given if "texture" not in p.parent.name), relief)]
    works = (
        [*sorted((shared / "pictures").iterdir()), *sorted(own.iterdir())] if shared.is_dir() else sorted(own.iterdir())
    )
    works = [p for p in works if _usable(p) and p.stem not in {t.stem for t in textures} and not _any(p, UNFIT)]
    sets = []
    for name, wanted in (("tuned", True), ("unseen", False)):
        sets.append(
            Pictures(
                name,
                tuple(p for p in works if _any(p, TUNED) is wanted),
                tuple(t for t in [*textures, own / "moon.png"] if _any(t, TUNED_TEXTURES) is wanted),
            )
        )
    return sets


def _any(path: Path, words: tuple[str, ...]) -> bool:
    return any(word in path.name for word in words)


def _usable(path: Path) -> bool:
    if path.suffix.lower() not in SUFFIXES:
        return False
    picture = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    return picture is not None and picture.ndim >= 2 and min(picture.shape[:2]) >= LEAST_SIDE
