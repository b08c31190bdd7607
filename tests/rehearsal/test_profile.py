"""The invented profile is a sound one, by the product's own reader, by a colour engine and by an independent matrix."""

from io import BytesIO

import colour
import numpy as np
import pytest
from PIL import Image, ImageCms

from dawnproof.measure.profile import describe, read_profile
from dawnproof.rehearsal.bed import GAMMA
from dawnproof.rehearsal.profile import DESCRIPTION, _rgb_to_d50, scanner_profile


def test_the_product_reads_it_as_sound() -> None:
    profile = read_profile(scanner_profile())
    assert profile.fault == ""
    assert (profile.device_class, profile.colour_space, profile.version) == ("scnr", "RGB", "2.4")
    assert profile.description == DESCRIPTION
    assert describe(scanner_profile(), 3) == (DESCRIPTION, "")


def test_matrix_agrees_with_the_published_derivation() -> None:
    """Normalised primary matrix (SMPTE RP 177-1993) and Bradford adaptation, both by colour-science."""
    white = np.array([0.3127, 0.3290])
    primaries = np.array([[0.64, 0.33], [0.21, 0.71], [0.15, 0.06]])
    native = colour.normalised_primary_matrix(primaries, white)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ(white), np.array([0.9642, 1.0, 0.8249]), transform="Bradford"
    )
    assert _rgb_to_d50() == pytest.approx(adapt @ native, abs=3e-4)


def test_a_colour_engine_takes_white_for_white_and_grey_for_grey() -> None:
    source = ImageCms.ImageCmsProfile(BytesIO(scanner_profile()))
    to_lab = ImageCms.buildTransform(
        source, ImageCms.createProfile("LAB"), "RGB", "LAB", ImageCms.Intent.RELATIVE_COLORIMETRIC
    )
    patches = Image.new("RGB", (2, 1))
    patches.putdata([(255, 255, 255), (128, 128, 128)])
    white, grey = np.asarray(ImageCms.applyTransform(patches, to_lab))[0].astype(float)
    assert tuple(white) == pytest.approx((255, 0, 0), abs=1)
    luminance = (128 / 255) ** GAMMA
    lightness = 116 * np.cbrt(luminance) - 16
    assert grey[0] * 100 / 255 == pytest.approx(lightness, abs=0.6)
