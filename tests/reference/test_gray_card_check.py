"""What makes a gray card unusable, and what raises doubts. Each photo differs from a good one in one way."""

import io

import numpy as np
import pytest
from PIL import Image

from colormatch.errors import CardUnusable
from colormatch.image.photo import open_photo
from colormatch.records import Box, Region, RegionKind
from colormatch.reference.gray_card_check import check_card

WIDTH, HEIGHT = 600, 400
CARD = Box(200, 100, 200, 150)
#: Linear light: a card of 18 % and a middle wood, in the same light.
GRAY, WOOD = (0.18, 0.18, 0.18), (0.30, 0.18, 0.09)


def encode(linear):
    """IEC 61966-2-1, written out here so that the product's converter isn't its own judge."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)


def flags(card=GRAY, wood=WOOD, light=1.0, box=CARD, reflectance=0.18, noise=0.004):
    """Flags of a photo whose card has that linear color times that light, (h, w) or a number."""
    linear = np.empty((HEIGHT, WIDTH, 3))
    linear[:] = wood
    x, y, w, h = CARD
    linear[y : y + h, x : x + w] = np.asarray(card) * np.broadcast_to(light, (h, w))[..., None]
    encoded = encode(linear) + np.random.default_rng(1).normal(0, noise, linear.shape)
    file = io.BytesIO()
    Image.fromarray((np.clip(encoded, 0, 1) * 255 + 0.5).astype(np.uint8)).save(file, "PNG")
    region = Region.from_box(RegionKind.CARD, box, WIDTH, HEIGHT)
    return {flag.code: flag for flag in check_card(open_photo(file.getvalue()), region, reflectance)}


def across(low, high):
    """Light that changes evenly (in its logarithm) from left to right over the card."""
    return np.exp(np.linspace(np.log(low), np.log(high), CARD.w))[None]


def test_a_good_card_raises_no_doubt():
    assert flags() == {}


@pytest.mark.parametrize("more", [0.10, 0.25, 0.6])
def test_the_light_across_the_card_is_measured(more):
    flag = flags(light=across(1, 1 + more))["card-uneven"]
    assert flag.value == pytest.approx(1 + more, rel=0.02)
    assert f"{more:.0%}"[:-2] in flag.text


def test_three_percent_of_unevenness_is_no_doubt():
    assert flags(light=across(1, 1.03)) == {}


def test_twice_the_light_at_one_end_is_refused():
    with pytest.raises(CardUnusable, match="times the light"):
        flags(light=across(1, 2.4))


@pytest.mark.parametrize(("share", "refused"), [(0.005, False), (0.03, True)])
def test_clipping_is_refused_above_one_percent_of_the_pixels(share, refused):
    light = np.ones((CARD.h, CARD.w))
    light[: round(share * CARD.h * CARD.w / 40), :40] = 20
    if not refused:
        assert flags(light=light, noise=0.001) == {}
        return
    with pytest.raises(CardUnusable, match="too bright") as caught:
        flags(light=light)
    assert caught.value.facts["clipped"] == pytest.approx(share, abs=0.003)


def test_one_clipped_channel_is_enough():
    with pytest.raises(CardUnusable, match="too bright"):
        flags(card=(0.99, 0.6, 0.5))


def test_dark_is_flagged_and_black_refused():
    assert "card-dark" in flags(light=0.12, wood=np.multiply(WOOD, 0.12))
    with pytest.raises(CardUnusable, match="nearly black"):
        flags(light=0.03, wood=np.multiply(WOOD, 0.03))


def test_few_pixels_are_flagged_and_fewer_refused():
    assert flags(box=Box(220, 120, 40, 40))["card-small"].value == 1600
    with pytest.raises(CardUnusable, match="only 100 pixels"):
        flags(box=Box(220, 120, 10, 10))


def stripes(depth, period=9):
    """A weave-like pattern, standard deviation of its logarithm about `depth`."""
    x = np.arange(CARD.w) + np.random.default_rng(2).normal(0, 0.3, CARD.w)
    return np.exp(depth * np.sqrt(2) * np.sin(2 * np.pi * x / period))[None]


def test_texture_is_flagged_and_wood_refused():
    assert "card-textured" in flags(light=stripes(0.05))
    assert "card-textured" not in flags(light=stripes(0.01))
    with pytest.raises(CardUnusable, match="isn't plain"):
        flags(light=stripes(0.2))


def test_noise_is_not_taken_for_texture():
    assert flags(noise=0.02) == {}


def test_a_shadow_over_part_of_the_card_is_flagged():
    light = np.ones((CARD.h, CARD.w))
    light[40:110, 60:140] = 0.75
    assert "card-shadow" in flags(light=light)


@pytest.mark.parametrize("wood", [WOOD, (0.2, 0.2, 0.2)], ids=["on wood", "on a gray bench"])
@pytest.mark.parametrize("cast", [(2.2, 1.0, 0.28), (0.45, 1.0, 3.2)], ids=["warm", "blue"])
def test_a_gray_in_a_light_that_colors_the_whole_photo_is_still_gray(cast, wood):
    """A bulb under a daylight balance, and the other way around."""
    told = flags(card=np.array(GRAY) * cast, wood=np.array(wood) * cast)
    assert "card-cast" in told
    assert told["card-cast"].value > 1.1


def test_a_cast_is_flagged_and_a_color_refused():
    assert "card-cast" in flags(card=(0.32, 0.18, 0.10))
    with pytest.raises(CardUnusable, match="isn't gray"):
        flags(card=(0.40, 0.12, 0.05))


@pytest.mark.parametrize(("light", "word"), [(0.15, "shade"), (4.5, "brighter light")])
def test_a_card_in_other_light_than_the_wood_is_flagged(light, word):
    wood = (0.38, 0.28, 0.16) if light < 1 else (0.12, 0.08, 0.04)
    assert word in flags(light=light, wood=wood)["card-other-light"].text


def test_a_lighter_card_may_be_brighter():
    wood = (0.12, 0.09, 0.05)
    assert "card-other-light" in flags(card=(0.7, 0.7, 0.7), wood=wood, reflectance=0.18)
    assert "card-other-light" not in flags(card=(0.7, 0.7, 0.7), wood=wood, reflectance=0.7)


def test_the_wood_marked_as_the_card_is_not_taken_silently():
    rng = np.random.default_rng(3)
    grain = np.exp(0.15 * np.repeat(rng.normal(size=(1, CARD.w // 8)), 8, axis=1))
    with pytest.raises(CardUnusable):
        flags(card=WOOD, light=grain)
