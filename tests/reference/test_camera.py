"""A camera learned once, on six real photographs of a chart by one camera; see `tests.published`."""

from dataclasses import replace

import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.color.space import lab_from_linear, linear_from_lab
from colormatch.errors import BadInput
from colormatch.records import FloatArray, Lab
from colormatch.reference.camera import LearnedCamera, Shot, cast_of, fit_steps, learn
from colormatch.reference.chart_values import SINCE_2014
from colormatch.reference.correction import Correction, gray_card_correction
from colormatch.reference.three_step import THREE_STEPS
from tests.published.test_chart_photographs import NEUTRAL_5, PHOTOGRAPHS, linear

NAMES = sorted(PHOTOGRAPHS)
#: Patches that are tried: skin, sky, foliage, a blue, a yellow, a light and a dark gray.
TRIED = [0, 1, 2, 3, 12, 15, 19, 22]


def gray(name: str) -> Correction:
    return gray_card_correction(linear(name)[NEUTRAL_5], Lab(*SINCE_2014[NEUTRAL_5]))


def shot(name: str) -> Shot:
    seen = linear(name)
    return Shot(gray(name).linear(seen), SINCE_2014, cast_of(seen[NEUTRAL_5]))


def errors(name: str, others: list[str]) -> FloatArray:
    """ΔE00 of patches of a photo by its gray; neither it nor the patch was learned from."""
    camera = learn([shot(other) for other in others[:1]])
    off = []
    for patch in TRIED:
        taught = [shot(other).without(SINCE_2014[patch]) for other in others]
        read = replace(camera, steps=fit_steps(taught, False)).after(gray(name), linear(name)[NEUTRAL_5])
        off.append(float(delta_e(read.lab(linear(name)[[patch]])[0], SINCE_2014[patch])))
    return np.array(off)


@pytest.fixture(scope="module")
def camera() -> LearnedCamera:
    return learn([shot(NAMES[0]), shot(NAMES[3])])


def test_a_learned_camera_reads_photos_and_patches_it_never_saw_better_than_one_gray() -> None:
    one = np.concatenate([delta_e(gray(name).lab(linear(name)), SINCE_2014)[TRIED] for name in NAMES])
    by_others = np.concatenate([errors(name, [other for other in NAMES if other != name]) for name in NAMES])
    by_one = np.concatenate([errors(name, [NAMES[i - 1]]) for i, name in enumerate(NAMES)])
    assert by_others.mean() < 0.7 * one.mean()
    assert by_one.mean() < 0.8 * one.mean()


def test_it_knows_how_far_it_is_off(camera: LearnedCamera) -> None:
    assert camera.helps
    assert camera.photos == 2
    assert camera.expected < camera.one_gray
    off = np.concatenate([errors(name, [NAMES[0], NAMES[3]]) for name in NAMES if name not in (NAMES[0], NAMES[3])])
    assert 0.8 <= np.mean(off <= camera.accuracy.absolute) <= 1


def test_the_gray_card_keeps_its_color(camera: LearnedCamera) -> None:
    seen = linear(NAMES[1])[NEUTRAL_5]
    read = camera.after(gray(NAMES[1]), seen)
    np.testing.assert_allclose(read.lab(seen[None])[0], SINCE_2014[NEUTRAL_5], atol=1e-6)
    assert [step.split(" learned")[0] for step in read.steps[1:-1]] == ["tone curve", "colors"]


def test_a_camera_that_errs_nowhere_has_nothing_to_teach() -> None:
    """Linear light in the published colors: one gray leaves nothing."""
    true = linear_from_lab(SINCE_2014)
    perfect = learn([Shot(true, SINCE_2014, np.zeros(2))], raw=True)
    assert not perfect.helps
    assert [words for _, words in perfect.steps] == ["colors"]


def test_three_steps_teach_the_tone_alone() -> None:
    grays = np.repeat(np.array(THREE_STEPS)[:, None], 3, axis=1)
    bent = 0.18 * (grays / 0.18) ** 1.3
    taught = learn([Shot(bent, lab_from_linear(grays), np.zeros(2))])
    assert [words for _, words in taught.steps] == ["tone curve"]
    white = taught.after(gray_card_correction(np.full(3, 0.18)), np.full(3, 0.18)).linear(bent[:1])[0]
    # Three quarters of what white is off, by design.
    np.testing.assert_allclose(np.log(white / 0.89), 0.25 * np.log(bent[0] / 0.89), atol=1e-3)
    with pytest.raises(BadInput):
        learn([Shot(bent, lab_from_linear(grays), np.zeros(2))], raw=True)
    with pytest.raises(BadInput):
        learn([])


def test_the_order_of_the_photos_changes_nothing() -> None:
    patch = shot(NAMES[2]).linear_rgb[:1]
    one, other = (fit_steps([shot(a), shot(b)], False) for a, b in ((NAMES[0], NAMES[1]), (NAMES[1], NAMES[0])))
    for (step, _), (same, _) in zip(one, other, strict=True):
        np.testing.assert_allclose(step(patch), same(patch), rtol=1e-9)


def test_a_gray_of_another_cast_speaks_for_another_light(camera: LearnedCamera) -> None:
    seen = linear(NAMES[2])[NEUTRAL_5]
    assert camera.fits(seen)
    assert not camera.fits(seen * np.array([0.6, 1, 1.4]))
