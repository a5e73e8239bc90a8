"""Check from the surroundings of the card whether it is in the light of the wood.

A gray card alone doesn't show that it is in a shadow, but its background does. If the background looks like the marked
wood but is much darker or lighter, and no edge between them changes the hue as another piece would, the light differs.
If the background gets lighter on all sides farther from the card, the card is in a shadow, whatever the background. The
program then asks the user.
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
from colormatch.sampling.sample import ToLab

#: Linear light around a region, by sector.
Rim = dict[int, FloatArray]
#: Ring around the card that is compared, as multiples of its size: outside the card's own shadow and border, but in
#: nearly the same light.
_NEAR = (1.2, 1.8)
#: Sectors of the ring, so that a hand or an edge in one of them can't decide the result.
_SECTORS = 12
#: Fewest pixels of a sector. Our choice.
_FEWEST = 20
#: Approximate number of pixels read from a ring's box or a patch.
_READ = 15_000
#: Limits for the difference in log(red/green) and log(blue/green). Up to the first, two surfaces may be the same wood:
#: shade is about that much bluer than sun. From the second, two kinds of light are suspected; parts of one board differ
#: by 0.03 (simulated). Our choice.
_SAME_HUE, _OTHER_HUE = 0.35, 0.15
#: Ratio of the light on the wood to that on the ring, or its inverse, from which the program asks. Boards of one piece
#: differ by less (10 to 20 %); a soft shadow that takes a third gives 1.4. Our choice, see ``tests/studies/light.py``.
_OTHER_LIGHT = 1.3
#: Path from the card to a patch: longest side of the view it is examined in, and half its width, pixels.
_WAY_SIDE, _WAY_HALF = 320, 6
#: Edge test between card and patch. _EDGE_WITHIN: window, share of the path on either side of the edge. _EDGE: least
#: hue step, as above; boards, including sharp-edged shadows on them, stay below 0.07, and fiberboard differs by more
#: from four of five woods that are darker or lighter (``tests/studies/ordinary.py``).
_EDGE_WITHIN, _EDGE = 0.06, 0.08
#: Percentiles of log luminance that define the spread of a surface: nearly all of it, without specks.
_SPREAD = (5, 95)
#: Alternatives to a hue step. _LIGHT_EDGE: share of the total change in log luminance that falls inside one window;
#: _OTHER_GRAIN: ratio of grain contrast between the two sides, dimensionless. Both occur within 3 of 48 boards (same
#: study).
_LIGHT_EDGE, _OTHER_GRAIN = 0.6, 1.4
#: Share of the ring that must agree.
_AGREEING = 0.5
#: Farther ring, as multiples of the card's size; the lightening from the near ring to it that suggests a shadow on the
#: card;
#: and the largest hue difference, as above, at which both show the same object. Tuned by ``tests/studies/light.py``.
_FAR = (3.0, 4.5)
_IN_SHADOW, _SAME_THING = 1.25, 0.2
#: L* below which what lies about the card is a black frame, cloth or tape, which ends somewhere. A shadow that the card
#: lies in too doesn't darken it. Bog oak and ebony have about 30 (common practice, no source).
_BLACK = 28.0


def around_card(photo: DecodedPhoto, card: Region, regions: Sequence[Region], to_lab: ToLab) -> tuple[Flag, ...]:
    """Flag a card that seems to be in a different light from the sound wood.

    Parameters
    ----------
    photo : DecodedPhoto
    card : Region
    regions : sequence of Region
        All marked regions. The sound wood is compared; the others are left out of the ring.
    to_lab : (n, 3) linear RGB -> (n, 3) CIELAB
        The photo's correction.

    Returns
    -------
    tuple of Flag
        ``wood-other-light``, ``light-mixed`` or ``card-in-shadow``, at most one.
    """
    near = rim(photo, card, _NEAR, regions)
    return _beside_the_wood(photo, card, near, regions) or _shadow_about(near, rim(photo, card, _FAR, regions), to_lab)


def _beside_the_wood(photo: DecodedPhoto, card: Region, near: Rim, regions: Sequence[Region]) -> tuple[Flag, ...]:
    """Compare the card's background with the sound wood."""
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
            f"The marked wood is {max(times, 1 / times):.1f} times {than} than the surface under the card. If that is "
            f"the same wood, {where} is in shadow and the colors are wrong: lay the card beside the repair and "
            "photograph again."
        )
        return (Flag(FlagCode.WOOD_OTHER_LIGHT, text, round(times, 2)),)
    text = (
        "The marked wood has a different hue than the surface under the card. If that is the same wood, two kinds of "
        "light fall on the scene: switch one off, or lay the card beside the repair, and photograph again."
    )
    return (two_lamps(text, shift),)


