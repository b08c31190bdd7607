"""Makes every structure of a strip count alike, so that a doubled block stands out from weave, brushwork and lines.

A picture resembles itself at every small displacement: washes, threads and laid lines correlate everywhere. Dividing
the strip's spectrum by its own strength (between the smoothed spectrum and the exact one, which flattens the sharp
peaks of a weave or a printed repeat) leaves a field whose values at different places are as good as independent; only
content that was pictured twice still agrees with itself. Frequencies at the level of the noise get a small weight.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from . import fourier

Field = npt.NDArray[np.float32]  # (rows, columns)

EXACT = 0.5  # share of the exact spectrum in the divisor; the rest is smoothed
SMOOTH_BINS = 1.5
COARSE_BINS = 5.0
SLOW_PX = 20.0  # slower changes than this are light, not structure
LOCAL_PX = 10.0  # reach of the local contrast
CALM = 0.2  # contrast below this share of the mean is not raised to full
LOUDEST = 1.5  # a single value counts no more than this: one bright edge must not speak for a whole block
NOISE_MARGIN = 1.2
FAINT = 0.004  # weight of a frequency in which there is only noise


def whitened(strip: Field) -> tuple[Field, float]:
    """The strip with flat spectrum and even local contrast, values within +-LOUDEST, same shape; and the agreement
    (0..1) that two pictures of the same content would show after the same treatment, each with noise of its own.
    A strip without any structure comes back as noise or zeros. Wants 64 rows and columns or more."""
    slow = cv2.GaussianBlur(strip, (0, 0), SLOW_PX, borderType=cv2.BORDER_REFLECT)
    spectrum = fourier.rfft2(strip - slow)
    spectrum[0] = 0  # what is the same in every row: a tone step, a laid line; it says nothing of displacement
    weights, agreement = _weights(spectrum)
    flat = fourier.irfft2(spectrum * weights, s=strip.shape)
    contrast = np.sqrt(cv2.GaussianBlur(flat * flat, (0, 0), LOCAL_PX, borderType=cv2.BORDER_REFLECT))
    even = flat / (contrast + np.float32(CALM * contrast.mean() + 1e-12))
    return np.asarray(np.clip(even, -LOUDEST, LOUDEST), dtype=np.float32), agreement


def _weights(spectrum: npt.NDArray[np.complex64]) -> tuple[Field, float]:
    exact = spectrum.real**2 + spectrum.imag**2
    tiny = np.float32(1e-20)
    smooth = cv2.GaussianBlur(exact, (0, 0), SMOOTH_BINS, borderType=cv2.BORDER_REFLECT) + tiny
    # the coarser mean hardly scatters: with the finer one, chance peaks of the noise would pass for structure
    coarse = cv2.GaussianBlur(smooth, (0, 0), COARSE_BINS, borderType=cv2.BORDER_REFLECT) + tiny
    noise = np.float32(np.percentile(coarse[2::3, 2::3], 2))
    signal = np.maximum(smooth - np.float32(NOISE_MARGIN) * noise, FAINT * smooth) / smooth
    strength = (1 - EXACT) * smooth + EXACT * exact + tiny
    agreement = float((signal * np.maximum(1 - np.float32(NOISE_MARGIN) * noise / coarse, 0)).sum() / signal.sum())
    return np.asarray(np.sqrt(signal / strength), dtype=np.float32), agreement


def between_columns(field: Field) -> Field:
    """The field half a column further right, (rows, columns): value x is the field at x + 0.5."""
    columns = field.shape[1]
    turn = np.exp(1j * np.pi * np.arange(columns // 2 + 1) / columns).astype(np.complex64)
    return np.asarray(fourier.irfft(fourier.rfft(field, axis=1) * turn, n=columns, axis=1), dtype=np.float32)
