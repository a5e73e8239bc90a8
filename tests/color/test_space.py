"""The converter against its standards and against independent libraries."""

import coloraide
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import xyz2lab

from colormatch.color import space

RNG = np.random.default_rng(8)
ENCODED = RNG.uniform(0, 1, (10_000, 3))


def test_lightness_of_known_reflectances() -> None:
    """CIE 15: L*(0.18) = 49.4961, and L* 50 is Y = 0.184187."""
    assert space.lab_from_xyz(0.18 * space.WHITE_XYZ)[0] == pytest.approx(49.4961, abs=1e-4)
    assert space.xyz_from_lab(np.array([50.0, 0, 0]))[1] == pytest.approx(0.184187, abs=1e-6)


def test_white_and_black() -> None:
    np.testing.assert_allclose(space.lab_from_linear(np.ones(3)), (100, 0, 0), atol=1e-9)
    np.testing.assert_allclose(space.lab_from_linear(np.zeros(3)), (0, 0, 0), atol=1e-9)


def test_transfer_curve() -> None:
    """IEC 61966-2-1: the joint lies at 0.04045 / 12.92, and code 0.5 is 21.404 % of linear light."""
    assert space.linear_from_encoded(np.array(0.04045)) == pytest.approx(0.0031308, abs=1e-7)
    assert space.linear_from_encoded(np.array(0.5)) == pytest.approx(0.21404114, abs=1e-8)


def test_matrix_is_the_standard_one() -> None:
    """IEC 61966-2-1 prints the matrix to four decimals."""
    printed = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(space.RGB_TO_XYZ, printed, atol=6e-5)


def test_agrees_with_coloraide() -> None:
    lab = space.lab_from_linear(space.linear_from_encoded(ENCODED))
    theirs = [coloraide.Color("srgb", list(rgb)).convert("lab-d65").coords() for rgb in ENCODED]
    np.testing.assert_allclose(lab, theirs, atol=1e-4)


@pytest.mark.filterwarnings("ignore")
def test_agrees_with_colour_science() -> None:
    import colour

    linear = space.linear_from_encoded(ENCODED)
    theirs = colour.XYZ_to_Lab(linear @ space.RGB_TO_XYZ.T, np.array([0.3127, 0.3290]))
    np.testing.assert_allclose(space.lab_from_linear(linear), theirs, atol=1e-4)
    np.testing.assert_allclose(linear, colour.models.eotf_sRGB(ENCODED), atol=1e-7)


def test_agrees_with_scikit_image() -> None:
    """scikit-image rounds its white (0.95047, 1.08883): the ratio to the white is what both see.

    It also rounds the constants of the dark segment to 0.008856 and 7.787, which alone moves colors there by 2e-4.
    """
    xyz = space.linear_from_encoded(ENCODED) @ space.RGB_TO_XYZ.T
    ratio = xyz / space.WHITE_XYZ
    theirs = xyz2lab(ratio * (0.95047, 1.0, 1.08883))
    dark = np.any(ratio <= 0.0089, axis=1)
    np.testing.assert_allclose(space.lab_from_xyz(xyz)[~dark], theirs[~dark], atol=1e-4)
    np.testing.assert_allclose(space.lab_from_xyz(xyz)[dark], theirs[dark], atol=2e-4)


@given(st.tuples(st.floats(0, 1), st.floats(0, 1), st.floats(0, 1)))
def test_there_and_back(rgb: tuple[float, float, float]) -> None:
    linear = np.asarray(rgb)
    np.testing.assert_allclose(space.linear_from_lab(space.lab_from_linear(linear)), linear, atol=1e-9)
    np.testing.assert_allclose(space.linear_from_encoded(space.encoded_from_linear(linear)), linear, atol=1e-9)


def test_single_precision_is_kept() -> None:
    linear = ENCODED.astype(np.float32)
    assert space.lab_from_linear(linear).dtype == np.float32
    np.testing.assert_allclose(space.lab_from_linear(linear), space.lab_from_linear(ENCODED), atol=1e-3)


def test_gamut() -> None:
    assert space.in_gamut(np.array([60.0, 9, 25]))
    assert not space.in_gamut(np.array([50.0, 100, -100]))
    assert space.hex_from_lab(np.array([100.0, 0, 0])) == "#ffffff"


WOODS_UNDER_D50 = [(62.0, 9.0, 25.0), (35.0, 12.0, 18.0), (81.0, 3.0, 20.0), (48.0, 25.0, -20.0), (50.0, -30.0, 5.0)]


@pytest.mark.parametrize("lab", WOODS_UNDER_D50)
def test_lab_for_d50_is_taken_to_d65_as_coloraide_does_it(lab: tuple[float, float, float]) -> None:
    """Its lab is D50; it adapts by Bradford. Its whites come from x, y to four digits: 0.03 in the sum."""
    expected = coloraide.Color("lab", list(lab)).convert("lab-d65").coords()
    np.testing.assert_allclose(space.d65_from_d50(np.array(lab)), expected, atol=0.03)


@pytest.mark.filterwarnings("ignore")
def test_adaptation_is_the_bradford_transform_of_colour_science() -> None:
    import colour

    theirs = colour.adaptation.matrix_chromatic_adaptation_VonKries(space.D50_XYZ, space.WHITE_XYZ, "Bradford")
    np.testing.assert_allclose(space.adaptation_to_d65(space.D50_XYZ), theirs, atol=1e-4)
    np.testing.assert_allclose(space.adaptation_to_d65(space.D50_XYZ) @ space.D50_XYZ, space.WHITE_XYZ, atol=1e-12)
    np.testing.assert_allclose(space.adaptation_to_d65(space.WHITE_XYZ), np.eye(3), atol=1e-12)
