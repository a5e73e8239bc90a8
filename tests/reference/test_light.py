"""What neutral places tell of the light."""

import numpy as np
import pytest
from coloraide import Color

from colormatch.image.photo import open_photo
from colormatch.image.sensor import Sensor, temperature
from colormatch.records import Box, CardKind
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.light import Places, describe_light, fit_flat_field, surface_parts
from colormatch.reference.neutral import find_neutral
from tests.image.dng import XYZ_TO_SRGB, dng
from tests.image.test_photo import file_of
from tests.scenes.spectra import colour_science

MIDDLES = np.array([[0.1, 0.2], [0.9, 0.2], [0.5, 0.9], [0.4, 0.5]])
GRAY = np.array([0.2, 0.17, 0.14])


def places(colors: np.ndarray, middles: np.ndarray = MIDDLES, surface: object = 0) -> Places:
    count = len(middles)
    return Places(colors, middles, np.broadcast_to(surface, count), np.ones(count))


def codes(colors: np.ndarray) -> list[str]:
    return [flag.code for flag in describe_light(places(colors), None).flags]


def test_even_light_raises_no_doubt() -> None:
    light = describe_light(places(np.tile(GRAY, (4, 1))), (0.5, 8.0))
    assert light.flags == ()
    assert light.evenness == pytest.approx(1)
    assert light.cast == (0.5, 8.0)


def test_one_place_tells_nothing_of_the_light() -> None:
    assert describe_light(places(GRAY[None], MIDDLES[:1]), None).evenness is None


def test_a_slope_is_measured() -> None:
    falloff = np.exp(MIDDLES @ [[0.4, 0.38, 0.35], [-0.1, -0.1, -0.1]])
    assert codes(GRAY * falloff) == ["light-uneven"]
    plane = fit_flat_field(places(GRAY * falloff), MIDDLES[0])
    # The ridge takes a part of it; places this far apart lose under 2 %.
    np.testing.assert_allclose(plane.light(MIDDLES), falloff / falloff[0], rtol=0.02)
    np.testing.assert_allclose(plane.light(MIDDLES[0]), 1)


def test_two_places_tell_the_slope_between_them() -> None:
    middles = np.array([[0.2, 0.5], [0.8, 0.5]])
    plane = fit_flat_field(places(GRAY * [[1.0], [1.3]], middles), middles[0])
    assert plane.level(middles[1]) == pytest.approx(1.3, rel=0.02)
    np.testing.assert_allclose(plane.slope[1], 0, atol=1e-12)


def test_places_close_together_say_little_of_the_whole_photo() -> None:
    near, far = MIDDLES[0] + [[0, 0], [0.02, 0]], MIDDLES[0] + [[0, 0], [0.5, 0]]
    slopes = [fit_flat_field(places(GRAY * [[1.0], [1.02]], middles), near[0]).slope[0, 0] for middles in (near, far)]
    assert slopes[0] < 0.1 * np.log(1.02) / 0.02
    assert slopes[1] == pytest.approx(np.log(1.02) / 0.5, rel=0.05)


def test_surfaces_of_unknown_lightness_share_one_light() -> None:
    falloff = np.exp(MIDDLES @ [0.3, 0.0])[:, None]
    mixed = places(GRAY * falloff * [[1], [1], [5], [5]], surface=[0, 0, 1, 1])
    np.testing.assert_allclose(fit_flat_field(mixed, MIDDLES[0]).slope[0], 0.3, rtol=0.03)
    assert [flag.code for flag in describe_light(mixed, None).flags] == ["light-uneven"]


def test_a_plane_over_a_box_is_the_light_of_its_pixels() -> None:
    plane = fit_flat_field(places(GRAY * np.exp(MIDDLES @ [[0.4, 0.3, 0.2], [-0.1, 0.1, 0]])), np.array([0.3, 0.6]))
    box = Box(30, 10, 5, 4)
    y, x = np.mgrid[10:14, 30:35] + 0.5
    expected = plane.light(np.stack([x / 200, y / 100], axis=-1))
    np.testing.assert_allclose(plane.over(box, 200, 100), expected, rtol=1e-6)


def test_two_lamps_and_local_tones_are_told_apart() -> None:
    warm = np.tile(GRAY, (4, 1)) * np.where(MIDDLES[:, :1] > 0.6, [[1.2, 1, 0.75]], 1)
    assert "light-mixed" in codes(warm)
    lifted = np.tile(GRAY, (4, 1)) * np.array([[1.0], [1.0], [1.0], [1.3]])
    assert "light-patchy" in codes(lifted)
    assert "light-mixed" not in codes(lifted)


def noisy_card(seed: int, ends: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> list[str]:
    """Flags of a card of 16 parts, each off by chance in every channel, whose light changes by `ends` across it."""
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.linspace(0.4, 0.6, 4), np.linspace(0.4, 0.6, 4))
    across = (x.ravel() - 0.4)[:, None] / 0.2
    colors = GRAY * np.asarray(ends) ** across * np.exp(rng.normal(0, 0.05, (16, 3)))
    return [flag.code for flag in describe_light(places(colors, np.column_stack([x.ravel(), y.ravel()])), None).flags]


