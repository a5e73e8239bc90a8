"""A camera raw under its lamp: what gives its gray its color, and the light it is taken for."""

import numpy as np
import pytest

from colormatch.image.sensor import Sensor, kind_of_light, temperature
from colormatch.records import LightKind
from tests.scenes.spectra import colour_science

#: A plausible matrix: rows add up to 1, so that balanced channels give a neutral.
TO_SRGB = np.array([[1.8, -0.95, 0.15], [-0.23, 1.77, -0.54], [-0.02, -0.47, 1.49]])
GRAY = np.array([0.2, 0.12, 0.05])


@pytest.mark.parametrize("known", [False, True])
def test_the_gray_gets_its_color(known: bool) -> None:
    gains = (np.array([2.4, 0.95, 1.3]), np.array([1.2, 1.0, 2.2])) if known else (None, None)
    matrix = Sensor(TO_SRGB, *gains).neutralizing(GRAY, np.full(3, 0.18))
    assert matrix is not None
    np.testing.assert_allclose(matrix @ GRAY, 0.18, atol=1e-12)


def test_under_daylight_both_ways_agree() -> None:
    """Where the channels are balanced for daylight already, nothing is left to adapt."""
    gains = np.array([2.4, 0.95, 1.3])
    matrix = Sensor(TO_SRGB, gains, gains).neutralizing(np.full(3, 0.1), np.full(3, 0.18))
    np.testing.assert_allclose(matrix, 1.8 * np.eye(3), atol=1e-9)


def test_a_gray_that_no_sensor_sees_is_left_to_plain_gains() -> None:
    assert Sensor(TO_SRGB).neutralizing(np.array([-0.5, 0.1, 0.1]), np.full(3, 0.18)) is None


def test_where_there_is_no_light_there_is_no_lamp() -> None:
    """Chromaticity is X / (X + Y + Z), CIE 15: without light it is 0 / 0."""
    gains = np.array([2.4, 0.95, 1.3])
    assert Sensor(TO_SRGB, gains, gains).lamp(np.zeros(3)) is None
    assert Sensor(TO_SRGB, gains, gains).lamp(np.full(3, 1e-6)) is not None


def test_what_a_light_is_taken_for() -> None:
    """CIE illuminants by colour-science's chromaticities."""
    whites = colour_science().CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    for name, kind in (
        ("A", LightKind.BULB), ("D50", LightKind.DAYLIGHT), ("D65", LightKind.DAYLIGHT), ("D75", LightKind.DAYLIGHT),
        ("FL2", None), ("FL11", None),
        ("FL4", LightKind.BULB),  # warm tubes lie on the locus too: only the person knows
    ):  # fmt: skip
        assert kind_of_light(temperature(*(float(value) for value in whites[name]))) is kind, name
    assert kind_of_light(None) is None
