"""Shift a target on purpose: warmer, cooler, darker or lighter than the measured sound wood."""

from __future__ import annotations

import math

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.errors import BadInput
from colormatch.records import MOST_AB, Lab, lab_of

#: Hue of "warm", degrees: orange, midway between unique red (20.14) and unique yellow (90) of CIE 159:2004.
_WARM = math.radians((20.14 + 90.0) / 2)
#: Unit steps in CIELAB.
_STEPS = {
    "warmer": (0.0, math.cos(_WARM), math.sin(_WARM)),
    "cooler": (0.0, -math.cos(_WARM), -math.sin(_WARM)),
    "darker": (-1.0, 0.0, 0.0),
    "lighter": (1.0, 0.0, 0.0),
}
#: Largest shift accepted, ΔE00: an entirely different color. Our choice.
_LARGEST = 50
#: Longest search for a shift, CIELAB units; number of halvings for double precision.
_FARTHEST, _HALVINGS = MOST_AB, 60


def parse_shift(text: str | None) -> tuple[str, float] | None:
    """Parse ``darker=2`` as a direction and an amount in ΔE00.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> parse_shift("darker=2")
    ('darker', 2.0)
    """
    if not text:
        return None
    direction, equals, amount = text.partition("=")
    try:
        size = float(amount)
    except ValueError:
        size = -1.0
    if not equals or direction not in _STEPS or not 0 <= size <= _LARGEST:
        raise BadInput(f"'{text}' is not a shift.", "Give, for example, warmer=1.5, cooler=1, darker=3 or lighter=2.")
    return direction, size


def shift_target(lab: Lab, direction: str, amount: float) -> Lab:
    """Find the color at a given difference in a given direction.

    Parameters
    ----------
    lab : Lab
    direction : str
        ``warmer``, ``cooler``, ``darker`` or ``lighter``.
    amount : float
        ΔE00, 0 or more.

    Returns
    -------
    Lab; exactly ``amount`` ΔE00 from ``lab``

    Raises
    ------
    BadInput
        Another direction, a negative amount, or one that leads out of CIELAB.

    Examples
    --------
    >>> moved = shift_target(Lab(60, 8, 22), "darker", 2)
    >>> bool(moved.L < 60), round(float(delta_e(moved, Lab(60, 8, 22))), 6)
    (True, 2.0)
    """
    if direction not in _STEPS:
        raise BadInput(f"'{direction}' is not a direction to move a color in.", f"Choose one of: {', '.join(_STEPS)}.")
    if not (math.isfinite(amount) and amount >= 0):
        raise BadInput(f"A shift of {amount:g} ΔE is impossible.", "Give zero or more.")
    start, step = np.asarray(lab_of(lab), dtype=float), np.asarray(_STEPS[direction])
    near, far = 0.0, _FARTHEST
    if float(delta_e(start, start + far * step)) < amount:
        raise _too_far(direction, amount)
    for _ in range(_HALVINGS):
        middle = (near + far) / 2
        if float(delta_e(start, start + middle * step)) < amount:
            near = middle
        else:
            far = middle
    try:
        return lab_of(start + far * step)
    except BadInput:
        raise _too_far(direction, amount) from None


def _too_far(direction: str, amount: float) -> BadInput:
    return BadInput(f"A target {amount:g} ΔE {direction} is impossible: there is no such color.", "Ask for less.")