def test_noise_of_a_plain_card_is_not_two_lamps() -> None:
    """Noise that takes parts of the card, and often a slope through them, 2 ΔE00 and more from the middle."""
    assert sum("light-mixed" in noisy_card(seed) for seed in range(200)) <= 1


def test_two_lamps_are_told_through_the_same_noise() -> None:
    assert sum("light-mixed" in noisy_card(seed, (1.25, 1.0, 0.7)) for seed in range(50)) >= 48


def test_a_card_in_parts() -> None:
    x = np.linspace(0, 1, 80)[None, :, None]
    card = np.broadcast_to(GRAY * np.exp(0.3 * x), (60, 80, 3))
    inside = np.zeros((60, 80), bool)
    inside[5:55, 4:76] = True
    where = (0.25, 0.2, 0.2, 0.25)
    parts = surface_parts(card, inside, where)
    assert len(parts.middles) == 16
    assert parts.weight.sum() == pytest.approx(1)
    np.testing.assert_allclose(parts.middles[0], [0.25 + 0.2 / 8, 0.2 + 0.25 / 8])
    black = surface_parts(card * 0, inside, where)
    assert len(black.middles) == 0


# --- the lamp ---

LAMPS = ("A", "D50", "D65", "LED-B1", "FL2")


def published(name: str) -> tuple[np.ndarray, tuple[float, float]]:
    """XYZ of a CIE illuminant (CIE 15:2018), and its CCT and Duv by the method of Ohno 2013, by colour-science."""
    colour = colour_science()
    xy = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][name]
    kelvin, duv = colour.temperature.uv_to_CCT_Ohno2013(colour.UCS_to_uv(colour.XYZ_to_UCS(colour.xy_to_XYZ(xy))))
    return np.asarray(colour.xy_to_XYZ(xy)), (float(kelvin), float(duv))


@pytest.mark.parametrize("name", LAMPS)
def test_temperature_and_distance_agree_with_colour_science(name: str) -> None:
    xyz, (kelvin, duv) = published(name)
    found = temperature(*(xyz[:2] / xyz.sum()))
    # McCamy's formula is good to a few kelvin near the locus, and less so off it.
    assert found[0] == pytest.approx(kelvin, rel=0.01)
    assert found[1] == pytest.approx(duv, abs=3e-4)


@pytest.mark.parametrize("name", LAMPS)
@pytest.mark.parametrize("balanced_for", ["the lamp", "half way to daylight"])
def test_a_raw_tells_the_lamp_on_its_card_however_the_camera_balanced(name: str, balanced_for: str) -> None:
    xyz, (kelvin, duv) = published(name)
    lamp = np.array(XYZ_TO_SRGB) @ xyz
    lamp /= lamp.max()
    # The sensor of tests.image.dng sees a gray card in that light; the writer divides by nothing.
    balance = lamp if balanced_for == "the lamp" else np.sqrt(lamp)
    photo = open_photo(dng(np.full((120, 120, 3), 0.4) * lamp / balance, balance=tuple(balance)))
    light = find_neutral(photo, CardChoice(box=Box(20, 20, 80, 80), value=0.4)).light
    assert light.cct_k == pytest.approx(kelvin, rel=0.012)
    assert light.duv == pytest.approx(duv, abs=5e-4)


def test_without_a_card_a_raw_tells_what_the_camera_balanced_for() -> None:
    xyz, (kelvin, _) = published("A")
    lamp = np.array(XYZ_TO_SRGB) @ xyz
    photo = open_photo(dng(np.full((120, 120, 3), 0.4), balance=tuple(lamp / lamp.max())))
    light = find_neutral(photo, CardChoice(CardKind.NONE)).light
    assert light.cct_k == pytest.approx(kelvin, rel=0.012)


def test_a_developed_photo_tells_no_lamp() -> None:
    gray = file_of(np.full((120, 120, 3), (140, 118, 90), np.uint8), "PNG")
    light = find_neutral(open_photo(gray), CardChoice(box=Box(20, 20, 80, 80))).light
    assert (light.cct_k, light.duv) == (None, None)


@pytest.mark.parametrize("code", [(140, 118, 90), (90, 118, 140), (120, 100, 125)])
def test_the_cast_is_the_card_s_color_as_the_photo_holds_it(code: tuple[int, int, int]) -> None:
    """a* and b* by coloraide: a warm card is redder and yellower, a cold one bluer."""
    photo = open_photo(file_of(np.full((120, 120, 3), code, np.uint8), "PNG"))
    _, a, b = Color("srgb", [value / 255 for value in code]).convert("lab-d65").coords()
    assert find_neutral(photo, CardChoice(box=Box(20, 20, 80, 80))).light.cast == pytest.approx((a, b), abs=0.02)


def test_a_light_far_off_the_locus_has_no_temperature() -> None:
    sensor = Sensor(np.eye(3), np.ones(3), np.ones(3))
    assert sensor.lamp(np.array([0.1, 1.0, 0.1])) is None
    assert sensor.lamp(np.ones(3)) is not None
