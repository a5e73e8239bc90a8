"""A camera that changes the tones of a photo place by place, told from neutral places."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from colormatch.image.photo import DecodedPhoto
from colormatch.records import Box, Region, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.local_tones import follows, tone_flags
from colormatch.reference.neutral import find_neutral
from tests.sampling.test_sample import photo_of
from tests.studies.tones import GROUNDS, told

WIDTH, HEIGHT = 400, 300
CARD = Box(140, 100, 120, 90)
MORE = (Box(20, 20, 60, 45), Box(320, 230, 60, 45))
GRAY = 0.18


def regions(*boxes: Box) -> list[Region]:
    inner = [Box(box.x + 3, box.y + 3, box.w - 6, box.h - 6) for box in boxes]
    return [Region.from_box(RegionKind.WHITE, box, WIDTH, HEIGHT) for box in inner]


def photo(ground: float, share: float = 0.0, light: np.ndarray | float = 1.0) -> DecodedPhoto:
    """Three gray cards on a ground of one reflectance, by a camera that takes a share of the coarse contrast."""
    linear = np.full((HEIGHT, WIDTH), ground)
    for box in (CARD, *MORE):
        linear[box.y : box.y + box.h, box.x : box.x + box.w] = GRAY
    log = np.log(linear * light)
    base = cv2.GaussianBlur(log, (0, 0), HEIGHT / 12)
    noisy = log - share * (base - base.mean()) + np.random.default_rng(1).normal(0, 0.01, log.shape)
    return photo_of(np.exp(noisy)[..., None] * np.ones(3))


@pytest.mark.parametrize("ground", [0.6, 0.04])
@pytest.mark.parametrize("boxes", [(CARD,), (CARD, *MORE)])
def test_a_card_that_follows_its_surroundings_is_told(ground: float, boxes: tuple[Box, ...]) -> None:
    places = regions(*boxes)
    share, _ = follows(photo(ground, 0.3), places, [0] * len(places))
    # Where a share s of the coarse contrast is gone, the card's change relates to 1 - s; both are blurred once more.
    assert share == pytest.approx(0.3 / 0.7, rel=0.2)
    assert [flag.code for flag in tone_flags(photo(ground, 0.3), places, [0] * len(places))] == ["local-tones"]
    assert tone_flags(photo(ground), places, [0] * len(places)) == ()


@pytest.mark.parametrize("ground", [0.6, 0.04])
@pytest.mark.parametrize("blur", [1 / 24, 1 / 12, 1 / 6])
def test_how_far_a_card_follows_is_told_exactly_for_each_blur(ground: float, blur: float) -> None:
    """A card that loses 0.3 of what lies around it, blurred by SciPy, in a photo that is its own surroundings."""
    is_card = np.zeros((HEIGHT, WIDTH), bool)
    is_card[CARD.y : CARD.y + CARD.h, CARD.x : CARD.x + CARD.w] = True
    log = np.where(is_card, np.log(GRAY), np.log(ground))
    for _ in range(30):  # a share below 1 of a blur: it settles
        log[is_card] = np.log(GRAY) - 0.3 * gaussian_filter(log, blur * HEIGHT, mode="reflect")[is_card]
    photo = photo_of(np.exp(log - log.max())[..., None] * np.ones(3))
    assert follows(photo, regions(CARD), [0]).share == pytest.approx(0.3, rel=0.02)


def test_what_is_as_light_as_the_card_tells_nothing() -> None:
    assert follows(photo(GRAY, 0.3), regions(CARD), [0]).doubt > 0.5
    assert tone_flags(photo(GRAY, 0.3), regions(CARD), [0]) == ()


def test_uneven_light_is_no_local_tone_mapping() -> None:
    x, y = np.meshgrid(np.linspace(-1, 1, WIDTH), np.linspace(-1, 1, HEIGHT))
    for light in (np.exp(0.2 * x), 1 - 0.15 * (x * x + y * y), 1 - 0.5 * np.exp(-((x - 0.1) ** 2 + y**2) / 0.1)):
        for places in (regions(CARD), regions(CARD, *MORE)):
            assert tone_flags(photo(0.6, 0.0, light), places, [0] * len(places)) == ()


def test_a_gray_card_is_looked_at_by_itself_and_with_white_places() -> None:
    for white in ([], regions(*MORE)):
        light = find_neutral(photo(0.6, 0.3), CardChoice(region=regions(CARD)[0]), white).light
        assert "local-tones" in {flag.code for flag in light.flags}
        light = find_neutral(photo(0.6), CardChoice(region=regions(CARD)[0]), white).light
        assert "local-tones" not in {flag.code for flag in light.flags}


def test_without_a_neutral_place_nothing_is_said() -> None:
    assert tone_flags(photo(0.6, 0.3), [], []) == ()


@pytest.mark.slow
@pytest.mark.parametrize("ground", ["white bench", "dark bench"])
def test_simulated_phones(ground: str) -> None:
    results = [told(GROUNDS[ground], (3, seed), (0.0, 0.4)) for seed in range(3)]
    assert not any(any(flags) for (_, flags), _ in results)
    # One card may lie too far from what it lies on, for a camera that looks near; with more cards none is missed.
    assert all(all(with_more) for _, (_, (_, *with_more)) in results)


def test_a_mirrored_photo_tells_the_same() -> None:
    """By symmetry: in a light that falls from one side, whichever way around the picture is taken."""
    x, y = np.meshgrid(np.linspace(-1, 1, WIDTH), np.linspace(-1, 1, HEIGHT))
    linear = np.full((HEIGHT, WIDTH), 0.6)
    linear[CARD.y : CARD.y + CARD.h, CARD.x : CARD.x + CARD.w] = GRAY
    log = np.log(linear) + 0.4 * x - 0.3 * x * x - 0.2 * y * y
    tones = np.exp(log - 0.3 * cv2.GaussianBlur(log, (0, 0), HEIGHT / 12) - 0.3)[..., None] * np.ones(3)
    other = Box(WIDTH - CARD.x - CARD.w, CARD.y, CARD.w, CARD.h)
    here, there = (follows(photo_of(one), regions(card), [0]) for one, card in ((tones, CARD), (tones[:, ::-1], other)))
    assert there == pytest.approx(here, rel=0.02)
