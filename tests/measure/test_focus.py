"""Soft places are found where they are; empty ones are not called soft."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
import scans
import surfaces
from scipy.ndimage import gaussian_filter

from dawnproof.measure.edge_energy import COARSE_NOISE, FINE_NOISE, edge_energies
from dawnproof.measure.focus import Focus
from dawnproof.measure.outline import whole_frame
from dawnproof.model import Reading

ROWS, COLUMNS = 900, 700
LIMIT = 0.6  # the trial limit of the shipped rule book


def softest(scan: scans.Scan) -> tuple[Reading, Focus]:
    check = Focus(scan.frame)
    for band in scans.bands(scan.pixels, 200):
        check.see(band)
    (reading,) = check.readings(whole_frame(scan.frame.width_px, scan.frame.height_px))
    return reading, check


def soft_at(surface: surfaces.Surface, rows: slice, columns: slice, sigma: float) -> surfaces.Surface:
    soft = surface.copy()
    soft[rows, columns] = np.asarray(cv2.GaussianBlur(surface, (0, 0), sigma))[rows, columns]
    return soft


WORKS = {
    "strokes": surfaces.strokes(ROWS, COLUMNS, 31),
    "paper": surfaces.paper(ROWS, COLUMNS, 32),
    "weave": surfaces.weave(ROWS, COLUMNS, 33),
}


@pytest.mark.parametrize("work", WORKS)
def test_a_soft_fifth_is_found_in_its_place(work: str) -> None:
    surface = WORKS[work]
    sharp, _ = softest(scans.make_scan(surface, None, seed=1))
    assert isinstance(sharp.value, float)
    assert sharp.value >= LIMIT
    soft, check = softest(scans.make_scan(soft_at(surface, slice(500, 900), slice(350, 665), 2.0), None, seed=1))
    assert isinstance(soft.value, float)
    assert soft.value < LIMIT
    assert not soft.certain
    place = soft.where
    assert place is not None
    mm = 25.4 / 400
    assert 500 * mm - 3 <= place.y_mm + place.height_mm / 2 <= 900 * mm
    assert 350 * mm - 3 <= place.x_mm + place.width_mm / 2 <= 665 * mm + 3
    assert check.marks()
    assert all(mark.kind == "soft" and mark.strength < LIMIT for mark in check.marks())


def test_softer_reads_lower() -> None:
    surface = WORKS["strokes"]
    values = [
        softest(scans.make_scan(soft_at(surface, slice(0, 400), slice(0, 315), sigma), None, seed=2))[0].value
        for sigma in (0.7, 1.0, 1.5)
    ]
    assert values == sorted(values, key=lambda value: -float(value or 0))


def test_an_empty_place_is_not_soft() -> None:
    """Half the sheet bare and without tooth, the other half painted: nothing is soft."""
    surface = surfaces.ground(ROWS, COLUMNS, (0.9, 0.9, 0.88))
    surface[:, :350] = WORKS["strokes"][:, :350]
    reading, _ = softest(scans.make_scan(surface, None, noise=0.003, seed=3))
    assert isinstance(reading.value, float)
    assert reading.value >= LIMIT


def test_a_wash_without_detail_cannot_be_judged() -> None:
    reading, check = softest(scans.make_scan(surfaces.wash(ROWS, COLUMNS, 34), None, seed=4))
    assert reading.value is None
    assert "detail" in reading.why
    assert check.marks() == ()


def test_what_noise_leaves_in_each_is_known() -> None:
    rng = np.random.default_rng(5)
    sigma = 0.01
    noise = rng.normal(0.5, sigma, (600, 640))
    energies = edge_energies(np.rint(noise * 65535).astype(np.uint16), 64)
    assert energies.noise.mean() == pytest.approx(sigma**2, rel=0.02)
    assert energies.fine.mean() == pytest.approx(FINE_NOISE * sigma**2, rel=0.02)
    assert energies.coarse.mean() == pytest.approx(COARSE_NOISE * sigma**2, rel=0.05)


def test_blur_takes_the_fine_and_leaves_the_coarse() -> None:
    rng = np.random.default_rng(6)
    grain = gaussian_filter(rng.normal(0, 1, (600, 640)), 0.8) * 0.05 + 0.5
    soft = gaussian_filter(grain, 2.0)
    sharp_energy, soft_energy = (edge_energies(np.rint(g * 65535).astype(np.uint16), 64) for g in (grain, soft))
    assert soft_energy.fine.mean() < 0.02 * sharp_energy.fine.mean()
    assert soft_energy.coarse.mean() > 0.1 * sharp_energy.coarse.mean()
