"""How far each way of correcting a photo can be trusted."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from colormatch.records import Difference, FloatArray, LightKind


class Accuracy(NamedTuple):
    """Errors that a correction leaves."""

    #: Of one color, ΔE00, 90 % radius.
    absolute: float
    #: Of the difference of two colors in one photo.
    difference: Difference


# Where every figure comes from, November 2026:
#   real: `python -m tests.studies.real_photos FOLDER`, photographs and camera raws of a 24-patch chart, colors of every
#     kind; its table "held" tells how many of the errors each figure holds, and how many where it is set without the
#     photo at hand (tests/studies/measured/real_photos.md);
#   simulated: `python -m tests.studies.references --photos 8 --seed 1`.
# Real photographs err more than the simulator, so the real errors count. A few cameras stand for all: figures are
# rounded up by about a tenth of themselves.

#: Real, developed.
GRAY_CARD = Accuracy(9.0, Difference(1.6, 0.54))
#: Real, developed.
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
#: Least of any chart. Simulated, with its published values: 1.66.
_LEAST_CHART = 1.7
#: 90 % radius over root mean square of the chart's own held-out errors: 2.5003 / sqrt(3), the chi distribution, holds
#: 85 % of the real patches; this one nine in ten.
_RADIUS_OF_RMS = 1.55
#: Figure and share of a difference over that radius. Real.
_CHART_FIGURE, _CHART_SHARE = 0.33, 0.075


def chart(held_out_errors: FloatArray) -> Accuracy:
    """Of a chart, from the ΔE00 of its patches when each is read without its own help."""
    radius = max(_LEAST_CHART, _RADIUS_OF_RMS * float(np.sqrt(np.mean(held_out_errors**2))))
    difference = Difference(
        min(_CHART_FIGURE * radius, NONE.difference.figure), min(_CHART_SHARE * radius, NONE.difference.share)
    )
    return Accuracy(min(radius, NONE.absolute), difference)


#: What one photo says of itself when patches are left out, over what it says of another photo. Real: 1.2 on six photos
#: of one camera, 1.05 on two phones' raws.
_ANOTHER_PHOTO = 1.2


def learned(held_out_errors: FloatArray, photos: int) -> Accuracy:
    """Of a learned camera, from the ΔE00 of patches (and photos, where there are several) that it didn't learn from."""
    return chart(held_out_errors * (1.0 if photos > 1 else _ANOTHER_PHOTO))


#: 90 % radius with painted shop chips over that without, by their number, the last for more. Simulated, the larger of
#: gray card and three steps: 0.78, 0.58, 0.56, 0.51; offcuts of wood leave half of that.
_CHIPS_LEAVE = {1: 0.8, 2: 0.58, 3: 0.56, 4: 0.51}


def accuracy_with_chips(base: Accuracy, chips: int, settled: float) -> Accuracy:
    """Of a correction that shop chips made better; the difference within one photo hardly gains.

    ``settled`` is the chips' own uncertainty, ΔE00, 90 % radius: chips that were settled in one photo share it.
    """
    share = _CHIPS_LEAVE[min(chips, max(_CHIPS_LEAVE))]
    return Accuracy(max(_LEAST_CHART, math.hypot(share * base.absolute, settled)), base.difference)
