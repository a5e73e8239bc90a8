"""Accuracy of each kind of photo correction."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from colormatch.records import Difference, FloatArray, LightKind


class Accuracy(NamedTuple):
    """Errors left by a correction."""

    #: Error of one color, ΔE00, 90 % radius.
    absolute: float
    #: Error of the difference of two colors in one photo.
    difference: Difference


# Sources of the numbers, November 2026:
#   real: `python -m tests.studies.real_photos FOLDER`, photographs and camera raws of a 24-patch chart, colors of every
#     kind; its table "held" gives the share of errors inside each radius, also for a radius set without that photo
#     (tests/studies/measured/real_photos.md);
#   simulated: `python -m tests.studies.references --photos 8 --seed 1`.
# Real photographs have larger errors than the simulator, so the real errors are used. They come from few cameras:
# numbers are rounded up by about a tenth.

#: Real photos, developed.
GRAY_CARD = Accuracy(9.0, Difference(1.6, 0.54))
#: Real photos, developed.
THREE_STEP = Accuracy(8.6, Difference(1.6, 0.52))
#: Nothing is known of the photo: brightness and balance are the camera's. Real, ten developed photos of five cameras,
#: of which six are dark: there colors read half as far apart as they are.
NONE = Accuracy(30.0, Difference(3.5, 1.25))
#: Real, camera raw with one gray, by the light; a warm lamp near the locus may be a bulb or an LED, and what lamp it is
#: isn't always known.
GRAY_CARD_RAW: dict[LightKind | None, Accuracy] = {
    LightKind.DAYLIGHT: Accuracy(5.5, Difference(0.9, 0.28)),
    LightKind.BULB: Accuracy(6.4, Difference(1.3, 0.33)),
    LightKind.FLUORESCENT: Accuracy(8.2, Difference(1.6, 0.46)),
    LightKind.LED: Accuracy(8.2, Difference(1.6, 0.46)),
    None: Accuracy(8.2, Difference(1.6, 0.46)),
}
#: Smallest radius of any chart. Simulated, with published values: 1.66.
_LEAST_CHART = 1.7
#: 90 % radius over root mean square of the chart's held-out errors. The chi distribution's 2.5003 / sqrt(3) covers only
#: 85 % of the real patches; this covers 90 %.
_RADIUS_OF_RMS = 1.55
#: Figure and share of a difference, relative to that radius. Real photos.
_CHART_FIGURE, _CHART_SHARE = 0.33, 0.075


def chart(held_out_errors: FloatArray) -> Accuracy:
    """Accuracy of a chart, from the ΔE00 of its patches when each is held out."""
    radius = max(_LEAST_CHART, _RADIUS_OF_RMS * float(np.sqrt(np.mean(held_out_errors**2))))
    difference = Difference(
        min(_CHART_FIGURE * radius, NONE.difference.figure), min(_CHART_SHARE * radius, NONE.difference.share)
    )
    return Accuracy(min(radius, NONE.absolute), difference)


#: Error on another photo over the held-out error within one photo. Real: 1.2 on six photos of one camera, 1.05 on two
#: phones' raws.
_ANOTHER_PHOTO = 1.2


def learned(held_out_errors: FloatArray, photos: int) -> Accuracy:
    """Accuracy of a learned camera, from the ΔE00 of held-out patches (and of held-out photos, if any)."""
    return chart(held_out_errors * (1.0 if photos > 1 else _ANOTHER_PHOTO))


#: 90 % radius with painted shop chips over the radius without, by their number; the last entry also covers more.
#: Simulated, the larger of gray card and three steps: 0.78, 0.58, 0.56, 0.51; offcuts of wood leave half of that.
_CHIPS_LEAVE = {1: 0.8, 2: 0.58, 3: 0.56, 4: 0.51}


def accuracy_with_chips(base: Accuracy, chips: int, settled: float) -> Accuracy:
    """Accuracy of a correction improved by shop chips; differences within one photo hardly improve.

    ``settled`` is the uncertainty of the chips' own colors, ΔE00, 90 % radius; chips settled in one photo share it.
    """
    share = _CHIPS_LEAVE[min(chips, max(_CHIPS_LEAVE))]
    return Accuracy(max(_LEAST_CHART, math.hypot(share * base.absolute, settled)), base.difference)
