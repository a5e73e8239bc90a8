"""Profiles against colour-science (independent definitions of the same spaces) and the ICC specification."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from colormatch.color.difference import delta_e
from colormatch.color.space import encoded_from_linear, lab_from_linear, linear_from_encoded
from colormatch.image import icc as profiles
from colormatch.image.icc import NotMatrix, Profile, ProfileBroken, from_code_points, from_gamma, from_icc
from tests.image import icc
from tests.scenes.spectra import colour_science

CODES = np.random.default_rng(5).uniform(0, 1, (500, 3))


def linear(profile: Profile, encoded: np.ndarray) -> np.ndarray:
    light = np.stack([curve(encoded[:, i]) for i, curve in enumerate(profile.curves)], axis=-1)
    return light @ profile.to_srgb.T


def by_colour_science(space: str, encoded: np.ndarray) -> np.ndarray:
    colour = colour_science()
    return colour.RGB_to_RGB(
        encoded,
        colour.RGB_COLOURSPACES[space],
        colour.RGB_COLOURSPACES["sRGB"],
        chromatic_adaptation_transform="Bradford",
        apply_cctf_decoding=True,
    )


# The published matrices that colour-science carries for some spaces are rounded to 4 digits.
@pytest.mark.parametrize(
    ("space", "profile"),
    [
        ("Display P3", from_code_points(12, 13)),
        ("Adobe RGB (1998)", profiles.ADOBE_RGB),
        ("sRGB", from_code_points(1, 13)),
        ("ITU-R BT.2020", from_code_points(9, 14)),
    ],
)
def test_spaces_agree_with_colour_science(space: str, profile: Profile) -> None:
    expected = by_colour_science(space, CODES)
    np.testing.assert_allclose(linear(profile, CODES), expected, atol=4e-4)


def test_p3_red_is_outside_srgb() -> None:
    # colour-science: Display P3 (1, 0, 0) in linear sRGB.
    expected = by_colour_science("Display P3", np.array([[1.0, 0, 0]]))[0]
    got = linear(from_icc(icc.named("Display P3")), np.array([[1.0, 0, 0]]))[0]
    assert got == pytest.approx(expected, abs=5e-4)
    assert got[0] > 1 > 0 > got[1]


@pytest.mark.parametrize(
    ("space", "curve"),
    [
        ("Display P3", icc.SRGB_CURVE),
        ("Adobe RGB (1998)", icc.sampled(563)),
        ("ProPhoto RGB", icc.parametric(3, 1.8, 1, 0, 1 / 16, 16 * 0.001953125)),
    ],
)
def test_icc_profiles_agree_with_colour_science(space: str, curve: bytes) -> None:
    profile = from_icc(icc.named(space, curve))
    assert profile.name == space
    expected = by_colour_science(space, CODES)
    ours = linear(profile, CODES)
    real = np.all(expected > -0.05, axis=1)  # ProPhoto holds colors that no eye sees and CIELAB can't compare.
    difference = delta_e(lab_from_linear(np.maximum(ours, 0)), lab_from_linear(np.maximum(expected, 0)))[real]
    assert difference.max() < 0.05


def test_icc_profile_of_lcms_agrees_with_our_srgb() -> None:
    # Little CMS writes its own sRGB: an independent writer of curves and colorants.
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    profile = from_icc(made)
    assert profile.name == "sRGB"
    np.testing.assert_allclose(linear(profile, CODES), linear_from_encoded(CODES), atol=3e-4)


def test_matrix_math_agrees_with_the_engine_of_lcms() -> None:
    # Little CMS converts Display P3 to sRGB in 8 bits: agreement within its rounding, inside the sRGB gamut.
    p3 = icc.named("Display P3")
    codes = np.random.default_rng(2).integers(60, 190, (16, 16, 3)).astype(np.uint8)
    engine = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(p3)), ImageCms.createProfile("sRGB"), "RGB", "RGB", 1
    )
    theirs = np.asarray(engine.apply(Image.fromarray(codes))).reshape(-1, 3) / 255
    inside = np.all((theirs > 0.01) & (theirs < 0.99), axis=1)
    ours = encoded_from_linear(linear(from_icc(p3), codes.reshape(-1, 3) / 255))
    assert inside.sum() > 100
    # Half a step of 8 bits is their rounding; a quarter more for their 15-bit curves.
    assert np.abs(ours - theirs)[inside].max() * 255 < 0.75


ARGYLL = Path("/usr/share/color/argyll/ref")


@pytest.mark.skipif(not ARGYLL.exists(), reason="argyll-ref is not installed")
@pytest.mark.parametrize(
    ("file", "space"),
    [
        ("sRGB.icm", "sRGB"),
        ("DisplayP3.icm", "Display P3"),
        ("ClayRGB1998.icm", "Adobe RGB (1998)"),
        ("ProPhoto.icm", "ProPhoto RGB"),
    ],
)
def test_profiles_of_debian_argyll_ref(file: str, space: str) -> None:
    expected = by_colour_science(space, CODES)
    ours = linear(from_icc((ARGYLL / file).read_bytes()), CODES)
    real = np.all(expected > -0.05, axis=1)
    difference = delta_e(lab_from_linear(np.maximum(ours, 0)), lab_from_linear(np.maximum(expected, 0)))[real]
    assert difference.max() < 0.1


def _gray(curve: bytes) -> bytes:
    return icc.profile({b"desc": icc.text_v2("a gray"), b"kTRC": curve}, space=b"GRAY")


# ICC.1:2022, 10.6 and table 68, worked by hand.
@pytest.mark.parametrize(
    ("curve", "at_low", "at_half"),
    [
        (icc.sampled(), 0.1, 0.5),
        (icc.sampled(512), 0.01, 0.25),
        (icc.sampled(0, 0x4000, 0xFFFF), 0.2 * 0x4000 / 65535, 0x4000 / 65535),
        (icc.parametric(0, 3), 0.001, 0.125),
        (icc.parametric(1, 2, 1.25, -0.25), 0, 0.140625),
        (icc.parametric(2, 2, 1.125, -0.25, 0.234375), 0.234375, 0.33203125),
        (icc.parametric(3, 2, 1, 0, 0.25, 0.25), 0.025, 0.25),
        (icc.parametric(4, 2, 0.9375, 0, 0.25, 0.25, 0.12109375, 0.0625), 0.0875, 0.3408203125),
    ],
    ids=["line", "power", "samples", "type 0", "type 1", "type 2", "type 3", "type 4"],
)
def test_each_kind_of_curve(curve: bytes, at_low: float, at_half: float) -> None:
    profile = from_icc(_gray(curve))
    assert profile.name == "a gray"
    assert profile.curves[0](np.array([0.1, 0.5])) == pytest.approx([at_low, at_half], abs=3e-5)
    np.testing.assert_array_equal(profile.to_srgb, np.eye(3))


def test_profiles_of_tables_are_told_apart_from_broken_ones() -> None:
    with pytest.raises(NotMatrix):
        from_icc(icc.profile({b"desc": icc.text_v4("tables"), b"A2B0": b"mft2"}))
    sound = icc.named("Display P3")
    broken = [b"", b"acsp", sound[:100], sound[:140], sound[:300], sound[:36] + b"nope" + sound[40:]]
    broken.append(sound.replace(b"para", b"what"))
    broken.append(icc.matrix_profile("flat", np.ones((3, 3)), icc.D50))
    for data in broken:
        with pytest.raises(ProfileBroken):
            from_icc(data)


def test_any_damage_to_a_profile_is_either_read_or_called_broken() -> None:
    sound = bytearray(icc.named("Display P3"))
    rng = np.random.default_rng(4)
    for _ in range(300):
        damaged = bytearray(sound)
        for at in rng.integers(0, len(sound), 8):
            damaged[at] = rng.integers(256)
        try:
            table = from_icc(bytes(damaged)).tables(256)
        except (ProfileBroken, NotMatrix):
            continue
        assert table.shape == (3, 256)


def test_code_points_of_high_dynamic_range_are_not_read_as_srgb() -> None:
    assert from_code_points(9, 16) is None  # PQ
    assert from_code_points(9, 18) is None  # HLG
    assert from_code_points(77, 13) is None
    assert from_code_points(2, 2) is profiles.SRGB  # unspecified


def test_gamma_and_chromaticities_of_a_png() -> None:
    # PNG 3rd edition: sample = light ** gamma.
    assert linear(from_gamma(1.0, None), CODES) == pytest.approx(CODES, abs=1e-12)
    p3 = (0.3127, 0.329, 0.68, 0.32, 0.265, 0.69, 0.15, 0.06)
    expected = by_colour_science("Display P3", CODES)
    light = linear_from_encoded(CODES)
    assert linear(from_gamma(1.0, p3), light) == pytest.approx(expected, abs=5e-4)


def test_absurd_curves_are_called_broken() -> None:
    for curve in (icc.sampled(0xFFFF, 0), icc.parametric(4, 0.5, 1, -0.9, 1, 0, 0, 0), icc.parametric(0, -9)):
        with pytest.raises(ProfileBroken):
            from_icc(_gray(curve))
