"""Two kinds of light, told from patches of one wood."""

from __future__ import annotations

import numpy as np
import pytest

from colormatch.image.photo import DecodedPhoto
from colormatch.records import Box, Region, RegionKind
from colormatch.sampling.mixed_light import across, hue_change
from tests.sampling.test_sample import FIELD, HEIGHT, LINE, WIDTH, photo_of, streaks
from tests.studies.lamps import lamps

#: Three patches and a card at the left, as somebody marks them.
PATCHES = [
    Region.from_box(RegionKind.SOUND, Box(*box), WIDTH, HEIGHT)
    for box in ((120, 20, 80, 70), (210, 200, 80, 70), (310, 60, 80, 70))
]
CARD = Region.from_box(RegionKind.CARD, Box(10, 100, 60, 60), WIDTH, HEIGHT)
ALONG = np.linspace(0, 1, WIDTH)[None, :, None]


def codes(photo: DecodedPhoto, patches: list[Region] = PATCHES) -> list[str]:
    return [flag.code for flag in across(photo, CARD, patches)]


def test_one_light_is_not_asked_about() -> None:
    assert codes(photo_of(streaks())) == []
    # A slope of the light leaves the hue as it is.
    assert codes(photo_of(streaks() * (1 - 0.4 * ALONG))) == []


def test_wood_that_turns_warmer_towards_one_side_is_asked_about() -> None:
    bulb = photo_of(streaks() * (1 + ALONG * [0.2, 0.0, -0.2]))
    assert codes(bulb) == ["light-mixed"]
    change = hue_change(bulb, CARD, PATCHES)
    assert change is not None
    # log((1 - 0.2 x) / (1 + 0.2 x)) between the middles of the outermost quarters, at 140 and 370 of 400.
    assert change.over == pytest.approx(np.log(1 + 0.2 * 0.925) - np.log(1 - 0.2 * 0.925) - 0.14, abs=0.02)


def test_darker_wood_of_another_hue_is_still_one_wood() -> None:
    """More grain lines towards one side: their hue differs from the field's, and they are darker by as much."""
    share = np.broadcast_to(0.1 + 0.8 * ALONG, (HEIGHT, WIDTH, 1))
    lines = np.random.default_rng(1).uniform(size=(HEIGHT, WIDTH, 1)) < share
    assert np.log(FIELD[2] / FIELD[0]) - np.log(LINE[2] / LINE[0]) > 0.25
    assert codes(photo_of(np.where(lines, LINE, FIELD))) == []


def test_a_patch_of_another_hue_is_another_wood() -> None:
    """The last is warmer, but within none of them does the hue change."""
    odd = streaks()
    odd[:, 300:] *= [1.15, 1, 0.85]
    assert codes(photo_of(odd)) == []


def test_a_patch_that_drifts_by_itself_is_no_light() -> None:
    """Along the line that the patches make as a whole, but the outer ones keep their hue all over."""
    ramp = np.clip((ALONG - 0.525) / 0.2, 0, 1)
    assert codes(photo_of(streaks() * (1 + ramp * [0.2, 0.0, -0.2]))) == []


def noisy(linear_rgb: np.ndarray, seed: int) -> DecodedPhoto:
    return photo_of(linear_rgb * np.random.default_rng(seed).normal(1, 0.35, linear_rgb.shape))


def small(side: int, *corners: tuple[int, int]) -> list[Region]:
    return [Region.from_box(RegionKind.SOUND, Box(x, y, side, side), WIDTH, HEIGHT) for x, y in corners]


def test_noise_of_a_small_even_patch_is_no_light() -> None:
    even, patch = np.broadcast_to(0.1 * FIELD, (HEIGHT, WIDTH, 3)), small(20, (300, 150))
    photos = [noisy(even, seed) for seed in range(40)]
    assert sum(bool(codes(photo, patch)) for photo in photos) <= 1
    # By its size alone it would be one.
    changes = [hue_change(photo, CARD, patch) for photo in photos]
    assert sum(change is not None and change.over > 0.08 and change.reach > 0.2 for change in changes) > 4


def test_a_bulb_is_told_through_the_same_noise() -> None:
    warm = 0.3 * FIELD * (1 + ALONG * [0.35, 0.0, -0.35]) * np.ones((HEIGHT, 1, 1))
    patches = small(60, (130, 20), (230, 200), (330, 90))
    assert sum(codes(noisy(warm, seed), patches) == ["light-mixed"] for seed in range(20)) >= 18


def test_too_little_marked_tells_nothing() -> None:
    assert hue_change(photo_of(streaks()), CARD, []) is None
    tiny = Region.from_box(RegionKind.SOUND, Box(200, 100, 6, 6), WIDTH, HEIGHT)
    assert hue_change(photo_of(streaks()), CARD, [tiny]) is None


@pytest.mark.slow
@pytest.mark.parametrize("ground", ["wood", "concrete", "fiberboard"])
def test_a_bulb_beside_daylight_in_simulated_photos(ground: str) -> None:
    results = [lamps(ground, "varied", (5, photo), ("one light", "daylight, bulb 60 %")) for photo in range(3)]
    told = np.array([[flag for _, flag, _ in result] for result in results])
    assert not told[:, 0].any()
    assert told[:, 1].all()
