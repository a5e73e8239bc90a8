"""Doubts about the swatches of a paint, alone and against its fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.records import Flag, FlagCode, FloatArray, Swatch
from colormatch.wash.ratio import format_ratio

#: Chi-square above which a swatch is contradictory: three residuals at a probability of 0.1 %.
_CONTRADICTION = 16.27
#: Standard normal quantile of that probability; above it the swatches as a whole are contradictory.
_CONTRADICTION_QUANTILE = 3.0902
#: Degrees of freedom below which swatches can't contradict each other: the fit uses up nearly all those of one swatch.
_LEAST_FREEDOM = 1.0
#: ΔE00 between a swatch and its ground below which the paint is invisible, and paint fraction from which a wash must be
#: visible. Our choice.
_NO_TRACE, _STRONG = 0.3, 0.25
#: Standard deviation of the natural log of a paint's scattering above which it isn't known how much the paint hides: a
#: factor of two either way, nine times in ten. Our choice; a second ground brings it to 0.1 to 0.3 (simulated).
_OPACITY_UNKNOWN = 0.4
#: ΔE00 to the closest color with a smooth reflectance, above which a color is flagged.
_OUT_OF_REACH = 0.5


def no_trace(swatch: Swatch) -> Flag | None:
    """Flag a strong wash that has the color of its ground; None if the paint is visible."""
    off = float(delta_e(swatch.lab, swatch.ground_lab))
    if swatch.paint_fraction < _STRONG or off >= _NO_TRACE:
        return None
    ratio = format_ratio(swatch.paint_parts, swatch.water_parts)
    text = (
        f"The swatch {ratio} of {swatch.paint} on {swatch.ground} has the color of its ground; "
        "check that the right spot was read."
    )
    return Flag(FlagCode.NO_TRACE, text, off)


def birge_ratio(surprise: FloatArray, freedom: float) -> float:
    """Factor by which the uncertainties of swatches are too small; 1 if chance explains their scatter.

    Parameters
    ----------
    surprise : (n,) float
        Chi-square of each swatch: its squared residuals over their variances.
    freedom : float
        Degrees of freedom of the sum: its mean if the variances are right. May be fractional.

    Returns
    -------
    float; 1 or more

    Notes
    -----
    Chance explains anything with a probability of 1 in 1000 or more, for the sum and for each swatch. The quantile of
    the sum is that of E. B. Wilson and M. M. Hilferty, Proceedings of the National Academy of Sciences 17, 1931: within
    4 % from one degree of freedom on, and it needs no SciPy.

    Examples
    --------
    >>> birge_ratio(np.array([5.0, 7.0]), 3.0), birge_ratio(np.array([24.0, 24.0]), 3.0)
    (1.0, 4.0)
    """
    if freedom < _LEAST_FREEDOM:
        return 1.0
    chi_square, variance = float(surprise.sum()), 2 / (9 * freedom)
    chance = freedom * (1 - variance + _CONTRADICTION_QUANTILE * variance**0.5) ** 3
    if chi_square <= chance and surprise.max() <= _CONTRADICTION:
        return 1.0
    return max(1.0, float(np.sqrt(chi_square / freedom)))


def _opacity_unknown(swatches: Sequence[Swatch], hiding: float) -> list[Flag]:
    if hiding <= _OPACITY_UNKNOWN:
        return []
    text = (
        f"How much {swatches[0].paint} hides isn't known; a swatch of full strength on a second ground, much darker or "
        "lighter, would tell."
    )
    return [Flag(FlagCode.OPACITY_UNKNOWN, text, hiding)]


def fit_flags(
    swatches: Sequence[Swatch],
    residuals: FloatArray,
    surprise: FloatArray,
    unreached: FloatArray,
    spread: float,
    hiding: float,
) -> tuple[Flag, ...]:
    """Flags of a fit. If the swatches as a whole disagree, at least the worst one is named.

    Parameters
    ----------
    swatches : sequence of n Swatch; of one paint
    residuals : (n,) float; ΔE00 between each and the model
    surprise : (n,) float; chi-square of each
    unreached : (n,) float; ΔE00 between the color of each ground and the closest color with a smooth reflectance
    spread : float; see :func:`birge_ratio`
    hiding : float; standard deviation of the natural log of the paint's scattering
    """
    limit = min(_CONTRADICTION, float(surprise.max())) if spread > 1 else _CONTRADICTION
    name = swatches[0].paint
    flags = []
    if spread > 1:
        text = (
            f"The swatches of {name} differ {spread:.1f} times as much as they should, so its forecasts are that much "
            "less certain."
        )
        flags.append(Flag(FlagCode.SWATCHES_DISAGREE, text, spread))
    if len(swatches) == 1:
        text = (
            f"{name} has only one swatch, so its color at other ratios and on other wood is a guess with wide margins."
        )
        flags.append(Flag(FlagCode.ONE_SWATCH, text, 1))
    flags += _opacity_unknown(swatches, hiding)
    traces = np.asarray(delta_e(np.array([s.lab for s in swatches]), np.array([s.ground_lab for s in swatches])))
    faint = (swatch for swatch, trace in zip(swatches, traces, strict=True) if trace < _NO_TRACE)
    flags += [flag for flag in map(no_trace, faint) if flag]
    for swatch, residual, chi, gap in zip(swatches, residuals, surprise, unreached, strict=True):
        ratio = format_ratio(swatch.paint_parts, swatch.water_parts)
        which = f"The swatch {ratio}, {swatch.coats} coat{'s' * (swatch.coats > 1)} on {swatch.ground} of {name}"
        if chi >= limit:
            text = (
                f"{which} is {residual:.1f} ΔE away from what the others predict; check its ratio, its ground and "
                "its reading."
            )
            flags.append(Flag(FlagCode.CONTRADICTORY_SWATCH, text, float(residual)))
        if gap > _OUT_OF_REACH:
            text = (
                f"{which} has a ground color that no surface can have, {gap:.1f} ΔE away from a possible one; check "
                "the reading."
            )
            flags.append(Flag(FlagCode.IMPOSSIBLE_GROUND, text, float(gap)))
    return tuple(flags)
