"""The three-step card: found in any order and turning, and its tone curve undone."""

import itertools

import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.color.space import lab_from_linear, linear_from_encoded
from colormatch.errors import BadInput, CardNotFound, CardUnusable
from colormatch.records import BoolArray, FloatArray
from colormatch.reference.correction import gray_card_correction
from colormatch.reference.three_step import THREE_STEPS, check_steps, find_steps, three_step_correction
from colormatch.reference.tone import fit_tone, s_curve, undo_s_curve
from tests.scenes import camera as phone
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.scene import Scene, Thing, rectangle
from tests.scenes.surface import plain

WOODS = np.array([[0.42, 0.28, 0.16], [0.25, 0.14, 0.07], [0.6, 0.45, 0.3]])


def bent(linear_rgb: FloatArray, strength: float, gains: FloatArray) -> FloatArray:
    """As a phone of the simulator saves it."""
    return linear_from_encoded(phone.s_curve(phone.encode_srgb(linear_rgb * gains), strength))


@pytest.mark.parametrize("strength", [-0.2, 0, 0.15, 0.3])
def test_an_s_curve_and_a_cast_are_taken_back(strength: float) -> None:
    gains = np.array([0.9, 0.8, 0.6])
    card = bent(np.repeat(np.array(THREE_STEPS)[:, None], 3, 1), strength, gains)
    off = delta_e(three_step_correction(card).lab(bent(WOODS, strength, gains)), lab_from_linear(WOODS))
    assert off.max() < 0.4
    one_step = delta_e(gray_card_correction(card[1]).lab(bent(WOODS, strength, gains)), lab_from_linear(WOODS))
    assert strength == 0 or off.max() < one_step.max() / 3


def test_the_curve_is_inverted_and_stays_monotone() -> None:
    light = np.linspace(0, 1, 200)[:, None].repeat(3, 1)
    for strength in (-0.45, 0.0, 0.45):
        there = linear_from_encoded(s_curve(phone.encode_srgb(light), strength))
        np.testing.assert_allclose(undo_s_curve(there, strength), light, atol=2e-4)
    noisy = np.array([[0.8, 0.7, 0.6], [0.2, 0.16, 0.11], [0.012, 0.02, 0.03]])
    curve = fit_tone(noisy, np.repeat(np.array(THREE_STEPS)[:, None], 3, 1))
    assert np.all(np.diff(curve(light), axis=0) >= 0)


def test_a_clipped_white_step_is_left_out_and_said() -> None:
    # Bent before clipping: gray and black still tell gains, and the strength is then taken as small.
    card = np.clip(np.repeat(np.array(THREE_STEPS)[:, None], 3, 1) * np.array([1.3, 1.2, 1.1]), 0, 1)
    correction = three_step_correction(card)
    assert [flag.code for flag in correction.flags] == ["white-clipped"]
    assert delta_e(correction.lab(WOODS * [1.3, 1.2, 1.1]), lab_from_linear(WOODS)).max() < 0.5
    assert three_step_correction(card * 0.7).flags == ()


@pytest.mark.parametrize("card", [np.ones((3, 3)), np.full((3, 3), 0.2), np.array([[1.0] * 3, [1.0] * 3, [0.1] * 3])])
def test_steps_that_tell_nothing_are_refused(card: FloatArray) -> None:
    with pytest.raises(CardUnusable):
        three_step_correction(card)


@pytest.mark.parametrize("steps", [(0.18, 0.89, 0.035), (1.2, 0.18, 0.03), (0.9, 0.18, 0), (0.9, 0.18)])
def test_impossible_reflectances_are_refused(steps: tuple[float, ...]) -> None:
    with pytest.raises(BadInput):
        check_steps(steps)


def photographed_card(order: tuple[int, ...], angle: float, rng: np.random.Generator) -> tuple[FloatArray, BoolArray]:
    """Linear RGB of the frame, and the pixels of the card in it."""
    values = tuple(THREE_STEPS[i] for i in order)
    frame = rectangle((150, 150), (300, 300))
    quad = rectangle((150, 150), (210, 80), angle)
    card = Thing("card", "three-step card", things.three_step_card(steps=values), quad)
    scene = Scene(300, 300, (Thing("bench", "bench", plain(things.FIBERBOARD), frame), card))
    photo = scene.photograph(Lighting(slope=(0.08, 0.05)), Camera(s_curve=0.2), rng).encoded_rgb / 255
    outline = Scene(300, 300, (Thing("bench", "bench", plain(things.FIBERBOARD * 0), frame),
                               Thing("card", "gray card", plain(np.ones(81)), quad)))  # fmt: skip
    return linear_from_encoded(photo), outline.seen_by(np.eye(81)[:, :1])[..., 0] > 0.5


@pytest.mark.parametrize(
    ("order", "angle"), list(zip(itertools.permutations(range(3)), range(0, 360, 60), strict=True))
)
def test_steps_are_told_apart_in_any_order_and_turning(order: tuple[int, ...], angle: float) -> None:
    linear_rgb, inside = photographed_card(order, angle + 7, np.random.default_rng(4))
    steps = find_steps(linear_rgb, inside)
    middle = (np.arange(3) - 1) * 70
    turn = np.radians(angle + 7)
    for step, position in zip(steps, np.argsort(order), strict=True):
        y, x = np.argwhere(step).mean(0)
        expected = 150 + middle[position] * np.array([np.cos(turn), np.sin(turn)])
        assert (x, y) == pytest.approx(expected, abs=6)
        assert step.sum() > 0.5 * inside.sum() / 3


def test_no_three_steps_in_the_region() -> None:
    rng = np.random.default_rng(0)
    plain_area = rng.normal(0.2, 0.01, (60, 90, 1)).repeat(3, 2)
    two = plain_area.copy()
    two[:, 45:] *= 3
    for area in (plain_area, two, np.full((9, 9, 3), 0.2)):
        with pytest.raises(CardNotFound):
            find_steps(area, np.ones(area.shape[:2], bool))
