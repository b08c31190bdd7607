"""The invented scanner: a flatbed with two line cameras under the glass, stitched along the middle, two banks of lamps
before and behind the line, a lid. What goes wrong on such a bed goes wrong here by the same physics.

A surface lifted h off the glass is seen by a camera at angle t displaced by h tan t towards that camera's axis, so that
at the stitch both see a strip of D = h (tan t1 + tan t2): the content of [c - D, c) comes again as [c, c + D).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum
from math import cos, pi, radians, sin

import cv2
import numpy as np
import numpy.typing as npt

from ..model import MM_PER_INCH, Bed
from .artworks import Artwork
from .surfaces import Field, noise

Light = npt.NDArray[np.float32]  # (rows, columns, 3), linear, 1 = the sensor's full scale
Samples = npt.NDArray[np.uint16]  # (rows, columns, 3), encoded with GAMMA
GAMMA = 563 / 256  # as the profile states it
LAMP_ELEVATION_RAD = radians(45)
NEIGHBOURS_PX = 40  # beyond a camera's own columns, so that nothing shows where its view ends
SHADOW_OF_LID = 0.22  # how much of the lid's light the edge of a work takes


class Lid(Enum):
    """What lies above the work, as linear reflectance."""

    WHITE = 0.86
    GREY = 0.30
    BLACK = 0.02
    OPEN = 0.004  # the lid is up: a dark room


@dataclass(frozen=True)
class Flatbed:
    """A bed with its cameras and lamps. `lamp_share` is the front bank's share of the light: 0.5 is shadowless."""

    bed: Bed
    ppi: int
    lamp_share: float = 0.62
    right_gain: tuple[float, float, float] = (1.002, 0.999, 1.001)  # of the right camera against the left
    left_sigma_px: float = 0.42  # blur of lens and sensor
    right_sigma_px: float = 0.46
    read_noise: float = 0.0005  # of full scale, in linear light
    shot_noise: float = 0.0022  # at full scale

    @property
    def px_mm(self) -> float:
        return self.ppi / MM_PER_INCH

    @property
    def shape(self) -> tuple[int, int]:
        return round(self.bed.length_mm * self.px_mm), round(self.bed.width_mm * self.px_mm)


@dataclass(frozen=True)
class Placement:
    """Where the work's top left corner lies on the bed (mm, may be negative: the work runs out of the frame), its skew
    (degrees, clockwise on screen about that corner), and whether it was put down the other way up."""

    x_mm: float
    y_mm: float
    skew_deg: float = 0.0
    turned: bool = False


@dataclass(frozen=True)
class Lift:
    """A work that stands off the glass around the stitch: `height_mm` between the two places along the travel, falling
    to nothing over `flank_mm` on either side of them and over `reach_mm` either side of the stitch."""

    height_mm: float
    from_mm: float
    to_mm: float
    flank_mm: float = 10.0
    reach_mm: float = 26.0

    def along(self, y_mm: Field) -> Field:
        """Lift in mm at the stitch, at each place along the travel."""
        outside = np.maximum(np.maximum(self.from_mm - y_mm, y_mm - self.to_mm), 0.0)
        return np.asarray(self.height_mm * _fall(outside / self.flank_mm), np.float32)


@dataclass(frozen=True)
class Streak:
    """One sensor column that answers too weakly: share of the encoded value lost, in percent."""

    x_mm: float
    percent: float


@dataclass(frozen=True)
class Mishap:
    """What goes wrong with one scan; the default is that nothing does."""

    lift: Lift | None = None
    streak: Streak | None = None
    exposure: float = 1.0
    bits: int = 16  # bits really used in the 16-bit file
    ppi: int | None = None  # the scanner was set to another resolution


@dataclass(frozen=True)
class _Seen:
    """What one camera sees of a block of columns, before light falls on it."""

    pigment: Light
    relief: Field
    cover: Field
    gloss: Field


@dataclass(frozen=True)
class _Columns:
    """The columns first to last - 1 of the full-width scan that one camera delivers."""

    first: int
    last: int
    axis_mm: float  # where on the bed the camera looks straight up
    sigma_px: float

    def wider(self, columns: int) -> _Columns:
        """With the neighbourhood that slopes, shadows and blur need, within the bed's `columns`."""
        return replace(self, first=max(0, self.first - NEIGHBOURS_PX), last=min(columns, self.last + NEIGHBOURS_PX))


def scan(work: Artwork, flatbed: Flatbed, placement: Placement, seed: int, mishap: Mishap | None = None) -> Samples:
    """The file the scanner would write: (rows, columns, 3) uint16, encoded with GAMMA, whole bed, both cameras."""
    mishap = mishap or Mishap()
    rng = np.random.default_rng(seed)
    light = _stitched(work, flatbed, placement, mishap.lift, rng)
    return _recorded(light * np.float32(mishap.exposure), flatbed, mishap, rng)


