"""What lies around the card: whether the card seems to lie in the light of the wood.

A single gray card can't tell that it lies in a shadow. What it lies on can: where that looks like the marked wood but
is much darker or lighter, and nothing between them changes its hue at an edge, as another piece does, the light
differs; where it gets lighter all around, farther away from the card, the card lies in a shadow of its own, on whatever
it lies. The program asks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from colormatch.color.space import RGB_TO_XYZ, linear_from_encoded
from colormatch.image.photo import DecodedPhoto
from colormatch.records import Box, Flag, FlagCode, FloatArray, Region, RegionKind
from colormatch.reference.light import two_lamps
from colormatch.reference.tone import LEAST_LIGHT

#: Linear light of what lies around a region, by sector.
Rim = dict[int, FloatArray]
#: Rim around the card that is looked at, as multiples of its size: outside its own shadow and border, near its light.
_NEAR = (1.2, 1.8)
#: Sectors into which the rim is cut, so that a hand or an edge in one of them decides nothing.
_SECTORS = 12
#: Pixels of a sector below which it says nothing. Our choice.
_FEWEST = 20
#: Pixels that are read of a rim's box or of a patch, about.
_READ = 15_000
#: Difference in the logarithms of red over green and blue over green up to which two surfaces may be one wood: shade is
#: bluer than sun by about so much. From the second figure on, two kinds of light are asked about; places of one board
#: differ by 0.03 (sim). Our choice.
_SAME_HUE, _OTHER_HUE = 0.35, 0.15
#: Light on the wood over light on the rim, or its inverse, from which the program asks. Boards of one piece differ by
#: less (10 to 20 %); the soft shadow that takes a third makes 1.4. Our choice, see ``tests/studies/light.py``.
_OTHER_LIGHT = 1.3
#: The way from the card to a patch: longest side of the view in which it is looked at, and half its breadth, pixels.
_WAY_SIDE, _WAY_HALF = 320, 6
#: Where another piece begins: the part of the way within which its edge lies, on either side of it; and the difference
#: in hue, as above, from which it is one. Within a board, shadows with a sharp edge included, it stays below 0.07; from
#: fiberboard to four in five of the woods that are darker or lighter it is more (``tests/studies/ordinary.py``).
_EDGE_WITHIN, _EDGE = 0.06, 0.08
#: Percentiles of log luminance between which a surface spreads: nearly all of it, without specks.
_SPREAD = (5, 95)
#: Or the light changes there at an edge, by so much of all that it changes, and from one side to the other the grain's
#: spread of log luminance by so much of a factor, as it does within 3 boards of 48 (the same study).
_LIGHT_EDGE, _OTHER_GRAIN = 0.6, 1.4
#: Share of the rim that must agree.
_AGREEING = 0.5
#: Rim farther away, as multiples of the card's size; how much lighter it is than the near one from which a shadow on
#: the card is asked about, and the difference in hue, as above, up to which both are of one thing. Set by
#: ``tests/studies/light.py``.
_FAR = (3.0, 4.5)
_IN_SHADOW, _SAME_THING = 1.25, 0.2


def around_card(photo: DecodedPhoto, card: Region, regions: Sequence[Region]) -> tuple[Flag, ...]:
    """Doubts where the card seems to lie in another light than the sound wood.

    Parameters
    ----------
    photo : DecodedPhoto
    card : Region
    regions : sequence of Region
        All that is marked; the sound wood is compared, the rest is kept out of the rim.

    Returns
    -------
    tuple of Flag
        ``wood-other-light``, ``light-mixed`` or ``card-in-shadow``, at most one.
    """
    near = rim(photo, card, _NEAR, regions)
    return _beside_the_wood(photo, card, near, regions) or _shadow_about(near, rim(photo, card, _FAR, regions))


def _beside_the_wood(photo: DecodedPhoto, card: Region, near: Rim, regions: Sequence[Region]) -> tuple[Flag, ...]:
    """What the card lies on compared with the sound wood."""
    sound = [region for region in regions if region.kind is RegionKind.SOUND]
    if not sound:
        return ()
    on_wood = [some_pixels(photo, region)[0] for region in sound]
    wood = np.median([middle_color(pixels) for pixels in on_wood], axis=0)
    colors = np.array([middle_color(pixels) for pixels in near.values()]).reshape(-1, 3)
    colors = colors[(colors > 0).all(axis=1)]
    if not len(colors) or wood.min() <= 0:
        return ()
    ratio = np.log(wood) - np.log(colors)
    hue = np.abs(ratio[:, [0, 2]] - ratio[:, [1]]).max(axis=1)
    alike = hue < _SAME_HUE
    if alike.sum() < _AGREEING * _SECTORS:
        return ()
    light, hue = ratio[alike].mean(axis=1), hue[alike]
    times = math.exp(float(np.median(light)))
    agree = np.abs(light - math.log(times)) < math.log(_OTHER_LIGHT)
    if agree.mean() < _AGREEING:
        return ()
    other_light, shift = not 1 / _OTHER_LIGHT < times < _OTHER_LIGHT, float(np.median(hue))
    if not other_light and shift < _OTHER_HUE:
        return ()
    edges = np.median([_edges_between(photo, card, region, regions) for region in sound], axis=0)
    if edges[0] > _EDGE or (edges[1] > _LIGHT_EDGE * abs(math.log(times)) and _other_grain(on_wood, [*near.values()])):
        return ()
    if other_light:
        than, where = ("lighter", "the card") if times > 1 else ("darker", "the wood")
        text = (
            f"The marked wood is {max(times, 1 / times):.1f} times {than} than what the card lies on. If that is the "
            f"same wood, {where} lies in a shadow and the colors are wrong: lay the card beside the repair and "
            "photograph again."
        )
        return (Flag(FlagCode.WOOD_OTHER_LIGHT, text, round(times, 2)),)
    text = (
        "The marked wood has another hue than what the card lies on. If that is the same wood, two kinds of light fall "
        "on the photo: switch one off, or lay the card beside the repair, and photograph again."
    )
    return (two_lamps(text, shift),)


def _other_grain(some: Sequence[FloatArray], others: Sequence[FloatArray]) -> bool:
    """Whether pixels of one piece spread otherwise than those of another, as no light makes them."""
    one, other = (max(float(np.median([*map(spread, pieces)])), LEAST_LIGHT) for pieces in (some, others))
    return abs(math.log(one / other)) > math.log(_OTHER_GRAIN)


def _edges_between(photo: DecodedPhoto, card: Region, patch: Region, marked: Sequence[Region]) -> tuple[float, float]:
    """Largest changes of hue and of light within a short part of the way from the card to a patch, natural log.

    What else is marked is left out.
    """
    encoded_rgb = photo.preview(_WAY_SIDE, averaged=False)
    height, width = encoded_rgb.shape[:2]
    start, end = (np.mean(region.points, axis=0) * (width, height) for region in (card, patch))
    length = max(int(np.hypot(*(end - start))), 1)
    along = (end - start) / length
    aside = np.arange(-_WAY_HALF, _WAY_HALF + 1)[:, None] * [-along[1], along[0]]
    x, y = np.moveaxis(start + np.arange(length)[:, None, None] * along + aside, -1, 0).astype(int)
    x, y = np.clip(x, 0, width - 1), np.clip(y, 0, height - 1)
    view = Box(0, 0, width, height)
    kept_out = [card.scaled(_NEAR[0]), *(region for region in marked if region.kind is not RegionKind.SOUND)]
    free = ~np.any([region.within(view, width, height)[y, x].any(axis=1) for region in kept_out], axis=0)
    light = linear_from_encoded(encoded_rgb[y[free], x[free]] / np.float32(255)).mean(axis=1)
    logs = np.log(np.maximum(light, LEAST_LIGHT))
    part = max(round(_EDGE_WITHIN * len(logs)), 1)
    sums = np.cumsum(np.vstack([np.zeros(3), logs]), axis=0)
    means = (sums[part:] - sums[:-part]) / part
    steps = means[part:] - means[:-part]
    hue, light = np.abs(steps[:, [0, 2]] - steps[:, [1]]), np.abs(steps.mean(axis=1))
    return float(hue.max(initial=0)), float(light.max(initial=0))


def _shadow_about(near: Rim, far: Rim) -> tuple[Flag, ...]:
    """What the card lies on compared with itself, farther away."""
    both = [(middle_color(near[sector]), middle_color(far[sector])) for sector in near.keys() & far.keys()]
    steps = np.array([np.log(away / here) for here, away in both if min(here.min(), away.min()) > 0]).reshape(-1, 3)
    hue = np.abs(steps[:, [0, 2]] - steps[:, [1]]).max(axis=1, initial=0)
    lighter = steps.mean(axis=1)
    agreeing = (hue < _SAME_THING) & (lighter > math.log(_IN_SHADOW))
    if agreeing.sum() < _AGREEING * _SECTORS:
        return ()
    times = math.exp(float(np.median(lighter[agreeing])))
    text = (
        f"Away from the card, what it lies on gets {times:.1f} times lighter: the card seems to lie in a shadow, "
        "perhaps yours. Photograph again with card and wood in the same light."
    )
    return (Flag(FlagCode.CARD_IN_SHADOW, text, round(times, 2)),)


def rim(photo: DecodedPhoto, region: Region, times: tuple[float, float], marked: Sequence[Region]) -> Rim:
    """What lies around a region, sector by sector.

    Parameters
    ----------
    photo : DecodedPhoto
    region : Region
    times : (inner, outer)
        Where the rim begins and ends, as multiples of the region's size.
    marked : sequence of Region
        Kept out of the rim.

    Returns
    -------
    dict of (n, 3) float32
        Linear light of pixels of each sector that lies in the photo and holds enough of them, by the sector's number.
    """
    inner, outer = (region.scaled(size) for size in times)
    width, height = photo.facts.width, photo.facts.height
    box = outer.box(width, height)
    every = max(1, math.ceil(math.sqrt(box.w * box.h / _READ)))
    linear_rgb = photo.linear(box, every)
    around = outer.within(box, width, height, every)
    for kept_out in (inner, *marked):
        around &= ~kept_out.within(box, width, height, every)
    y, x = np.nonzero(around)
    middle = (np.mean(region.points, axis=0) * (width, height) - (box.x, box.y)) / every
    sector = ((np.arctan2(y - middle[1], x - middle[0]) / (2 * math.pi) + 0.5) * _SECTORS).astype(int) % _SECTORS
    by_sector = {i: linear_rgb[y[sector == i], x[sector == i]] for i in range(_SECTORS)}
    return {i: pixels for i, pixels in by_sector.items() if len(pixels) >= _FEWEST}


def some_pixels(photo: DecodedPhoto, region: Region) -> tuple[FloatArray, FloatArray]:
    """(n, 3) linear light of a region, of about `_READ` of its pixels, and (n, 2) where they lie, fractions."""
    width, height = photo.facts.width, photo.facts.height
    box = region.box(width, height)
    every = photo.step(region, _READ)
    inside = region.within(box, width, height, every)
    y, x = np.nonzero(inside)
    places = np.column_stack([(box.x + every * x + 0.5) / width, (box.y + every * y + 0.5) / height])
    return photo.linear(box, every)[inside].astype(float), places


def middle_color(linear_rgb: FloatArray) -> FloatArray:
    """(3,) median of (n, 3) colors, of two in the middle the upper; far faster than NumPy's along that axis."""
    half = len(linear_rgb) // 2
    color: FloatArray = np.partition(np.ascontiguousarray(linear_rgb.T), half, axis=1)[:, half]
    return color


def spread(linear_rgb: FloatArray) -> float:
    """From the dark end to the light end of (n, 3) pixels, natural log of luminance."""
    dark, light = ends(linear_rgb)
    return light - dark


def ends(linear_rgb: FloatArray) -> tuple[float, float]:
    dark, light = np.percentile(log_luminance(linear_rgb), _SPREAD)
    return float(dark), float(light)


def log_luminance(linear_rgb: FloatArray) -> FloatArray:
    logs: FloatArray = np.log(np.maximum(linear_rgb @ RGB_TO_XYZ[1], LEAST_LIGHT))
    return logs
