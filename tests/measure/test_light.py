"""A flat field times a ramp of a known share, either side of the published limits (FADGI 2016: < 8, 5, 3, 1 %)."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import scans

from dawnproof.measure.light import Light
from dawnproof.measure.outline import whole_frame
from dawnproof.model import Reading, Role

ROWS, COLUMNS = 500, 640


def lit(light: np.ndarray, noise: float = 0.003, depth_bits: int = 16, role: Role = Role.REF) -> dict[str, Reading]:
    """Readings of a reference with this linear light, (rows, columns) or (rows, columns, 3), coded at gamma 2.2."""
    three = light if light.ndim == 3 else np.repeat(light[..., None], 3, axis=2)
    rng = np.random.default_rng(1)
    coded = three ** (1 / 2.2) + rng.normal(0, noise, three.shape)
    pixels = scans.code(coded.astype(np.float32), depth_bits)
    frame = dataclasses.replace(
        scans.make_scan(np.zeros((ROWS, COLUMNS, 3), np.float32), None).frame, role=role, depth_bits=depth_bits
    )
    check = Light(frame)
    for band in scans.bands(pixels, 150):
        check.see(band)
    return {r.name: r for r in check.readings(whole_frame(frame.width_px, frame.height_px))}


def ramp(percent: float, down: bool = False) -> np.ndarray:
    """Linear from 0.85 down to 0.85 (1 - percent), edge to edge."""
    steps = (np.arange(ROWS if down else COLUMNS) + 0.5) / (ROWS if down else COLUMNS)
    line = 0.85 * (1 - percent / 100 * steps)
    return np.broadcast_to(line[:, None] if down else line, (ROWS, COLUMNS)).copy()


@pytest.mark.parametrize("down", [False, True])
@pytest.mark.parametrize("percent", [0.9, 1.1, 2.9, 3.1, 7.9, 8.1])
def test_a_ramp_is_measured_in_light_not_in_code(percent: float, down: bool) -> None:
    found = lit(ramp(percent, down))["evenness"]
    assert found.value == pytest.approx(percent, abs=0.09)
    assert found.unit == "%"


def test_an_even_field_reads_near_nothing() -> None:
    assert float(lit(ramp(0.0))["evenness"].value or 0) < 0.08
    assert float(lit(ramp(0.0), depth_bits=8)["evenness"].value or 0) < 0.12


def test_the_worst_channel_counts_and_levels_are_told() -> None:
    light = np.stack([ramp(0.0), ramp(4.0), 0.5 * ramp(1.0)], axis=2)
    found = lit(light)
    assert found["evenness"].value == pytest.approx(4.0, abs=0.1)
    assert found["level_red"].value == pytest.approx(85.0, abs=0.2)
    assert found["level_green"].value == pytest.approx(85.0 * 0.98, abs=0.2)
    assert found["level_blue"].value == pytest.approx(42.5 * 0.995, abs=0.2)


def test_dust_on_the_reference_does_not_count() -> None:
    light = ramp(1.0)
    rng = np.random.default_rng(2)
    for _ in range(40):
        y, x = rng.integers(0, ROWS - 6), rng.integers(0, COLUMNS - 6)
        light[y : y + 5, x : x + 5] *= 0.3
    assert lit(light)["evenness"].value == pytest.approx(1.0, abs=0.15)


def test_only_references_are_judged() -> None:
    assert lit(ramp(5.0), role=Role.WORK) == {}


def test_a_clipped_or_black_reference_says_so() -> None:
    for light in (np.ones((ROWS, COLUMNS)) * 1.5, np.zeros((ROWS, COLUMNS))):
        found = lit(light, noise=0.0)["evenness"]
        assert found.value is None
        assert found.why