def reference(flatbed: Flatbed, seed: int, streak: Streak | None = None) -> Samples:
    """A scan of the white reference sheet: nothing but the lamps' evenness, the cameras and their noise."""
    rng = np.random.default_rng(seed)
    rows, columns = flatbed.shape
    across = 1.0 - 0.006 * np.linspace(-1, 1, columns, dtype=np.float32) ** 2
    along = 1.0 - 0.002 * np.linspace(0, 1, rows, dtype=np.float32)
    level = np.float32(0.80) * along[:, None] * across[None, :]
    level *= 1.0 + 0.0008 * noise((rows, columns), 12 * flatbed.px_mm, rng)
    light = np.repeat(level[:, :, None], 3, axis=2).astype(np.float32)
    for camera in _cameras(flatbed)[1:]:
        light[:, camera.first :] *= np.asarray(flatbed.right_gain, np.float32)
    return _recorded(light, flatbed, Mishap(streak=streak), rng)


def _cameras(flatbed: Flatbed) -> list[_Columns]:
    """The left and the right camera; a bed without stitch has one."""
    columns = flatbed.shape[1]
    if not flatbed.bed.seams_mm:
        return [_Columns(0, columns, flatbed.bed.width_mm / 2, flatbed.left_sigma_px)]
    seam_mm, half_blend = flatbed.bed.seams_mm[0], flatbed.bed.blend_mm * flatbed.px_mm / 2
    stitch = seam_mm * flatbed.px_mm
    first, last = round(stitch - half_blend), round(stitch + half_blend)
    reach = flatbed.bed.width_mm / 4
    return [
        _Columns(0, last, seam_mm - reach, flatbed.left_sigma_px),
        _Columns(first, columns, seam_mm + reach, flatbed.right_sigma_px),
    ]


def _stitched(
    work: Artwork, flatbed: Flatbed, placement: Placement, lift: Lift | None, rng: np.random.Generator
) -> Light:
    """Both cameras' views side by side; where they overlap, the one fades into the other."""
    cameras = _cameras(flatbed)
    lid = _lid(flatbed, rng)
    views = [_view(work, flatbed, placement, lift, camera, lid) for camera in cameras]
    if len(views) == 1:
        return views[0]
    left, right = views
    right = right * np.asarray(flatbed.right_gain, np.float32)
    shared = cameras[0].last - cameras[1].first
    out = np.empty((*flatbed.shape, 3), np.float32)
    out[:, : cameras[0].last] = left
    out[:, cameras[0].last :] = right[:, shared:]
    if shared:
        share = ((np.arange(shared, dtype=np.float32) + 0.5) / shared)[None, :, None]
        out[:, cameras[1].first : cameras[0].last] += share * (right[:, :shared] - left[:, -shared:])
    return out


def _view(
    work: Artwork, flatbed: Flatbed, placement: Placement, lift: Lift | None, camera: _Columns, lid: Light
) -> Light:
    """Linear light that one camera records of its columns."""
    wide = camera.wider(flatbed.shape[1])
    seen = _through_the_glass(work, flatbed, placement, lift, wide)
    lit = seen.pigment * _lamps(seen, flatbed)[:, :, None] + _glints(seen, flatbed)[:, :, None]
    behind = lid[:, wide.first : wide.last] * (1 - SHADOW_OF_LID * _shadow(seen.cover, flatbed))[:, :, None]
    light = behind + seen.cover[:, :, None] * (lit - behind)
    blurred = cv2.GaussianBlur(light, (5, 5), camera.sigma_px, borderType=cv2.BORDER_REFLECT)
    return np.asarray(blurred[:, camera.first - wide.first : camera.last - wide.first], np.float32)


