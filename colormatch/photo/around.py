"""What lies around the card: whether the card seems to lie in the light of the wood.

A single gray card can't tell that it lies in a shadow. What it lies on can: where that looks like the marked wood but
is much darker or lighter, either it is another piece, or the light differs. The program asks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from colormatch.photo.read import DecodedPhoto
from colormatch.records import BoolArray, Box, Flag, FloatArray, Region, RegionKind

#: Rim around the card that is looked at, as multiples of its size: outside its own shadow and border, near its light.
_INNER, _OUTER = 1.2, 1.8
#: Sectors into which the rim is cut, so that a hand or an edge in one of them decides nothing.
_SECTORS = 12
#: Pixels of a sector below which it says nothing. Our choice.
_FEWEST = 20
#: Pixels of the rim's box that are read, about.
_READ = 40_000
#: Difference in the logarithms of red over green and blue over green up to which two surfaces may be one wood: shade is
#: bluer than sun by about so much. From the second figure on, two kinds of light are asked about; places of one board
#: differ by 0.03 (sim). Our choice.
_SAME_HUE, _OTHER_HUE = 0.35, 0.15
#: Light on the wood over light on the rim, or its inverse, from which the program asks. Boards of one piece differ by
#: less (10 to 20 %); the soft shadow that takes a third makes 1.4. Our choice, see ``tests/scenes/study_light.py``.
_OTHER_LIGHT = 1.3
#: Share of the rim that must agree.
_AGREEING = 0.5


def around_card(photo: DecodedPhoto, card: Region, regions: Sequence[Region]) -> tuple[Flag, ...]:
    """A doubt where the card seems to lie in another light than the sound wood.

    Parameters
    ----------
    photo : DecodedPhoto
    card : Region
    regions : sequence of Region
        All that is marked; the sound wood is compared, the rest is kept out of the rim.
    """
    sound = [region for region in regions if region.kind is RegionKind.SOUND]
    if not sound:
        return ()
    wood = np.median([_color(part.linear_rgb[part.inside]) for part in map(photo.part, sound)], axis=0)
    sectors = _rim(photo, card, regions)
    if not len(sectors) or wood.min() <= 0:
        return ()
    ratio = np.log(wood) - np.log(sectors)
    hue = np.abs(ratio[:, [0, 2]] - ratio[:, [1]]).max(axis=1)
    alike = hue < _SAME_HUE
    if alike.sum() < _AGREEING * _SECTORS:
        return ()
    light, hue = ratio[alike].mean(axis=1), hue[alike]
    times = math.exp(float(np.median(light)))
    agree = np.abs(light - math.log(times)) < math.log(_OTHER_LIGHT)
    if agree.mean() < _AGREEING:
        return ()
    if not 1 / _OTHER_LIGHT < times < _OTHER_LIGHT:
        than, where = ("lighter", "the card") if times > 1 else ("darker", "the wood")
        text = (
            f"The marked wood is {max(times, 1 / times):.1f} times {than} than what the card lies on. If that is the "
            f"same wood, {where} lies in a shadow and the colors are wrong: lay the card beside the repair and "
            "photograph again."
        )
        return (Flag("wood-other-light", text, round(times, 2)),)
    shift = float(np.median(hue))
    if shift > _OTHER_HUE:
        text = (
            "The marked wood has another hue than what the card lies on. If that is the same wood, two kinds of light "
            "fall on the photo: switch one off, or lay the card beside the repair, and photograph again."
        )
        return (Flag("light-mixed", text, round(shift, 3)),)
    return ()


def _rim(photo: DecodedPhoto, card: Region, regions: Sequence[Region]) -> FloatArray:
    """(n, 3) linear light of the rim's sectors that lie in the photo and hold nothing else that is marked."""
    inner, outer = _grown(card, _INNER), _grown(card, _OUTER)
    width, height = photo.facts.width, photo.facts.height
    box = outer.box(width, height)
    every = max(1, math.ceil(math.sqrt(box.w * box.h / _READ)))
    linear_rgb = photo.linear(box, every)
    rim = outer.mask(width, height, every)[1]
    for region in (inner, *regions):
        rim &= ~_within(region, box, width, height, every)
    y, x = np.nonzero(rim)
    middle = (np.mean(card.points, axis=0) * (width, height) - (box.x, box.y)) / every
    sector = ((np.arctan2(y - middle[1], x - middle[0]) / (2 * math.pi) + 0.5) * _SECTORS).astype(int) % _SECTORS
    colors = [
        _color(linear_rgb[y[sector == i], x[sector == i]]) for i in range(_SECTORS) if (sector == i).sum() >= _FEWEST
    ]
    return np.array([color for color in colors if color.min() > 0]).reshape(-1, 3)


def _color(linear_rgb: FloatArray) -> FloatArray:
    color: FloatArray = np.median(linear_rgb, axis=0)
    return color


def _grown(region: Region, times: float) -> Region:
    """A region made larger about its middle, as far as the photo reaches."""
    corners = np.asarray(region.points)
    middle = corners.mean(axis=0)
    grown = np.clip(middle + times * (corners - middle), 0, 1)
    return replace(region, points=tuple((float(x), float(y)) for x, y in grown))


def _within(region: Region, box: Box, width: int, height: int, every: int) -> BoolArray:
    """Which of a box' pixels lie in a region."""
    own, inside = region.mask(width, height)
    whole = np.zeros((box.h, box.w), dtype=bool)
    left, top = max(own.x, box.x), max(own.y, box.y)
    right, bottom = min(own.x + own.w, box.x + box.w), min(own.y + own.h, box.y + box.h)
    if left < right and top < bottom:
        whole[top - box.y : bottom - box.y, left - box.x : right - box.x] = inside[
            top - own.y : bottom - own.y, left - own.x : right - own.x
        ]
    picked: BoolArray = whole[::every, ::every]
    return picked
