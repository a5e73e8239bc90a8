"""How far each way of correcting a photo can be trusted."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from colormatch.records import FloatArray


class Accuracy(NamedTuple):
    """Errors that a correction leaves in wood-like colors."""

    #: Of one color, ΔE00, 90 % radius.
    absolute: float
    #: Of the difference of two similar colors in one photo, ΔE00, 90 % radius.
    difference: float


# First figures, from the simulations behind the design; to be replaced by those of tests/scenes/study.py.
NONE = Accuracy(16.0, 1.7)
GRAY_CARD = Accuracy(6.7, 2.1)
GRAY_CARD_RAW = Accuracy(4.3, 1.5)
THREE_STEP = Accuracy(4.8, 1.4)
THREE_STEP_RAW = Accuracy(4.3, 1.0)
CHART = Accuracy(1.7, 1.0)


def chart(held_out_errors: FloatArray) -> Accuracy:
    """Of a chart, from the ΔE00 of its patches when each is read without its own help."""
    typical = float(np.sqrt(np.mean(held_out_errors**2)))
    return Accuracy(max(CHART.absolute, typical), max(CHART.difference, CHART.difference / CHART.absolute * typical))


#: Share of the error that shop chips leave, by their number; from tests/scenes/study.py.
_CHIPS_LEAVE = {1: 0.85, 2: 0.55, 3: 0.46}


def with_chips(base: Accuracy, chips: int) -> Accuracy:
    """Of a correction that shop chips made better; the difference within one photo hardly gains."""
    share = _CHIPS_LEAVE[min(chips, max(_CHIPS_LEAVE))]
    return Accuracy(max(CHART.absolute, share * base.absolute), base.difference)
