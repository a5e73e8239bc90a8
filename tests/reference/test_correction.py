"""Corrections from a neutral reference: gains, limits, invariants."""

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from colormatch.color.space import lab_from_linear
from colormatch.errors import BadInput, CardUnusable
from colormatch.image.sensor import Sensor
from colormatch.records import Lab
from colormatch.reference.correction import gray_card_correction, neutral_linear, no_correction
from colormatch.reference.three_step import three_step_correction

CARD = np.array([0.21, 0.17, 0.12])


def test_the_card_becomes_what_it_is() -> None:
    # CIE 15: a gray of 18 % has L* 49.496.
    assert gray_card_correction(CARD).lab(CARD) == pytest.approx([49.4961, 0, 0], abs=1e-3)
    stated = Lab(51.2, 0.4, -0.9)
    assert gray_card_correction(CARD, stated).lab(CARD) == pytest.approx(stated, abs=1e-9)


@given(st.floats(0.05, 4), st.floats(0.5, 2), st.floats(0.5, 2))
def test_exposure_and_white_balance_of_linear_light_cancel(exposure: float, red: float, blue: float) -> None:
    wood = np.array([[0.4, 0.3, 0.2], [0.2, 0.12, 0.05]])
    change = exposure * np.array([red, 1, blue])
    same = gray_card_correction(CARD * change).lab(wood * change)
    np.testing.assert_allclose(same, gray_card_correction(CARD).lab(wood), atol=1e-9)


#: Balanced channels of a sensor to linear sRGB; rows add up to 1. Of the size of cameras' own, invented.
TO_SRGB = np.array([[1.7, -0.6, -0.1], [-0.2, 1.5, -0.3], [0.0, -0.5, 1.5]])


@pytest.mark.parametrize("gains", [(1.08, 0.98, 0.9), (0.6, 1, 1.7), (1.7, 1, 0.6)])
def test_a_wrong_balance_of_a_camera_raw_cancels(gains: tuple[float, ...]) -> None:
    """It stood before the sensor's matrix; from right to as far off as daylight's balance is indoors."""
    sensed = np.array([[0.42, 0.30, 0.17], [0.21, 0.13, 0.06], [0.18, 0.18, 0.18]])
    right, wrong = sensed @ TO_SRGB.T, sensed * gains @ TO_SRGB.T
    true = gray_card_correction(right[2], sensor=Sensor(TO_SRGB)).lab(right)
    np.testing.assert_allclose(gray_card_correction(wrong[2], sensor=Sensor(TO_SRGB)).lab(wrong), true, atol=1e-9)
    np.testing.assert_allclose(gray_card_correction(right[2]).lab(right), true, atol=1e-9)
    steps = np.outer([0.4, 0.081, 0.016], [1, 1, 1])
    of_steps = [three_step_correction(steps * by @ TO_SRGB.T, raw=True, sensor=Sensor(TO_SRGB)) for by in (1, gains)]
    # The level isn't the same: it is taken from the mean of the channels, and then from the steps.
    np.testing.assert_allclose(of_steps[1].lab(wrong), of_steps[0].lab(right), atol=0.2)
    assert np.abs(gray_card_correction(wrong[2]).lab(wrong) - true).max() > 0.5


def test_lab_and_linear_agree_for_any_shape() -> None:
    correction = gray_card_correction(np.tile(CARD, (50, 1)))
    photo = np.random.default_rng(1).uniform(0, 0.5, (4, 5, 3)).astype(np.float32)
    np.testing.assert_allclose(lab_from_linear(correction.linear(photo)), correction.lab(photo), atol=1e-3)
    assert correction.lab(photo).shape == (4, 5, 3)


def test_no_reference_keeps_the_photo_and_says_so() -> None:
    kept = no_correction()
    np.testing.assert_array_equal(kept.linear(CARD), CARD)
    assert kept.systematic > 1.5 * gray_card_correction(CARD).systematic
    # A card in the photo never makes a claim less sure, near or far.
    for apart in (0, 10, 40):
        for with_card in (gray_card_correction(CARD), gray_card_correction(CARD, raw=True)):
            assert kept.difference.radius(apart) > with_card.difference.radius(apart)
    assert "no neutral reference" in kept.steps[0]


def test_a_correction_can_be_pickled_for_caches() -> None:
    correction = pickle.loads(pickle.dumps(gray_card_correction(CARD)))
    assert correction.lab(CARD) == pytest.approx([49.4961, 0, 0], abs=1e-3)


@pytest.mark.parametrize("value", [0, -0.1, 1.2, float("nan"), Lab(50, 20, 5)])
def test_impossible_cards_are_refused(value: float | Lab) -> None:
    with pytest.raises(BadInput):
        neutral_linear(value)


@pytest.mark.parametrize("card", [[0, 0.1, 0.1], [np.nan, 0.1, 0.1]])
def test_a_black_card_is_refused(card: list[float]) -> None:
    with pytest.raises(CardUnusable):
        gray_card_correction(np.array(card))
