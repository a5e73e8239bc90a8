"""Undo a camera's tone curve, from neutral surfaces of known reflectance.

A phone applies a tone curve before saving. Two or more neutrals reveal it, through a mixture of two models:

* *by channel*: one S-shaped curve on encoded values, shared by the channels, and a gain per channel. A monotone curve
  through the neutrals removes half of the remainder; the other half may be the neutrals' own error. This model fits
  cameras that apply such an S to each channel.
* *by level*: a monotone curve through the neutrals' luminance, with a free shoulder and toe, that scales the channels
  together. Real cameras compress white and black differently from one S, and preserve chroma.

The first model is used alone if one S explains the neutrals; the worse the fit, the larger the weight of the second, up
to half. Measured on real and simulated photographs: tests/studies/measured/real_photos.md. Camera raw is linear light,
where a curve would do harm: only gains are applied.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from colormatch.color.space import RGB_TO_XYZ, encoded_from_linear, linear_from_encoded
from colormatch.errors import CardUnusable
from colormatch.records import BoolArray, FloatArray

if TYPE_CHECKING:
    from scipy.interpolate import PchipInterpolator

#: Encoded value from which a channel counts as clipped: phones compress the last 2 % of the scale. Our choice.
CLIPPED = 0.98
#: Linear light below which a value is noise and its logarithm not worth fitting: a third of the first 8-bit step.
LEAST_LIGHT = 1e-4
#: Reflectance of middle gray; the neutral closest to it sets the white balance.
MIDDLE_GRAY = 0.18
#: Least ratio of the lightest to the darkest neutral for fitting a curve. Our choice.
_LEAST_RANGE = 1.5
#: Range of S strengths tried: below -1 or above 0.5 the curve would fold back; phones and veiling glare stay well
#: inside. Then the two step sizes, coarse and, around the best, fine: the cost has one minimum.
_STRENGTHS, _COARSE, _FINE = (-0.45, 0.45), 0.05, 0.005
#: Prior size of the strength, and of a neutral's misfit in natural log of light, our estimates; together they set the
#: ridge.
_STRENGTH_SIGMA, _MISFIT_SIGMA = 0.2, 0.1
#: Share of the remaining misfit removed by the monotone curve.
_REMAINDER = 0.5
#: Largest weight of the curve by level, and the root mean square misfit of an S, natural log of light, at which the
#: weight is half of that. Simulated S curves leave 0.01 to 0.035, real cameras 0.06 to 0.35. Weights of 0.3 to 0.7 and
#: misfits of 0.02 to 0.06 hardly change results.
_MOST_BY_LEVEL, _HALF_BY_LEVEL = 0.5, 0.04
#: Encoded values at which an S curve is tabulated for inverting.
_GRID = np.linspace(0, 1, 2049)


def s_curve(encoded: FloatArray, strength: float) -> FloatArray:
    """S curve about middle gray on encoded values of 0 to 1; black, middle gray and white are fixed points.

    Examples
    --------
    >>> [round(float(value), 4) for value in s_curve(np.array([0.0, 0.25, 0.5, 1.0]), 0.2)]
    [0.0, 0.2125, 0.5, 1.0]
    """
    return encoded + 2 * strength * encoded * (1 - encoded) * (2 * encoded - 1)


def undo_s_curve(linear_rgb: FloatArray, strength: float) -> FloatArray:
    """Linear light before an S curve was applied to its encoded values; values outside 0 to 1 are clipped."""
    encoded = np.clip(encoded_from_linear(linear_rgb), 0, 1)
    return linear_from_encoded(np.interp(encoded, s_curve(_GRID, strength), _GRID))


@dataclass(frozen=True, eq=False)
class ChannelCurve:
    """Inverse S curve, then a gain per channel, then the monotone remainder."""

    #: Strength of the S curve to undo, unitless.
    strength: float
    #: (3,) float, unitless.
    gains: FloatArray
    #: (3, k) float; natural log of linear light of the neutrals after the gains, increasing.
    knots: FloatArray
    #: (3, k) float; added to the log at the knots.
    remainders: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        linear = (undo_s_curve(linear_rgb, self.strength) if self.strength else linear_rgb) * self.gains
        logs = np.log(np.maximum(linear, LEAST_LIGHT))
        out = np.empty(linear.shape)
        for channel, (knots, remainder) in enumerate(zip(self.knots, self._curves, strict=True)):
            # Beyond the neutrals the remainder is constant.
            within = np.clip(logs[..., channel], knots[0], knots[-1])
            out[..., channel] = linear[..., channel] * np.exp(remainder(within))
        return out

    @cached_property
    def _curves(self) -> list[PchipInterpolator]:
        return [_pchip(*points) for points in zip(self.knots, self.remainders, strict=True)]


@dataclass(frozen=True, eq=False)
class LevelCurve:
    """A gain per channel, then one scale factor for all channels by luminance."""

    #: (3,) float, unitless.
    gains: FloatArray
    #: (k,) float; natural log of luminance of the neutrals after the gains, increasing.
    knots: FloatArray
    #: (k,) float; added to the log at the knots.
    remainders: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        linear = linear_rgb * self.gains
        within = np.clip(_log_luminance(linear), self.knots[0], self.knots[-1])
        scaled: FloatArray = linear * np.exp(self._curve(within))[..., None]
        return scaled

    @cached_property
    def _curve(self) -> PchipInterpolator:
        return _pchip(self.knots, self.remainders)


@dataclass(frozen=True, eq=False)
class ToneCurve:
    """Both models of a tone curve, as a weighted geometric mean."""

    by_channel: ChannelCurve
    by_level: LevelCurve
    #: Weight of the second, 0 to 1.
    level_weight: float

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        by_channel = self.by_channel(linear_rgb)
        if self.level_weight == 0:
            return by_channel
        by_level = np.maximum(self.by_level(linear_rgb), LEAST_LIGHT)
        mean: FloatArray = np.maximum(by_channel, LEAST_LIGHT) ** (1 - self.level_weight) * by_level**self.level_weight
        return mean


def _pchip(knots: FloatArray, values: FloatArray) -> PchipInterpolator:
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator(knots, values)


def _log_luminance(linear_rgb: FloatArray) -> FloatArray:
    luminance: FloatArray = np.log(np.maximum(linear_rgb @ RGB_TO_XYZ[1], LEAST_LIGHT))
    return luminance


def rising(knots: FloatArray) -> FloatArray:
    """Sort the knots of a curve along the last axis: noise may swap two dark neutrals."""
    rising: FloatArray = np.maximum.accumulate(knots, axis=-1) + 1e-6 * np.arange(knots.shape[-1])
    return rising


def usable(linear_rgb: FloatArray) -> BoolArray:
    """(...) bool; whether a color is neither clipped nor black in any channel."""
    bright = linear_from_encoded(np.array(CLIPPED))
    inside: BoolArray = np.all((linear_rgb < bright) & (linear_rgb > LEAST_LIGHT), axis=-1)
    return inside


def fit_tone(neutral_linear_rgb: FloatArray, true_linear_rgb: FloatArray) -> ToneCurve:
    """Fit the tone curve from photographed neutrals to their true values.

    Parameters
    ----------
    neutral_linear_rgb : (k, 3) float; uncorrected linear sRGB
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
    For a given strength the best gains are means of logs, so only the strength is searched. Clipped and black neutrals
    are left out, since their light is unknown.
    """
    keep = usable(neutral_linear_rgb)
    seen, true = np.asarray(neutral_linear_rgb, float)[keep], np.asarray(true_linear_rgb, float)[keep]
    if len(seen) < 2 or np.ptp(np.log(seen.mean(axis=1))) < np.log(_LEAST_RANGE):
        raise CardUnusable(
            "The steps of the neutral reference are clipped, black or all the same in the photo.",
            "Mark the whole reference, or take the photo again so that its white is not blown out.",
        )
    targets = np.log(true)

    def misfit(strength: float) -> FloatArray:
        left: FloatArray = targets - np.log(np.maximum(undo_s_curve(seen, strength), LEAST_LIGHT))
        return left

    def cost(strength: float) -> float:
        left = misfit(strength)
        return float(np.sum((left - left.mean(axis=0)) ** 2) + (strength * _MISFIT_SIGMA / _STRENGTH_SIGMA) ** 2)

    coarse = min(np.arange(_STRENGTHS[0], _STRENGTHS[1] + _COARSE / 2, _COARSE), key=cost)
    around = np.clip(coarse + np.arange(-_COARSE, _COARSE + _FINE / 2, _FINE), *_STRENGTHS)
    strength = float(min(around, key=cost))
    left = misfit(strength)
    log_gains = left.mean(axis=0)
    order = np.argsort(targets.mean(axis=1))
    knots = rising((targets - left + log_gains)[order].T)
    by_channel = ChannelCurve(strength, np.exp(log_gains), knots, _REMAINDER * (left - log_gains)[order].T)
    by_level = _by_level(seen[order], true[order])
    if len(seen) == 2:
        # Any two neutrals fit some S.
        return ToneCurve(by_channel, by_level, _MOST_BY_LEVEL)
    left_by_s = float(np.mean((left - log_gains) ** 2))
    return ToneCurve(by_channel, by_level, _MOST_BY_LEVEL * left_by_s / (left_by_s + _HALF_BY_LEVEL**2))


def _by_level(seen: FloatArray, true: FloatArray) -> LevelCurve:
    """Curve through neutrals from dark to light, balanced by the one closest to middle gray."""
    middle = int(np.argmin(np.abs(np.log(true.mean(axis=1) / MIDDLE_GRAY))))
    gains = true[middle] / seen[middle]
    knots = rising(_log_luminance(seen * gains))
    return LevelCurve(gains, knots, _log_luminance(true) - knots)