def _through_the_glass(
    work: Artwork, flatbed: Flatbed, placement: Placement, lift: Lift | None, camera: _Columns
) -> _Seen:
    """Sample the work where each of the camera's pixels really looks."""
    rows, px_mm = flatbed.shape[0], flatbed.px_mm
    y_mm = ((np.arange(rows, dtype=np.float32) + 0.5) / px_mm)[:, None]
    x_mm = ((np.arange(camera.first, camera.last, dtype=np.float32) + 0.5) / px_mm)[None, :]
    looks_mm = x_mm + _parallax_shift(flatbed, lift, camera, x_mm, y_mm)
    over, down = looks_mm - placement.x_mm, y_mm - placement.y_mm
    skew = radians(placement.skew_deg)
    map_x = ((cos(skew) * over + sin(skew) * down) * work.px_mm - 0.5).astype(np.float32)
    map_y = ((cos(skew) * down - sin(skew) * over) * work.px_mm - 0.5).astype(np.float32)
    if placement.turned:
        map_x, map_y = work.relief.shape[1] - 1 - map_x, work.relief.shape[0] - 1 - map_y
    seen = cv2.remap(work.pigment, map_x, map_y, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
    pigment = np.asarray(seen, np.float32)
    heights = cv2.merge([work.relief, work.cover, work.gloss])
    body = cv2.remap(heights, map_x, map_y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT, borderValue=(0, 0, 0))
    relief, cover, gloss = (np.asarray(body[:, :, i], np.float32) for i in range(3))
    return _Seen(np.clip(pigment, 0.004, 1.0), relief, np.clip(cover, 0, 1), np.clip(gloss, 0, 1))


def _parallax_shift(flatbed: Flatbed, lift: Lift | None, camera: _Columns, x_mm: Field, y_mm: Field) -> Field:
    """How far beside its own place on the glass each pixel looks (mm, + right), for the lifted surface."""
    bed = flatbed.bed
    if lift is None or not bed.parallax or not bed.seams_mm:
        return np.zeros((y_mm.shape[0], x_mm.shape[1]), np.float32)
    glass_distance_mm = (bed.width_mm / 2) / bed.parallax  # the axes lie half a bed's width apart
    tangent = (x_mm - camera.axis_mm) / np.float32(glass_distance_mm)
    across = _fall(np.maximum(np.abs(x_mm - bed.seams_mm[0]) - 6.0, 0.0) / lift.reach_mm)
    return np.asarray(tangent * lift.along(y_mm) * across, np.float32)


def _lamps(seen: _Seen, flatbed: Flatbed) -> Field:
    """Light of the two banks on the relief, 1 on a flat surface; the front bank shines up the page."""
    slope = cv2.Sobel(seen.relief, cv2.CV_32F, 0, 1, ksize=3) / 8 * np.float32(flatbed.px_mm)
    front, back, tangent = flatbed.lamp_share, 1 - flatbed.lamp_share, cos(LAMP_ELEVATION_RAD) / sin(LAMP_ELEVATION_RAD)
    lit = front * np.maximum(1 - slope * tangent, 0) + back * np.maximum(1 + slope * tangent, 0)
    return np.asarray(lit / np.sqrt(1 + slope * slope), np.float32)


def _glints(seen: _Seen, flatbed: Flatbed) -> Field:
    """Small mirror-like reflections where glossy relief happens to face halfway between camera and lamps."""
    slope = cv2.Sobel(seen.relief, cv2.CV_32F, 0, 1, ksize=3) / 8 * np.float32(flatbed.px_mm)
    facing = 0.9
    near = np.exp(-(((np.abs(slope) - facing) / 0.10) ** 2))
    return np.asarray(0.55 * seen.gloss**2 * near, np.float32)


def _shadow(cover: Field, flatbed: Flatbed) -> Field:
    """Shadow of the work's edge on the lid, 0..1, longer along the travel, where the lamps are."""
    soft = cv2.GaussianBlur(cover, (0, 0), 0.3 * flatbed.px_mm, sigmaY=0.7 * flatbed.px_mm)
    return np.asarray(np.minimum(soft * 1.6, 1.0), np.float32)


def _lid(flatbed: Flatbed, rng: np.random.Generator) -> Light:
    """The lid as the cameras see it when nothing lies below."""
    level = Lid[flatbed.bed.lid.upper()].value * (1 + 0.004 * noise(flatbed.shape, 14 * flatbed.px_mm, rng))
    level *= 1 + 0.002 * noise(flatbed.shape, 0.5 * flatbed.px_mm, rng)
    return np.asarray(level[:, :, None] * np.array([1.0, 0.995, 0.985], np.float32), np.float32)


def _recorded(light: Light, flatbed: Flatbed, mishap: Mishap, rng: np.random.Generator) -> Samples:
    """From light to samples: resolution, noise, streak, encoding, quantisation, in the order a scanner has them."""
    px_mm = flatbed.px_mm
    if mishap.ppi is not None:
        shape = tuple(round(n * mishap.ppi / flatbed.ppi) for n in light.shape[:2])
        light = np.asarray(cv2.resize(light, shape[::-1], interpolation=cv2.INTER_AREA), np.float32)
        px_mm = mishap.ppi / MM_PER_INCH
    spread = np.sqrt(flatbed.read_noise**2 + flatbed.shot_noise**2 * np.clip(light, 0, 1))
    light = light + spread * rng.standard_normal(light.shape, dtype=np.float32)
    if mishap.streak is not None:
        column = round(mishap.streak.x_mm * px_mm)
        light[:, column] *= np.float32((1 - mishap.streak.percent / 100) ** GAMMA)
    encoded = np.power(np.clip(light, 0.0, 1.0), np.float32(1 / GAMMA))
    if mishap.bits == 16:
        return np.asarray(np.rint(encoded * np.float32(65535)), np.uint16)
    steps = 2**mishap.bits - 1
    return np.asarray(np.rint(np.rint(encoded * np.float32(steps)) * np.float32(65535 / steps)), np.uint16)


def _fall(share: Field) -> Field:
    """1 at 0, falling smoothly to 0 at 1."""
    return np.asarray(0.5 + 0.5 * np.cos(pi * np.clip(share, 0.0, 1.0)), np.float32)