def _other_grain(some: Sequence[FloatArray], others: Sequence[FloatArray]) -> bool:
    """Whether the grain contrast of two pieces differs, which light can't cause."""
    one, other = (max(float(np.median([*map(spread, pieces)])), LEAST_LIGHT) for pieces in (some, others))
    return abs(math.log(one / other)) > math.log(_OTHER_GRAIN)


def _edges_between(photo: DecodedPhoto, card: Region, patch: Region, marked: Sequence[Region]) -> tuple[float, float]:
    """Largest changes of hue and of light within a window on the path from the card to a patch, natural log.

    Other marked regions are left out.
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


def _shadow_about(near: Rim, far: Rim, to_lab: ToLab) -> tuple[Flag, ...]:
    """Compare the card's background with itself farther away."""
    both = [(middle_color(near[sector]), middle_color(far[sector])) for sector in near.keys() & far.keys()]
    both = [
        (here, away) for here, away in both if min(here.min(), away.min()) > 0 and to_lab(here[None])[0, 0] > _BLACK
    ]
    steps = np.array([np.log(away / here) for here, away in both]).reshape(-1, 3)
    hue = np.abs(steps[:, [0, 2]] - steps[:, [1]]).max(axis=1, initial=0)
    lighter = steps.mean(axis=1)
    agreeing = (hue < _SAME_THING) & (lighter > math.log(_IN_SHADOW))
    if agreeing.sum() < _AGREEING * _SECTORS:
        return ()
    times = math.exp(float(np.median(lighter[agreeing])))
    text = (
        f"Away from the card, the surface under it is {times:.1f} times lighter: the card seems to be in a shadow, "
        "perhaps yours. Photograph again with card and wood in the same light."
    )
    return (Flag(FlagCode.CARD_IN_SHADOW, text, round(times, 2)),)


def rim(photo: DecodedPhoto, region: Region, times: tuple[float, float], marked: Sequence[Region]) -> Rim:
    """Read the ring around a region, by sector.

    Parameters
    ----------
    photo : DecodedPhoto
    region : Region
    times : (inner, outer)
        Inner and outer edge of the ring, as multiples of the region's size.
    marked : sequence of Region
        Regions left out of the ring.

    Returns
    -------
    dict of (n, 3) float32
        Linear light by sector number, for sectors with enough pixels inside the photo.
    """
    inner, outer = (region.scaled(size) for size in times)
    width, height = photo.pixels.size
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
    """(n, 3) linear light of about `_READ` pixels of a region, and their (n, 2) positions, fractions of the photo."""
    width, height = photo.pixels.size
    box = region.box(width, height)
    every = photo.step(region, _READ)
    inside = region.within(box, width, height, every)
    y, x = np.nonzero(inside)
    places = np.column_stack([(box.x + every * x + 0.5) / width, (box.y + every * y + 0.5) / height])
    return photo.linear(box, every)[inside].astype(float), places


def middle_color(linear_rgb: FloatArray) -> FloatArray:
    """(3,) median of (n, 3) colors (the upper of two middle values); much faster than NumPy's along that axis."""
    half = len(linear_rgb) // 2
    color: FloatArray = np.partition(np.ascontiguousarray(linear_rgb.T), half, axis=1)[:, half]
    return color


def spread(linear_rgb: FloatArray) -> float:
    """Spread of (n, 3) pixels from the dark end to the light end, natural log of luminance."""
    dark, light = ends(linear_rgb)
    return light - dark


def ends(linear_rgb: FloatArray) -> tuple[float, float]:
    dark, light = np.percentile(log_luminance(linear_rgb), _SPREAD)
    return float(dark), float(light)


def log_luminance(linear_rgb: FloatArray) -> FloatArray:
    logs: FloatArray = np.log(np.maximum(linear_rgb @ RGB_TO_XYZ[1], LEAST_LIGHT))
    return logs
