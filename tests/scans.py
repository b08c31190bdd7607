"""A maker of test scans with known faults: artwork on a simulated bed, seen by one or two line cameras.

Order of events, as in the machine: the work (a surface from `surfaces.py`) lies on the glass under a lid,
turned by a skew, with a shadow at its sides; each camera sees the bed with its own gain, sharpness and noise;
the stitch puts the two views side by side, cut hard or mixed linearly over a blend zone; the result is coded
to 16 (or 8) bits.

Physics of the stitch (cameras below the glass, stitch computed for the glass plane): a surface lifted by h
shows in the left camera's view h tan t1 to the left of its true place, in the right camera's h tan t2 to the
right:
    left(x) = true(x + d1)      right(x) = true(x - d2)      D = d1 + d2 = h (tan t1 + tan t2)
so that the block [c - D, c) left of the stitch appears again as [c, c + D). D in pixels = D_mm * ppi / 25.4;
positive = lifted; negative = below the glass plane: D columns of content are missing. Doubling is only
sideways; a vertical shift is a fault of its own, and is given to the right camera. D may change from row to
row and is sub-pixel (Lanczos interpolation, places rounded to 1/32 px by OpenCV). In a blend zone of width b
centred on c both views are mixed, the right one growing linearly from 0 to 1, so that a ghost at lag D
appears only there.

Deterministic by seed. Sensor noise is white, its deviation a share of full scale, of each camera's own and
mixed with the views.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from surfaces import Surface, band_noise

from dawnproof.measure.band import Band, Pixels
from dawnproof.model import MM_PER_INCH, Bed, Box, Frame

Profile = npt.NDArray[np.float64]  # one value a row
LIDS = {"white": 0.95, "grey": 0.5, "black": 0.035, "open": 0.015}


@dataclass(frozen=True)
class Camera:
    """One line camera: gain (1 = as the other), blur (Gaussian sigma, px), noise (deviation, share of full
    scale)."""

    gain: tuple[float, float, float] = (1.0, 1.0, 1.0)
    blur_px: float = 0.0
    noise: float = 0.002


@dataclass(frozen=True)
class Stitch:
    """The seam at `column` (the first column of the right view); `doubling_px` one value or one a row,
    signed, + lifted; `left_share` = d1 / D; `shift_px`: the right view lies that much lower."""

    column: float
    doubling_px: float | Profile = 0.0
    blend_px: float = 0.0
    shift_px: float = 0.0
    left_share: float = 0.5
    left: Camera = field(default_factory=Camera)
    right: Camera = field(default_factory=Camera)


@dataclass(frozen=True)
class Lid:
    """What is around the work. `margins_px`: left, top, right, bottom; a negative one cuts the work at the
    frame."""

    kind: str = "white"
    margins_px: tuple[int, int, int, int] = (60, 60, 60, 60)
    skew_deg: float = 0.0  # positive = the work is turned clockwise on screen
    shadow: float = 0.3  # depth of the shadow at the work's edge, share of the lid's tone
    shadow_px: float = 12.0


@dataclass(frozen=True)
class Scan:
    """A made scan and the truth about it. `corners` (4, 2): x, y of the work's corners in pixel-edge
    coordinates, from the top left clockwise; `box`: the smallest whole-pixel upright box around them, cut at
    the frame."""

    pixels: Pixels
    frame: Frame
    box: Box
    corners: npt.NDArray[np.float64]
    stitches: tuple[Stitch, ...] = ()


@dataclass(frozen=True)
class KnownOutline:
    """The outline's place as far as other checks may rely on it."""

    box: Box


def lay(work: Surface, lid: Lid | None = None, seed: int = 0) -> tuple[Surface, npt.NDArray[np.float64]]:
    """The bed with the work on it, and the work's corners; without a lid the work fills the frame."""
    rows, columns = work.shape[:2]
    if lid is None:
        return work, _rectangle(0, 0, columns, rows)
    left, top, right, bottom = lid.margins_px
    size = (rows + top + bottom, columns + left + right)
    centre = (left + columns / 2, top + rows / 2)
    turn = cv2.getRotationMatrix2D(centre, -lid.skew_deg, 1.0)
    corners = _rectangle(left, top, columns, rows) @ turn[:, :2].T + turn[:, 2]
    # the matrix above is in pixel-edge coordinates; warpAffine counts from pixel centres
    place = turn @ np.array([[1, 0, left], [0, 1, top], [0, 0, 1.0]])
    place[:, 2] += place[:, :2] @ np.array([0.5, 0.5]) - 0.5
    background = _lid_surface(lid, size, seed)
    cover = _cover(corners, size)
    shade = _shadow(cover, lid)
    on_bed = cv2.warpAffine(work, place, (size[1], size[0]), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    bed = background * shade[..., None] * (1 - cover[..., None]) + np.asarray(on_bed) * cover[..., None]
    return np.clip(bed, 0, 1).astype(np.float32), corners


def _rectangle(x: float, y: float, width: float, height: float) -> npt.NDArray[np.float64]:
    return np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]], dtype=np.float64)


