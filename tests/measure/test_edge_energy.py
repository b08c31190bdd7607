"""Edge energies against an independent slanted edge (ISO 12233 method): Gaussian blur of sigma has its MTF50 at
sqrt(2 ln 2) / (2 pi sigma) cycles a pixel."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy.special import erf

from dawnproof.measure.edge_energy import COARSE_CYCLES, FINE_CYCLES, edge_energies

Floats = npt.NDArray[np.float64]
ROWS, COLUMNS, ANGLE = 256, 256, np.radians(5.0)


def edge(sigma: float) -> Floats:
    """Analytic: an upright edge turned by five degrees, blurred across by a Gaussian; point samples."""
    y, x = np.mgrid[0:ROWS, 0:COLUMNS] + 0.5
    away = (x - COLUMNS / 2) * np.cos(ANGLE) + (y - ROWS / 2) * np.sin(ANGLE)
    return np.asarray(0.5 + 0.3 * erf(away / (np.sqrt(2) * sigma)))


def mtf50(picture: Floats) -> float:
    """Plain slanted edge: places across the edge in bins of a quarter pixel, derivative, Fourier transform."""
    y, x = np.mgrid[0:ROWS, 0:COLUMNS] + 0.5
    away = (x - COLUMNS / 2) * np.cos(ANGLE) + (y - ROWS / 2) * np.sin(ANGLE)
    index = np.floor(away * 4).astype(int)
    bins = np.arange(-128, 128)
    profile = np.array([picture[index == k].mean() for k in bins])
    line = np.gradient(profile) * np.hanning(len(profile))
    response = np.abs(np.fft.rfft(line, 4096))
    cycles = np.fft.rfftfreq(4096, 0.25)
    # what the bins (a quarter pixel wide) and the central difference take away
    known = np.sinc(cycles * 0.25) * np.sinc(2 * cycles * 0.25)
    response = response / response[0] / np.maximum(known, 0.05)
    first = int(np.argmax(response < 0.5))
    low, high = response[first - 1], response[first]
    return float(cycles[first - 1] + (low - 0.5) / (low - high) * (cycles[first] - cycles[first - 1]))


@pytest.mark.parametrize("sigma", [0.7, 1.0, 1.5, 2.0])
def test_the_slanted_edge_itself_reads_the_published_mtf50(sigma: float) -> None:
    assert mtf50(edge(sigma)) == pytest.approx(np.sqrt(2 * np.log(2)) / (2 * np.pi * sigma), rel=0.02)


def ratio(picture: Floats) -> float:
    found = edge_energies(np.rint(picture * 65535).astype(np.uint16), COLUMNS)
    return float(np.log(found.fine[0] / found.coarse[0]))


def expected(sigma: float) -> float:
    """The same by integrating what the two filters let through of the edge's spectrum: the Gaussian's transform over
    the frequency, along the line across the edge (Parseval)."""
    cycles = np.arange(1, 40_000) / 40_000 * 2.0
    spectrum = np.exp(-4 * np.pi**2 * sigma**2 * cycles**2) / cycles**2
    energies = []
    for taps, mean in (([1, -2, -1, 4, -1, -2, 1], [1]), (np.repeat([-1, 0, 2, 0, -1], 3), [1, 1, 1])):
        total = np.zeros_like(cycles)
        for along, across in ((np.cos(ANGLE), np.sin(ANGLE)), (np.sin(ANGLE), np.cos(ANGLE))):
            total += (_response(taps, along * cycles) * _response(mean, across * cycles)) ** 2
        scale = {7: 1 / 8, 15: 1 / 12 / 3}[len(taps)]  # the kernels' own
        energies.append(scale**2 * float((total * spectrum).sum()))
    return float(np.log(energies[0] / energies[1]))


def _response(taps: npt.ArrayLike, cycles: Floats) -> Floats:
    weights = np.asarray(taps, float)
    place = np.arange(len(weights)) - (len(weights) - 1) / 2
    return np.asarray(np.abs((weights * np.exp(-2j * np.pi * cycles[:, None] * place)).sum(axis=1)))


@pytest.mark.parametrize("sigma", [0.7, 1.0, 1.5, 2.0])
def test_the_energies_are_what_the_edges_spectrum_says(sigma: float) -> None:
    assert ratio(edge(sigma)) == pytest.approx(expected(sigma), abs=0.03)


def test_a_little_blur_is_told_in_pixels() -> None:
    """Fine over coarse energy falls as the Gaussian says between the two frequencies the filters answer most to."""
    told = (ratio(edge(0.7)) - ratio(edge(1.0))) / (4 * np.pi**2 * (FINE_CYCLES**2 - COARSE_CYCLES**2))
    sigmas = [np.sqrt(2 * np.log(2)) / (2 * np.pi * mtf50(edge(sigma))) for sigma in (1.0, 0.7)]
    assert told == pytest.approx(sigmas[0] ** 2 - sigmas[1] ** 2, rel=0.25)
