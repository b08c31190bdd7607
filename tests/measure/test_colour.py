"""Lab and CIEDE2000 against the published pairs and two independent libraries."""

from pathlib import Path

import colour
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from dawnproof.measure.colour import assumed_profile, delta_e_2000, to_lab

ICC = Path(__file__).parent.parent / "data" / "icc"

# Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula: implementation notes, supplementary test data,
# and mathematical observations", Color Res. Appl. 30 (2005), table 1: L1 a1 b1 L2 a2 b2 difference.
PUBLISHED = np.array(
    [
        [50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425],
        [50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615],
        [50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412],
        [50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669],
        [50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461],
        [50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065],
        [50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492],
        [50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977],
        [50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030],
        [50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ]
)
PAIR_14 = 13  # both hues exactly opposite: rounding may take either branch, 4.8045 or 4.7461


def test_published_differences_both_ways_round() -> None:
    one, two, published = PUBLISHED[:, :3], PUBLISHED[:, 3:6], PUBLISHED[:, 6]
    for found in (delta_e_2000(one, two), delta_e_2000(two, one)):
        sure = np.arange(len(published)) != PAIR_14
        assert np.abs(found - published)[sure].max() < 1e-4
        assert min(abs(found[PAIR_14] - 4.8045), abs(found[PAIR_14] - 4.7461)) < 1e-4


def test_differences_of_random_colours_agree_with_two_libraries() -> None:
    rng = np.random.default_rng(7)
    one, two = (rng.uniform((0, -90, -90), (100, 90, 90), (2000, 3)) for _ in range(2))
    found = delta_e_2000(one, two)
    assert np.abs(found - colour.delta_E(one, two, method="CIE 2000")).max() < 1e-9
    second = deltaE_ciede2000(one, two)
    assert np.abs(found - second).max() < 1e-9


def test_no_difference_is_none_even_for_neutrals() -> None:
    greys = np.array([[0.0, 0, 0], [50, 0, 0], [100, 0, 0], [40, 3, -2]])
    assert np.array_equal(delta_e_2000(greys, greys), np.zeros(4))


@pytest.mark.parametrize(
    ("name", "space"),
    [
        (None, "sRGB"),
        ("sRGB-v4.icc", "sRGB"),
        ("compatibleWithAdobeRGB1998.icc", "Adobe RGB (1998)"),
        ("ProPhoto-v4.icc", "ProPhoto RGB"),
    ],
)
@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_lab_through_profiles_agrees_with_colour_science(
    name: str | None, space: str, depth: type[np.unsignedinteger]
) -> None:
    top = np.iinfo(depth).max
    steps = np.array([0.2, 0.5, 0.8, 1.0])
    colours = np.stack(np.meshgrid(steps, steps, steps), -1).reshape(-1, 3)
    pixels = np.round(colours * top).astype(depth)
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    xyz = colour.RGB_to_XYZ(pixels / top, space, d50, "Bradford", apply_cctf_decoding=True)
    expected = colour.XYZ_to_Lab(xyz, d50)
    # a and b beyond 120 meet the end of the connection space's own encoding; colours of paint end well before
    inside = np.abs(expected[:, 1:]).max(axis=1) < 120
    found = to_lab(pixels, None if name is None else (ICC / name).read_bytes())
    assert inside.sum() >= 40
    assert np.abs(found - expected)[inside].max() < 0.2


def test_eight_and_sixteen_bits_of_the_same_colour_agree() -> None:
    eight = np.array([[12, 200, 90], [255, 255, 255], [128, 128, 128]], np.uint8)
    assert np.abs(to_lab(eight, None) - to_lab(eight.astype(np.uint16) * 257, None)).max() < 0.02


def test_grey_through_its_own_profile_and_without() -> None:
    grey = np.array([[65535], [32896]], np.uint16)
    linear = to_lab(grey, (ICC / "Gray.icc").read_bytes())  # this free profile has a linear curve
    assert linear[0] == pytest.approx([100, 0, 0], abs=0.01)
    assert linear[1, 0] == pytest.approx(116 * (32896 / 65535) ** (1 / 3) - 16, abs=0.02)
    assert to_lab(grey, None)[1, 0] == pytest.approx(53.585, abs=0.02)


@pytest.mark.parametrize("name", ["bad.icc", "toosmall.icc", "Gray.icc", "CGATS001Compat-v2-micro.icc"])
def test_unusable_profile_means_srgb_and_is_said(name: str) -> None:
    broken = (ICC / name).read_bytes()
    pixels = np.array([[200, 40, 40], [128, 128, 128]], np.uint8)
    assert np.array_equal(to_lab(pixels, broken), to_lab(pixels, None))
    assert assumed_profile(broken, 3).endswith("sRGB assumed")


def test_profile_with_sound_header_but_no_transform_means_srgb() -> None:
    hollow = bytearray((ICC / "sRGB-v4.icc").read_bytes())
    for name in (b"rTRC", b"gTRC", b"bTRC", b"rXYZ"):
        place = hollow.find(name, 128)
        hollow[place : place + 4] = b"none"
    pixels = np.array([[200, 40, 40]], np.uint8)
    assert "no transform" in assumed_profile(bytes(hollow), 3)
    assert np.array_equal(to_lab(pixels, bytes(hollow)), to_lab(pixels, None))


def test_nothing_is_assumed_for_a_sound_profile() -> None:
    assert assumed_profile((ICC / "ProPhoto-v4.icc").read_bytes(), 3) == ""
    assert assumed_profile(None, 3) == "the file carries no profile: sRGB assumed"
