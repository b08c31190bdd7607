"""Pictures and surfaces that joins are measured on: pigment from a picture, relief grown from a texture or invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from bench.join_scene import Scene
from scipy import ndimage

SCENE_ROWS, SCENE_COLUMNS = 950, 1250
Height = npt.NDArray[np.float32]
Surface = Callable[[tuple[int, int], np.random.Generator], Height]  # (rows, columns) to heights of deviation 1


def read_scene(path: Path, surface: Surface, random: np.random.Generator) -> Scene:
    """The sharpest reduction of a picture that still fills the scene, with the relief of the surface."""
    picture = cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH)
    if picture is None:
        raise SystemExit(f"{path}: not a picture")
    full: npt.NDArray[np.float32] = picture[:, :, ::-1].astype(np.float32) / np.float32(
        65535 if picture.dtype == np.uint16 else 255
    )
    scale = max(SCENE_ROWS / full.shape[0], SCENE_COLUMNS / full.shape[1])
    factor = float(np.clip(scale, 0.4, 2.5))  # small pictures are drawn larger: soft pigment on sharp relief
    kernel = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    full = np.asarray(cv2.resize(full, None, fx=factor, fy=factor, interpolation=kernel), np.float32).clip(0, 1)
    rows, columns = min(SCENE_ROWS, full.shape[0]), min(SCENE_COLUMNS, full.shape[1])
    top, left = random.integers(0, full.shape[0] - rows + 1), random.integers(0, full.shape[1] - columns + 1)
    pigment = np.float32(0.04) + np.float32(0.86) * full[top : top + rows, left : left + columns]
    height = surface((rows, columns), random)
    slope = np.gradient(height)[0]
    return Scene(pigment, height, float(random.uniform(0.02, 0.06) / slope.std()))


def grown(texture: npt.NDArray[np.float32], shape: tuple[int, int], random: np.random.Generator) -> Any:
    """A surface with the texture's power spectrum that never repeats (Gaussian random field)."""
    grain = texture - texture.mean()
    spectrum = np.abs(np.fft.fft2(grain * np.outer(np.hanning(grain.shape[0]), np.hanning(grain.shape[1])))) ** 2
    lags = np.fft.fftshift(np.fft.ifft2(spectrum).real)
    rows, columns = (max(n, m) for n, m in zip(shape, lags.shape, strict=True))
    padded = np.zeros((rows, columns))
    padded[: lags.shape[0], : lags.shape[1]] = lags * np.outer(*(np.hanning(n) for n in lags.shape))
    amplitude = np.sqrt(np.abs(np.fft.fft2(padded)))
    surface = np.fft.ifft2(amplitude * np.fft.fft2(random.standard_normal((rows, columns)))).real
    surface = ndimage.gaussian_filter(surface, 0.8)[: shape[0], : shape[1]]
    return np.asarray(surface / surface.std(), dtype=np.float32)


def paper(shape: tuple[int, int], random: np.random.Generator) -> Height:
    """Fibres of a few pixels' width and any direction, pressed together, over soft clouds."""
    out = np.zeros(shape, np.float32)
    for _ in range(shape[0] * shape[1] // 90):
        start = random.uniform((-20, -20), (shape[1] + 20, shape[0] + 20))
        angle, length = random.uniform(0, 2 * np.pi), random.uniform(8, 60)
        turn = angle + random.uniform(-0.6, 0.6)
        middle = start + length / 2 * np.array([np.cos(angle), np.sin(angle)])
        end = middle + length / 2 * np.array([np.cos(turn), np.sin(turn)])
        points = np.rint(np.stack([start, middle, end]) * 8).astype(np.int32)
        cv2.polylines(out, [points], False, float(random.uniform(0.3, 1.0)), 1, cv2.LINE_AA, 3)
    soft = ndimage.gaussian_filter(out, 1.0) + 0.3 * ndimage.gaussian_filter(out, 4.0)
    return _evened(soft)


def canvas(shape: tuple[int, int], random: np.random.Generator, unevenness: float = 1.0) -> Height:
    """Plain weave whose threads wander and swell as those of real cloth do; 0 unevenness repeats exactly."""
    pitch = random.uniform(9, 24, 2)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    phases = []
    for place, along, step in ((x, y, pitch[0]), (y, x, pitch[1])):
        threads = int(place.max() / step) + 3
        off = unevenness * np.cumsum(random.normal(0, 0.06, threads)) + unevenness * random.normal(0, 0.12, threads)
        drift = ndimage.gaussian_filter1d(off, 0.7)
        sway = unevenness * 0.25 * np.sin(along / random.uniform(150, 400) + random.uniform(0, 6))
        phases.append(np.pi * (place / step + np.interp(place / step, np.arange(threads), drift) + sway))
    over = np.sin(phases[0]) * np.sin(phases[1])
    ridge = 0.5 * (np.abs(np.sin(phases[0])) + np.abs(np.sin(phases[1])))
    grain = unevenness * 0.15 * ndimage.gaussian_filter(random.standard_normal(shape), 0.8) / 0.35
    return _evened(ndimage.gaussian_filter(ridge + 0.6 * over + grain, 0.8))


def impasto(shape: tuple[int, int], random: np.random.Generator) -> Height:
    """Thick strokes over one another, each a low ridge with the furrows of its bristles."""
    out = np.zeros(shape, np.float32)
    for _ in range(shape[0] * shape[1] // 700):
        start = random.uniform((0, 0), (shape[1], shape[0]))
        angle, length, width = random.uniform(0, np.pi), random.uniform(40, 220), int(random.integers(6, 26))
        along = np.array([np.cos(angle), np.sin(angle)])
        across = np.array([-along[1], along[0]])
        steps = np.linspace(0, 1, 10)
        bow = (steps * (1 - steps) * 4)[:, None] * random.uniform(-0.25, 0.25) * length * across
        line = start + steps[:, None] * length * along + bow
        for bristle in np.arange(-width / 2, width / 2, 1.5):
            rise = (1 - (2 * bristle / width) ** 2) * random.uniform(0.4, 1.0)
            points = np.rint((line + bristle * across) * 8).astype(np.int32)
            cv2.polylines(out, [points], False, float(rise), 2, cv2.LINE_AA, 3)
    return _evened(ndimage.gaussian_filter(out, 0.9))


def _evened(height: Any) -> Height:
    return np.asarray((height - height.mean()) / height.std(), dtype=np.float32)


INVENTED: tuple[Surface, ...] = (paper, canvas, impasto)


def like(texture: npt.NDArray[np.float32]) -> Surface:
    """A surface grown from a texture."""
    return lambda shape, random: np.asarray(grown(texture, shape, random), dtype=np.float32)
