"""What people lay beside the wood instead of a card: white paper, white cardboard, a piece whose color is known.

Each gives one gain for each channel, as a gray card does. Colors and radii are from `tests/studies/stand_ins.py`.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from colormatch.color.space import lab_from_linear, linear_from_lab
from colormatch.errors import BadInput
from colormatch.image.sensor import Sensor
from colormatch.records import CardKind, Difference, Flag, FlagCode, FloatArray, Lab
from colormatch.reference.accuracy import GRAY_CARD, NONE, Accuracy
from colormatch.reference.card_choice import CardValue, Settled
from colormatch.reference.correction import Correction, balance, check_not_black, raw_accuracy


class Added(NamedTuple):
    """What a stand-in adds to the error of a gray card."""

    #: ΔE00, 90 % radius; its square adds to that of a gray card. In a photo developed by the camera, and camera raw.
    developed: float
    raw: float
    #: Factor on the error of a difference.
    apart: float


class StandIn(NamedTuple):
    """One kind of thing that stands in for a card."""

    #: As sentences have it.
    name: str
    #: Its color where nobody says it; None: it has to be said.
    usual: Lab | None
    added: Added
    #: What can go wrong with it.
    doubt: str


# Sources of the numbers: a white, and a light and a dark piece of exactly known color, in real photographs, where a
# camera's tone curve makes white and dark things worse cards than a middle gray; what papers and boards differ by,
# simulated (tests/studies/measured/stand_ins.md).

#: A white whose color is known.
_WHITE = Added(6.0, 4.0, 1.0)
#: A light piece of known color, and a dark or strongly colored one.
_LIGHT_PIECE, _DARK_PIECE = Added(3.0, 2.0, 1.0), Added(14.0, 6.0, 1.2)
#: Weakest channel of a piece, linear sRGB: where a dark one ends, and below which it reads other colors wrong by 20 and
#: more.
_DARK, _TOO_DARK = 0.15, 0.035

STAND_INS = {
    CardKind.PAPER: StandIn(
        "white paper",
        Lab(94.5, 0.5, -1.0),
        Added(6.6, 4.9, 1.0),
        "White paper stands in for a gray card. Its whitener makes it bluish in daylight but hardly under lamps, so "
        "colors may come out too yellow or too blue. A gray card is more reliable.",
    ),
    CardKind.CARDBOARD: StandIn(
        "white cardboard",
        Lab(92.5, 0.0, 2.0),
        Added(6.3, 4.5, 1.0),
        "White cardboard stands in for a gray card, and boards differ in how white they are. A gray card is more "
        "reliable.",
    ),
    CardKind.PIECE: StandIn(
        "second piece",
        None,
        _DARK_PIECE,
        "A second piece of known color stands in for a gray card. Colors that differ more from it may be further off. "
        "A gray card is more reliable.",
    ),
}


def stand_in_correction(
    linear_rgb: FloatArray,
    kind: CardKind,
    value: CardValue | None = None,
    *,
    raw: bool = False,
    sensor: Sensor | None = None,
) -> Correction:
    """White balance and brightness from what stands in for a card.

    Parameters
    ----------
    linear_rgb : (3,) float; linear sRGB, 0 to 1
        Mean of its pixels.
    kind : CardKind
        A key of `STAND_INS`.
    value : float, Lab or Settled, optional
        Its reflectance or color; a piece needs one.
    raw : bool
        Linear light from a camera raw, without a tone curve.
    sensor : Sensor, optional
        Sensor of a camera raw.

    Raises
    ------
    BadInput
        A value of another kind of card, a piece without one, or a piece too dark or too strongly colored.
    CardUnusable
        A channel is black.
    """
    stand_in = STAND_INS[kind]
    known = _known(stand_in, value)
    true = stand_in_linear(kind, value)
    if true.min() < _TOO_DARK:
        raise BadInput(
            f"The {stand_in.name} is too dark or too strongly colored for a white balance.",
            "Use a lighter one, or a gray card.",
        )
    check_not_black(linear_rgb)
    added = stand_in.added
    if value is not None:
        added = _WHITE if kind is not CardKind.PIECE else _LIGHT_PIECE if true.min() >= _DARK else _DARK_PIECE
    base = raw_accuracy(linear_rgb, sensor, None) if raw else GRAY_CARD
    radius = math.hypot(base.absolute, added.raw if raw else added.developed, known.uncertainty)
    figure, share = base.difference
    accuracy = Accuracy(min(radius, NONE.absolute), Difference(added.apart * figure, added.apart * share))
    flags = (Flag(FlagCode.STAND_IN, stand_in.doubt, round(accuracy.absolute, 1)),)
    words = f"white balance and brightness from the {stand_in.name} that stands in for a gray card"
    return Correction((), (), (), accuracy, flags).then(balance(linear_rgb, true, sensor), words)


def stand_in_linear(kind: CardKind, value: CardValue | None = None) -> FloatArray:
    """(3,) linear sRGB of what stands in for a card; raises as `stand_in_correction` does."""
    return linear_from_lab(np.asarray(_known(STAND_INS[kind], value).lab, dtype=float))


def _known(stand_in: StandIn, value: CardValue | None) -> Settled:
    if value is None and stand_in.usual is not None:
        return Settled(stand_in.usual)
    if isinstance(value, Settled):
        return value
    if isinstance(value, Lab):
        return Settled(value)
    if isinstance(value, float | int):
        return Settled(Lab(*lab_from_linear(np.full(3, float(value))).tolist()))
    raise BadInput(f"The color of the {stand_in.name} is missing.", "Choose a wood from the library, or give its Lab.")
