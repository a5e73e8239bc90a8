"""Undo a camera's tone curve by neutral surfaces of known reflectance.

A phone bends tones before it saves them. Two neutrals or more tell how: one S-shaped curve on encoded values, shared
by the channels, and a gain for each channel explain most of it; half of what they leave is then taken off by a monotone
curve through the neutrals. Half, because part of what is left is the neutrals' own error.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from colormatch.color.space import encoded_from_linear, linear_from_encoded
from colormatch.errors import CardUnusable
from colormatch.records import BoolArray, FloatArray

if TYPE_CHECKING:
    from scipy.interpolate import PchipInterpolator

#: Encoded value from which a channel counts as clipped: phones bend the last 2 % of the scale. Our choice.
CLIPPED = 0.98
#: Linear light below which a value is noise and has no logarithm worth fitting: a third of the first 8-bit step.
LEAST_LIGHT = 1e-4
#: Lightest over darkest neutral below which they tell nothing of a curve. Our choice.
_LEAST_RANGE = 1.5
#: S strengths that are tried: below -1 or above 0.5 the curve would fold back; phones and veils stay well inside.
_STRENGTHS = np.linspace(-0.45, 0.45, 181)
#: Expected size of the strength, and of a neutral's misfit in natural log of light, our estimates: together the ridge.
_STRENGTH_SIGMA, _MISFIT_SIGMA = 0.2, 0.1
#: Share of the remaining misfit that the monotone curve takes off.
_REMAINDER = 0.5
#: Encoded values at which an S curve is tabulated for inverting.
_GRID = np.linspace(0, 1, 2049)


def s_curve(encoded: FloatArray, strength: float) -> FloatArray:
    """An S about middle gray on encoded values of 0 to 1; black, middle and white stay where they are.

    Examples
    --------
    >>> [round(float(value), 4) for value in s_curve(np.array([0.0, 0.25, 0.5, 1.0]), 0.2)]
    [0.0, 0.2125, 0.5, 1.0]
    """
    return encoded + 2 * strength * encoded * (1 - encoded) * (2 * encoded - 1)


def undo_s_curve(linear_rgb: FloatArray, strength: float) -> FloatArray:
    """Linear light as it was before an S curve bent its encoded values; values outside 0 to 1 are clipped to it."""
    encoded = np.clip(encoded_from_linear(linear_rgb), 0, 1)
    return linear_from_encoded(np.interp(encoded, s_curve(_GRID, strength), _GRID))


@dataclass(frozen=True, eq=False)
class ToneCurve:
    """The S undone, a gain for each channel, then the monotone remainder."""

    #: Of the S curve that is undone, unitless.
    strength: float
    #: (3,) float, unitless.
    gains: FloatArray
    #: (3, k) float; natural log of linear light of the neutrals after the gains, rising.
    knots: FloatArray
    #: (3, k) float; what is added to the log there.
    remainders: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        linear = undo_s_curve(linear_rgb, self.strength) * self.gains
        logs = np.log(np.maximum(linear, LEAST_LIGHT))
        out = np.empty(linear.shape)
        for channel, (knots, remainder) in enumerate(zip(self.knots, self._curves, strict=True)):
            # Beyond the neutrals the remainder stays what it is at the last of them.
            within = np.clip(logs[..., channel], knots[0], knots[-1])
            out[..., channel] = linear[..., channel] * np.exp(remainder(within))
        return out

    @cached_property
    def _curves(self) -> list[PchipInterpolator]:
        from scipy.interpolate import PchipInterpolator

        return [PchipInterpolator(*points) for points in zip(self.knots, self.remainders, strict=True)]


def usable(linear_rgb: FloatArray) -> BoolArray:
    """(...) bool; whether a color is neither clipped nor black in any channel."""
    bright = linear_from_encoded(np.array(CLIPPED))
    inside: BoolArray = np.all((linear_rgb < bright) & (linear_rgb > LEAST_LIGHT), axis=-1)
    return inside


def fit_tone(neutral_linear_rgb: FloatArray, true_linear_rgb: FloatArray) -> ToneCurve:
    """Tone curve that takes photographed neutrals to what they are.

    Parameters
    ----------
    neutral_linear_rgb : (k, 3) float; linear sRGB as the photo holds them
    true_linear_rgb : (k, 3) float; linear sRGB of the same neutrals under D65

    Returns
    -------
    ToneCurve

    Raises
    ------
    CardUnusable
        Fewer than two of the neutrals are neither clipped nor black, or they are all of the same lightness.

    Notes
    -----
    For a given strength the best gains are means of logs, so only the strength is searched for. Clipped and black
    neutrals are left out: what they were can't be known.
    """
    keep = usable(neutral_linear_rgb)
    seen, true = np.asarray(neutral_linear_rgb, float)[keep], np.asarray(true_linear_rgb, float)[keep]
    if len(seen) < 2 or np.ptp(np.log(seen.mean(axis=1))) < np.log(_LEAST_RANGE):
        raise CardUnusable(
            "The steps of the neutral reference are clipped, black or all alike in the photo.",
            "Mark the whole reference, or take the photo again so that its white is not blown out.",
        )
    targets = np.log(true)

    def misfit(strength: float) -> FloatArray:
        left: FloatArray = targets - np.log(np.maximum(undo_s_curve(seen, strength), LEAST_LIGHT))
        return left

    def cost(strength: float) -> float:
        left = misfit(strength)
        return float(np.sum((left - left.mean(axis=0)) ** 2) + (strength * _MISFIT_SIGMA / _STRENGTH_SIGMA) ** 2)

    strength = float(min(_STRENGTHS, key=cost))
    left = misfit(strength)
    log_gains = left.mean(axis=0)
    order = np.argsort(targets.mean(axis=1))
    knots = (targets - left + log_gains)[order].T
    # Noise may swap two dark neutrals in one channel; a curve needs rising knots.
    knots = np.maximum.accumulate(knots, axis=1) + 1e-6 * np.arange(len(order))
    return ToneCurve(strength, np.exp(log_gains), knots, _REMAINDER * (left - log_gains)[order].T)
