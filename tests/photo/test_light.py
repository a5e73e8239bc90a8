"""What neutral places tell of the light."""

import numpy as np
import pytest

from colormatch.errors import BadInput
from colormatch.photo.light import card_parts, describe_light, even_light, fit_plane, lamp_of_raw
from tests.scenes.spectra import colour_science

PLACES = np.array([[0.1, 0.2], [0.9, 0.2], [0.5, 0.9], [0.4, 0.5]])
GRAY = np.array([0.2, 0.17, 0.14])


def codes(colors: np.ndarray, places: np.ndarray = PLACES) -> list[str]:
    return [flag.code for flag in describe_light(colors, places).flags]


def test_even_light_raises_no_doubt() -> None:
    light = describe_light(np.tile(GRAY, (4, 1)), PLACES)
    assert light.flags == ()
    assert light.evenness == pytest.approx(1)
    assert light.cast is not None
    assert light.cast[1] > 5  # yellow: more red than blue


def test_a_slope_is_measured_and_divided_out() -> None:
    falloff = np.exp(0.4 * PLACES[:, 0] - 0.1 * PLACES[:, 1])
    colors = GRAY * falloff[:, None]
    assert codes(colors) == ["light-uneven"]
    assert describe_light(colors, PLACES).evenness == pytest.approx(falloff.max() / falloff.min(), abs=1e-3)
    evened = even_light(colors, PLACES, fit_plane(PLACES, falloff))
    np.testing.assert_allclose(evened / evened[0], 1, atol=1e-9)


def test_two_places_tell_the_slope_between_them() -> None:
    places = np.array([[0.2, 0.5], [0.8, 0.5]])
    plane = fit_plane(places, np.array([1.0, 1.3]))
    assert plane.evenness(places) == pytest.approx(1.3)
    assert plane.slope[1] == pytest.approx(0, abs=1e-12)
    with pytest.raises(BadInput):
        fit_plane(places[:1], np.ones(1))


def test_two_lamps_and_local_tones_are_told_apart() -> None:
    warm = np.tile(GRAY, (4, 1)) * np.where(PLACES[:, :1] > 0.6, [[1.2, 1, 0.75]], 1)
    assert "light-mixed" in codes(warm)
    lifted = np.tile(GRAY, (4, 1)) * np.array([[1.0], [1.0], [1.0], [1.3]])
    assert "light-patchy" in codes(lifted)
    assert "light-mixed" not in codes(lifted)


def test_steps_of_several_reflectances_share_one_light() -> None:
    reflectances = [0.9, 0.18, 0.035, 0.18]
    colors = np.array(reflectances)[:, None] * GRAY
    assert describe_light(colors, PLACES, reflectances).evenness == pytest.approx(1)


def test_a_card_in_parts() -> None:
    x = np.linspace(0, 1, 80)[None, :, None]
    card = np.broadcast_to(GRAY * np.exp(0.3 * x), (60, 80, 3))
    inside = np.zeros((60, 80), bool)
    inside[5:55, 4:76] = True
    colors, places = card_parts(card, inside)
    assert len(colors) == 16
    assert describe_light(colors, places).evenness == pytest.approx(np.exp(0.3 * 0.75), abs=0.02)


@pytest.mark.parametrize("name", ["A", "D50", "D65", "LED-B1", "FL2"])
def test_temperature_and_distance_agree_with_colour_science(name: str) -> None:
    colour = colour_science()
    xy = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][name]
    kelvin, duv = colour.temperature.uv_to_CCT_Ohno2013(colour.UCS_to_uv(colour.XYZ_to_UCS(colour.xy_to_XYZ(xy))))
    found = lamp_of_raw((float(xy[0]), float(xy[1])))
    # McCamy's formula is good to a few kelvin near the locus, and less so off it.
    assert found[0] == pytest.approx(kelvin, rel=0.01)
    assert found[1] == pytest.approx(duv, abs=3e-4)
