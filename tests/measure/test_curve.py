"""Tone curves of profiles: ICC.1:2022 tags, the sRGB curve of IEC 61966-2-1."""

import struct

import numpy as np
import pytest

from dawnproof.measure.curve import ASSUMED_GAMMA, tone_curve

STEPS = np.linspace(0, 1, 101)
SRGB = np.where(STEPS <= 0.04045, STEPS / 12.92, ((STEPS + 0.055) / 1.055) ** 2.4)


def profile(tag: bytes, name: bytes = b"gTRC") -> bytes:
    """A profile of a header and one tag."""
    offset = 128 + 4 + 12
    head = b"\0" * 36 + b"acsp" + b"\0" * 88
    return head + struct.pack(">I4sII", 1, name, offset, len(tag)) + tag


def s15(*values: float) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(v * 65536) for v in values))


def test_one_gamma() -> None:
    curve = tone_curve(profile(b"curv\0\0\0\0" + struct.pack(">IH", 1, round(1.8 * 256))))
    assert not curve.assumed
    assert curve.linear(STEPS) == pytest.approx(STEPS**1.8, abs=2e-3)


def test_identity_curve() -> None:
    curve = tone_curve(profile(b"curv\0\0\0\0" + struct.pack(">I", 0)))
    assert curve.linear(STEPS) == pytest.approx(STEPS)


def test_sampled_curve() -> None:
    values = np.round(np.linspace(0, 1, 1024) ** 2 * 65535).astype(">u2")
    curve = tone_curve(profile(b"curv\0\0\0\0" + struct.pack(">I", 1024) + values.tobytes(), b"kTRC"))
    assert curve.linear(STEPS) == pytest.approx(STEPS**2, abs=1e-4)


def test_parametric_curve_of_srgb() -> None:
    numbers = s15(2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    curve = tone_curve(profile(b"para\0\0\0\0" + struct.pack(">HH", 3, 0) + numbers))
    assert curve.linear(STEPS) == pytest.approx(SRGB, abs=1e-4)


@pytest.mark.parametrize("kind", [0, 1, 2, 4])
def test_other_parametric_kinds_rise_from_black_to_white(kind: int) -> None:
    numbers = {0: s15(2.2), 1: s15(2.2, 1, 0), 2: s15(2.2, 1, 0, 0), 4: s15(2.2, 1, 0, 0.1, 0.02, 0, 0)}[kind]
    curve = tone_curve(profile(b"para\0\0\0\0" + struct.pack(">HH", kind, 0) + numbers))
    assert not curve.assumed
    assert curve.linear(np.array([1.0]))[0] == pytest.approx(1.0, abs=1e-3)


def test_there_and_back() -> None:
    for icc in (None, profile(b"curv\0\0\0\0" + struct.pack(">IH", 1, round(2.4 * 256)))):
        curve = tone_curve(icc)
        assert curve.encoded(curve.linear(STEPS)) == pytest.approx(STEPS, abs=1e-3)


@pytest.mark.parametrize(
    "icc", [None, b"", b"no profile", profile(b"curv\0\0\0\0\xff\xff\xff\xff"), profile(b"mft2" + b"\0" * 40)]
)
def test_without_a_usable_curve_gamma_is_assumed_and_said(icc: bytes | None) -> None:
    curve = tone_curve(icc)
    assert curve.assumed
    assert curve.linear(STEPS) == pytest.approx(STEPS**ASSUMED_GAMMA, abs=1e-4)


def test_profiles_kept_with_the_tests(test_data) -> None:  # type: ignore[no-untyped-def]
    for path in sorted((test_data / "icc").glob("*.ic[cm]")):
        curve = tone_curve(path.read_bytes())
        assert np.all(np.diff(curve.table) >= 0)
