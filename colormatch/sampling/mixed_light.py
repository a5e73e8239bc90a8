"""Detect two kinds of light from the change of hue of one surface across the photo.

A single gray card can't reveal two lamps. Patches of the same wood can: they look warmer toward the bulb and bluer
toward the window, along a straight line. Wood also changes hue, but mostly together with brightness, from field to
grain line; that part is estimated inside the patches and subtracted first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from colormatch.color.space import RGB_TO_XYZ
from colormatch.image.photo import DecodedPhoto
from colormatch.records import BoolArray, Flag, FloatArray, Region
from colormatch.reference.correction import mean_color
from colormatch.reference.light import two_lamps
from colormatch.reference.tone import LEAST_LIGHT
from colormatch.sampling.surroundings import some_pixels

#: Fewest pixels of a quarter of a patch. Our choice.
_FEWEST = 20
#: Changes of log(blue/red) along the line from which two lamps are suspected: from end to end of the patches, and
#: including the card; and the least share of it within each patch. Tuned on scenes of ``tests/studies/lamps.py`` that
#: are not among its published numbers.
_OVER_PATCHES, _REACH, _WITHIN = 0.08, 0.2, 0.3
#: Change over its standard error by noise from which it is no chance. One patch leaves 12 degrees of freedom and a line
#: that may turn anywhere: F(2, 12) is above half of its square once in a thousand.
_SURELY = 5.0


class HueChange(NamedTuple):
    """Change of log(blue/red) of a surface along a line across the photo, without the part due to brightness."""

    #: Change from one end of the patches to the other.
    over: float
    #: Change from end to end of the patches and the card, by extending the line.
    reach: float
    #: Smallest share of it found within a single patch: 1 if the line continues there, as light does; 0 if the patches
    #: differ as pieces of wood do.
    within: float
    #: Change over the patches relative to its standard error, as far as noise and grain within a quarter of a patch
    #: cause it.
    surely: float


def across(photo: DecodedPhoto, card: Region | None, patches: Sequence[Region]) -> tuple[Flag, ...]:
    """The flag ``light-mixed`` if patches of one surface change hue across the photo.

    Parameters
    ----------
    photo : DecodedPhoto
    card : Region or None
        The farther away it is, the more the light on the patches may differ from its light.
    patches : sequence of Region
        Patches of one surface.
    """
    change = hue_change(photo, card, patches)
    if change is None or change.over < _OVER_PATCHES or change.reach < _REACH:
        return ()
    if change.within < _WITHIN or change.surely < _SURELY:
        return ()
    text = (
        "The wood looks warmer toward one side of the photo, as if two kinds of light fell on it. If the wood has the "
        "same color everywhere, switch one light off or close the curtain, and photograph again."
    )
    return (two_lamps(text, change.over),)


def hue_change(photo: DecodedPhoto, card: Region | None, patches: Sequence[Region]) -> HueChange | None:
    """Change of hue over patches of one surface; None if too little is marked."""
    together = alone = 0.0
    colors, places, owners, parts = [], [], [], []
    for number, patch in enumerate(patches):
        color, place = some_pixels(photo, patch)
        hue, brightness = _hue_and_brightness(color)
        together += float(np.sum((hue - hue.mean()) * (brightness - brightness.mean())))
        alone += float(np.sum((brightness - brightness.mean()) ** 2))
        for quarter in _quarters(place):
            if quarter.sum() >= _FEWEST:
                colors.append(mean_color(color[quarter]))
                places.append(place[quarter].mean(axis=0))
                owners.append(number)
                fourths = (mean_color(color[quarter][fourth]) for fourth in _quarters(place[quarter]) if fourth.any())
                parts.append(np.array(list(fourths)))
    if not colors:
        return None
    hue, brightness = _hue_and_brightness(np.array(colors))
    by_brightness = together / max(alone, LEAST_LIGHT)
    hue -= by_brightness * brightness
    middle = np.mean(places, axis=0)
    terms = np.column_stack([np.ones(len(places)), places - middle])
    line = np.linalg.lstsq(terms, hue, rcond=None)[0]
    along = terms @ line
    over = float(np.ptp(along))
    # Noise of a quarter's mean from the spread of its own quarters, so that it may be correlated between pixels.
    variances = []
    for part in parts:
        own_hue, own_brightness = _hue_and_brightness(part)
        if len(part) > 1:
            variances.append(float(np.var(own_hue - by_brightness * own_brightness, ddof=1)) / len(part))
    span = terms[along.argmax()] - terms[along.argmin()]
    noise = math.sqrt(float(np.mean(variances or [0.0])) * float(span @ np.linalg.pinv(terms.T @ terms) @ span))
    reach = over
    if card is not None:
        at_card = line[0] + (np.mean(card.points, axis=0) - middle) @ line[1:]
        reach = max(over, float(np.abs(along - at_card).max()))
    within = []
    for owner in set(owners):
        own = np.array(owners) == owner
        expected, seen = (values[own] - values[own].mean() for values in (along, hue))
        within.append(float(expected @ seen / max(expected @ expected, LEAST_LIGHT**2)))
    return HueChange(over, reach, min(within), over / max(noise, LEAST_LIGHT))


def _quarters(place: FloatArray) -> list[BoolArray]:
    """Which of (n, 2) places lie in each quarter of their extent."""
    right, below = (place > place.mean(axis=0)).T
    return [2 * below + right == which for which in range(4)]


def _hue_and_brightness(linear_rgb: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Log of blue over red and of luminance, for (n, 3) colors."""
    red, _, blue = np.log(np.maximum(linear_rgb, LEAST_LIGHT)).T
    return blue - red, np.log(np.maximum(linear_rgb @ RGB_TO_XYZ[1], LEAST_LIGHT))
