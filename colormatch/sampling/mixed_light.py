"""Whether one surface changes its hue across the photo, as it does where two kinds of light fall on it.

One gray card can't tell two lamps. Patches of the same wood can: they look warmer towards the bulb and bluer towards
the window, in a straight line. Wood changes its hue too, but mostly together with its brightness, from field to grain
line; that part is known from within the patches and is taken off first.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from colormatch.color.space import RGB_TO_XYZ
from colormatch.image.photo import DecodedPhoto
from colormatch.records import Flag, FloatArray, Region
from colormatch.reference.correction import mean_color
from colormatch.reference.light import two_lamps
from colormatch.reference.tone import LEAST_LIGHT
from colormatch.sampling.surroundings import some_pixels

#: Pixels of a quarter of a patch below which it says nothing. Our choice.
_FEWEST = 20
#: Change of log(blue/red) along the straight line from which two lamps are asked about: from end to end of the patches,
#: and the card included; and the share of it within each patch. Set on scenes of ``tests/studies/lamps.py`` that
#: are none of its figures.
_OVER_PATCHES, _REACH, _WITHIN = 0.08, 0.2, 0.3


class HueChange(NamedTuple):
    """How log(blue/red) of a surface changes along a straight line across the photo, less what brightness brings."""

    #: From one end of the patches to the other.
    over: float
    #: From end to end of the patches and the card, if that line goes on.
    reach: float
    #: How much of it there is within the patch that has least of it: 1 where the line goes on there, as light does; 0
    #: where the patches differ from one another as pieces of wood do.
    within: float


def across(photo: DecodedPhoto, card: Region | None, patches: Sequence[Region]) -> tuple[Flag, ...]:
    """The flag ``light-mixed`` where patches of one surface change their hue along the photo.

    Parameters
    ----------
    photo : DecodedPhoto
    card : Region or None
        The light of the patches may differ the more from its light the farther away it lies.
    patches : sequence of Region
        Of one surface.
    """
    change = hue_change(photo, card, patches)
    if change is None or change.over < _OVER_PATCHES or change.reach < _REACH or change.within < _WITHIN:
        return ()
    text = (
        "The wood looks warmer towards one side of the photo, as if two kinds of light fell on it. If it is of one "
        "color all over, switch one of them off or draw the curtain, and photograph again."
    )
    return (two_lamps(text, change.over),)


def hue_change(photo: DecodedPhoto, card: Region | None, patches: Sequence[Region]) -> HueChange | None:
    """How the hue of patches of one surface changes; None where too little is marked."""
    together = alone = 0.0
    colors, places, owners = [], [], []
    for number, patch in enumerate(patches):
        color, place = some_pixels(photo, patch)
        hue, brightness = _hue_and_brightness(color)
        together += float(np.sum((hue - hue.mean()) * (brightness - brightness.mean())))
        alone += float(np.sum((brightness - brightness.mean()) ** 2))
        right, below = (place > place.mean(axis=0)).T
        for quarter in (2 * below + right == which for which in range(4)):
            if quarter.sum() >= _FEWEST:
                colors.append(mean_color(color[quarter]))
                places.append(place[quarter].mean(axis=0))
                owners.append(number)
    if not colors:
        return None
    hue, brightness = _hue_and_brightness(np.array(colors))
    hue -= together / max(alone, LEAST_LIGHT) * brightness
    middle = np.mean(places, axis=0)
    terms = np.column_stack([np.ones(len(places)), places - middle])
    line = np.linalg.lstsq(terms, hue, rcond=None)[0]
    along = terms @ line
    over = float(np.ptp(along))
    reach = over
    if card is not None:
        at_card = line[0] + (np.mean(card.points, axis=0) - middle) @ line[1:]
        reach = max(over, float(np.abs(along - at_card).max()))
    within = []
    for owner in set(owners):
        own = np.array(owners) == owner
        expected, seen = (values[own] - values[own].mean() for values in (along, hue))
        within.append(float(expected @ seen / max(expected @ expected, LEAST_LIGHT**2)))
    return HueChange(over, reach, min(within))


def _hue_and_brightness(linear_rgb: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Log of blue over red, and of luminance, of (n, 3) colors."""
    red, _, blue = np.log(np.maximum(linear_rgb, LEAST_LIGHT)).T
    return blue - red, np.log(np.maximum(linear_rgb @ RGB_TO_XYZ[1], LEAST_LIGHT))