def _cover(corners: npt.NDArray[np.float64], size: tuple[int, int]) -> npt.NDArray[np.float32]:
    """Share of each pixel that the work covers, from an eight times finer mask of each side."""
    y, x = np.mgrid[0 : size[0], 0 : size[1]].astype(np.float32) + np.float32(0.5)
    cover = np.ones(size, np.float32)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (b - a) / np.hypot(*(b - a))
        inside = (x - a[0]) * -along[1] + (y - a[1]) * along[0]
        cover *= np.clip(inside + 0.5, 0, 1).astype(np.float32)
    return cover


def _shadow(cover: npt.NDArray[np.float32], lid: Lid) -> npt.NDArray[np.float32]:
    if lid.shadow == 0.0 or lid.shadow_px <= 0:
        return np.ones_like(cover)
    away = cv2.distanceTransform((cover < 0.5).astype(np.uint8), cv2.DIST_L2, 5)
    return np.asarray(1.0 - lid.shadow * np.exp(-np.asarray(away) / lid.shadow_px), dtype=np.float32)


def _lid_surface(lid: Lid, size: tuple[int, int], seed: int) -> Surface:
    tone = np.float32(LIDS[lid.kind])
    coarse = cv2.resize(band_noise(size[0] // 32 + 8, size[1] // 32 + 8, 4.0, 30.0, seed + 5), (size[1], size[0]))
    depth = 0.6 if lid.kind == "open" else 0.004
    return np.asarray(
        np.clip(tone * (1 + depth * np.asarray(coarse)[..., None]) * np.ones(3, np.float32), 0, 1),
        dtype=np.float32,
    )


def see(bed: Surface, camera: Camera, offset_px: float | Profile, drop_px: float, seed: int) -> Surface:
    """One camera's view: view(x, y) = bed(x + offset_px[y], y - drop_px), blurred, with gain and noise."""
    rows, columns = bed.shape[:2]
    view = bed
    if np.any(np.asarray(offset_px) != 0) or drop_px != 0.0:
        sideways = np.broadcast_to(np.asarray(offset_px, np.float64).reshape(-1, 1), (rows, 1))
        at_x = (np.arange(columns)[None, :] + sideways).astype(np.float32)
        at_y = np.broadcast_to((np.arange(rows) - drop_px)[:, None], (rows, columns)).astype(np.float32)
        view = np.asarray(cv2.remap(bed, at_x, at_y, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE))
    if camera.blur_px > 0.0:
        view = np.asarray(cv2.GaussianBlur(view, (0, 0), camera.blur_px))
    view = view * np.asarray(camera.gain, np.float32)
    if camera.noise > 0.0:
        rng = np.random.default_rng((seed, 21))
        view = view + rng.standard_normal(view.shape, dtype=np.float32) * np.float32(camera.noise)
    return np.asarray(view, dtype=np.float32)


def right_share(columns: int, stitch: Stitch) -> npt.NDArray[np.float32]:
    """Share of the right view in each column: 0, a linear rise over the blend zone, 1."""
    from_seam = np.arange(columns) + 0.5 - stitch.column
    if stitch.blend_px <= 0:
        return (from_seam >= 0).astype(np.float32)
    return np.asarray(np.clip(from_seam / stitch.blend_px + 0.5, 0, 1), dtype=np.float32)


def two_cameras(bed: Surface, stitch: Stitch, seed: int = 0) -> Surface:
    """The stitched view of the bed, with the physics told above."""
    doubling = np.asarray(stitch.doubling_px, np.float64)
    left = see(bed, stitch.left, doubling * stitch.left_share, 0.0, seed * 2 + 1)
    right = see(bed, stitch.right, -doubling * (1.0 - stitch.left_share), stitch.shift_px, seed * 2 + 2)
    share = right_share(bed.shape[1], stitch)[None, :, None]
    return np.asarray(left * (1 - share) + right * share, dtype=np.float32)


def code(view: Surface, depth_bits: int = 16) -> Pixels:
    """Rounded and clipped to whole 8 or 16 bit samples."""
    top = 255.0 if depth_bits == 8 else 65535.0
    samples = np.rint(np.clip(view, 0.0, 1.0) * np.float32(top))
    return np.asarray(samples, dtype=np.uint8 if depth_bits == 8 else np.uint16)


def make_scan(
    work: Surface,
    lid: Lid | None = None,
    stitch: Stitch | None = None,
    *,
    noise: float = 0.002,
    ppi: float = 400.0,
    bed: Bed | None = None,
    depth_bits: int = 16,
    x_position_mm: float | None = None,
    relief: bool = False,
    seed: int = 0,
) -> Scan:
    """A finished scan. Without a stitch one camera with the given noise sees the bed; with one, the stitch's
    own cameras do. The default bed is as wide as the scan, with the stitch as nominal seam and parallax
    0.5."""
    scene, corners = lay(work, lid, seed)
    if stitch is None:
        view = see(scene, Camera(noise=noise), 0.0, 0.0, seed * 2 + 1)
    else:
        view = two_cameras(scene, stitch, seed)
    pixels = code(view, depth_bits)
    return Scan(
        pixels=pixels,
        frame=frame_of(pixels, ppi, bed or bed_of(pixels, ppi, stitch, lid), x_position_mm, relief),
        box=_box(corners, scene.shape[0], scene.shape[1]),
        corners=corners,
        stitches=() if stitch is None else (stitch,),
    )


def bed_of(pixels: Pixels, ppi: float, stitch: Stitch | None = None, lid: Lid | None = None) -> Bed:
    """A bed just as large as the scan; its nominal seam is the stitch, or none."""
    mm = MM_PER_INCH / ppi
    return Bed(
        name="bed-a",
        width_mm=pixels.shape[1] * mm,
        length_mm=pixels.shape[0] * mm,
        seams_mm=() if stitch is None else (stitch.column * mm,),
        parallax=0.5,
        lid=lid.kind if lid else "white",
    )


def frame_of(
    pixels: Pixels, ppi: float | None, bed: Bed, x_position_mm: float | None = None, relief: bool = False
) -> Frame:
    """The Frame of an uncompressed TIFF with these pixels."""
    return Frame(
        width_px=pixels.shape[1],
        height_px=pixels.shape[0],
        channels=pixels.shape[2],
        depth_bits=pixels.dtype.itemsize * 8,
        ppi_x=ppi,
        ppi_y=ppi,
        compression="none",
        icc=None,
        bed=bed,
        x_position_mm=x_position_mm,
        relief=relief,
    )


def _box(corners: npt.NDArray[np.float64], rows: int, columns: int) -> Box:
    low = np.floor(np.maximum(corners.min(axis=0), 0)).astype(int)
    high = np.ceil(np.minimum(corners.max(axis=0), (columns, rows))).astype(int)
    return Box(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))


def bands(pixels: Pixels, rows: int = 256) -> Iterator[Band]:
    """The scan as the checks see it go by."""
    for first in range(0, pixels.shape[0], rows):
        yield Band(first, pixels[first : first + rows])


def cameras(seed: int, gain: float = 0.01, blur_px: float = 0.3, noise: float = 0.002) -> tuple[Camera, Camera]:
    """Two cameras that differ a little: channel gains within about half `gain` of 1, extra blur up to blur_px
    on one of them, noise within 20 % of the given one."""
    rng = np.random.default_rng((seed, 22))
    gains = 1.0 + rng.uniform(-gain, gain, 1) / 2 + rng.uniform(-gain, gain, 3) / 8
    soft = float(rng.uniform(0, blur_px))
    first = Camera(noise=noise * float(rng.uniform(0.8, 1.2)))
    second = Camera((float(gains[0]), float(gains[1]), float(gains[2])), soft, noise * float(rng.uniform(0.8, 1.2)))
    return first, second


def lifted_between(rows: int, first: float, last: float, peak_px: float, edge: float = 0.2) -> Profile:
    """Doubling along the rows: 0 outside [first, last] (shares of the height), `peak_px` inside, smooth
    slopes that take `edge` of the lifted length each; half the peak is reached at exactly `first` and
    `last`."""
    y = (np.arange(rows) + 0.5) / rows
    slope = max(edge * (last - first), 1e-9)
    rise = np.clip((y - first) / slope + 0.5, 0, 1)
    fall = np.clip((last - y) / slope + 0.5, 0, 1)
    smooth = [s * s * (3 - 2 * s) for s in (rise, fall)]
    return np.asarray(peak_px * smooth[0] * smooth[1])


def wavy(rows: int, mean_px: float, swing_px: float, seed: int = 0) -> Profile:
    """Doubling that wanders smoothly along the seam: mean and largest departure from it."""
    rng = np.random.default_rng((seed, 23))
    y = np.linspace(0, 1, rows)
    wave = sum(rng.uniform(0.3, 1) * np.sin(2 * np.pi * (k * y + rng.uniform())) / k for k in (1, 2, 3))
    return np.asarray(mean_px + swing_px * wave / np.abs(wave).max())


def write_tiff(path: Path, scan: Scan, *, compression: str | None = None, icc: bytes | None = None) -> Path:
    """The scan as a TIFF with resolution in inches; bed position as XPosition (tag 286) when known."""
    import tifffile

    extra: list[tuple[int, int, int, object, bool]] = []
    if scan.frame.x_position_mm is not None:
        inches = scan.frame.x_position_mm / MM_PER_INCH
        extra.append((286, 5, 1, (round(inches * 100000), 100000), True))
    pixels = scan.pixels if scan.pixels.shape[2] > 1 else scan.pixels[:, :, 0]
    ppi = (scan.frame.ppi_x or 300.0, scan.frame.ppi_y or 300.0)
    tifffile.imwrite(
        path,
        pixels,
        photometric="rgb" if scan.pixels.shape[2] == 3 else "minisblack",
        resolution=ppi,
        resolutionunit="INCH",
        compression=compression,
        iccprofile=icc,
        extratags=extra,
        rowsperstrip=64,
        metadata=None,
    )
    return path
