"""How far each way of correcting a photo can be trusted."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from colormatch.records import FloatArray


class Accuracy(NamedTuple):
    """Errors that a correction leaves in wood-like colors."""

    #: Of one color, ΔE00, 90 % radius.
    absolute: float
    #: Of the difference of two similar colors in one photo, ΔE00, 90 % radius.
    difference: float


# Where every figure comes from, November 2026:
#   real: `python -m tests.published.test_chart_photographs`, six photographs of a 24-patch chart;
#   simulated: `python -m tests.studies.references --photos 8 --seed 1`, column "90th".
# Where the real photographs err more than the simulator, the real errors count. The figures are rounded up by 0.1 to
# 0.25 for the draw of the photographs. Differences are of two colors up to 6 apart and from the simulator: the real
# photographs hold too few such pairs.

#: Simulated: 12.8 and 1.58.
NONE = Accuracy(13.0, 1.6)
#: Real: 7.7 (simulated 6.2). Difference, simulated: 1.90.
GRAY_CARD = Accuracy(7.9, 2.0)
#: Simulated: 4.5 and 0.93, of four seeds at most 4.5 and 1.00; no real camera raw with a card was at hand.
GRAY_CARD_RAW = Accuracy(4.7, 1.0)
#: Real: 6.7 (simulated 4.7). Difference, simulated: 1.32.
THREE_STEP = Accuracy(6.9, 1.4)
#: Simulated: the same.
THREE_STEP_RAW = Accuracy(4.7, 1.0)
#: Least of any chart. Simulated, with its published values: 1.66 and 1.00.
CHART = Accuracy(1.7, 1.0)

#: 90 % radius over root mean square of a round three-dimensional error: 2.5003 / sqrt(3), the chi distribution. It
#: holds 85 % of the real patches.
_RADIUS_OF_RMS = 2.5003 / 3**0.5
#: Radius of one color that goes with `CHART.difference`: what simulated charts state. Simulated: 3.05 to 3.07.
_USUAL_CHART = 3.1


def chart(held_out_errors: FloatArray) -> Accuracy:
    """Of a chart, from the ΔE00 of its patches when each is read without its own help."""
    radius = _RADIUS_OF_RMS * float(np.sqrt(np.mean(held_out_errors**2)))
    return Accuracy(max(CHART.absolute, radius), CHART.difference * max(1.0, radius / _USUAL_CHART))


#: 90 % radius with painted shop chips over that without, by their number, the last for more. Simulated, the larger of
#: gray card and three steps: 0.78, 0.58, 0.56, 0.51; offcuts of wood leave half of that.
_CHIPS_LEAVE = {1: 0.8, 2: 0.58, 3: 0.56, 4: 0.51}


def accuracy_with_chips(base: Accuracy, chips: int, settled: float) -> Accuracy:
    """Of a correction that shop chips made better; the difference within one photo hardly gains.

    ``settled`` is the chips' own uncertainty, ΔE00, 90 % radius: chips that were settled in one photo share it.
    """
    share = _CHIPS_LEAVE[min(chips, max(_CHIPS_LEAVE))]
    return Accuracy(max(CHART.absolute, math.hypot(share * base.absolute, settled)), base.difference)
