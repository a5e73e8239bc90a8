"""Correct a photo by the patches of a 24-patch chart in it.

First the camera's tone curve, from the gray row; then a root polynomial from the camera's colors to the observer's.
Root polynomials are independent of exposure (G. D. Finlayson, M. Mackiewicz, A. Hurlbert, "Color correction using
root-polynomial regression", IEEE Transactions on Image Processing 24(5), 2015).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.space import lab_from_linear, linear_from_lab
from colormatch.errors import CardUnusable
from colormatch.image.sensor import Sensor
from colormatch.records import BoolArray, Flag, FlagCode, FloatArray
from colormatch.reference import accuracy
from colormatch.reference.chart_values import GRAY_ROW, LEAST_PATCHES, SINCE_2014
from colormatch.reference.correction import Correction, CorrectionStep, balance
from colormatch.reference.tone import fit_tone, usable

#: Degree of the root polynomial. By trial on simulated photographs: 3 was better than 2 and than a matrix.
DEGREE = 3
#: Expected misfit of a patch in about ΔE00, and prior standard deviation of a coefficient around no correction;
#: together they set the ridge. From tests/studies/references.py; results hardly change between half and twice it.
_MISFIT, _COEFFICIENT_SIGMA = 1.0, 0.1
#: Fewest grays that must be neither clipped nor black.
_LEAST_GRAYS = 3
#: Mean held-out ΔE00 of the patches from which the chart is rejected as a different one. Real photographs of charts
#: stay below 4, a valid chart of reduced accuracy reaches 7, and charts with colors 10 or more away exceed it. Those
#: colors were invented: no real chart of another maker was available.
_MOST_ERROR = 8.0
#: Darkest linear value at which the slope of CIELAB is evaluated.
_DARKEST = 0.002


@dataclass(frozen=True, eq=False)
class RootPolynomial:
    """Roots of products of channels, times a matrix."""

    #: (terms, 3) float, unitless.
    coefficients: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        out: FloatArray = root_terms(linear_rgb) @ self.coefficients
        return np.maximum(out, 0)


def root_terms(linear_rgb: FloatArray) -> FloatArray:
    """(n, 13) float; the root-polynomial terms of degree 3 of (n, 3) linear RGB, the channels themselves first."""
    r, g, b = np.maximum(np.asarray(linear_rgb, dtype=float), 0).T
    squares = (r * g, g * b, r * b)
    cubes = (r * g * g, g * b * b, r * b * b, g * r * r, b * g * g, b * r * r, r * g * b)
    return np.stack([r, g, b, *np.sqrt(squares), *np.cbrt(cubes)], axis=1)


def fit_root_polynomial(
    linear_rgb: FloatArray, reference_lab: FloatArray, coefficient_sigma: float = _COEFFICIENT_SIGMA
) -> RootPolynomial:
    """Fit a root polynomial from colors to their CIELAB.

    Parameters
    ----------
    linear_rgb : (n, 3) float; linear sRGB, tone curve undone
    reference_lab : (n, 3) float; CIELAB
    coefficient_sigma : float
        Prior standard deviation of a coefficient around no correction.

    Notes
    -----
    Least squares in about ΔE00: the slope of CIELAB at the reference scales errors of linear light. A ridge pulls the
    coefficients toward no change.
    """
    terms = root_terms(linear_rgb)
    identity = np.eye(terms.shape[1], 3)
    true = linear_from_lab(reference_lab)
    slopes = _lab_slopes(np.maximum(true, _DARKEST)) * axis_weights(reference_lab)[..., None]
    # Residual i of patch k is sum over channel c and term f of slopes[k, i, c] terms[k, f] coefficients[f, c].
    design = np.einsum("kic,kf->kifc", slopes, terms).reshape(-1, identity.size)
    wanted = np.einsum("kic,kc->ki", slopes, true - terms @ identity).ravel()
    ridge = (_MISFIT / coefficient_sigma) ** 2 * np.eye(identity.size)
    change = np.linalg.solve(design.T @ design + ridge, design.T @ wanted)
    return RootPolynomial(identity + change.reshape(identity.shape))


def _lab_slopes(linear_rgb: FloatArray) -> FloatArray:
    """(n, 3, 3) float; derivatives of L*, a*, b* (rows) by linear red, green and blue, from central differences."""
    steps = 1e-4 * np.eye(3)
    colors = linear_rgb[:, None]
    return ((lab_from_linear(colors + steps) - lab_from_linear(colors - steps)) / 2e-4).swapaxes(1, 2)


def chart_correction(
    patch_linear_rgb: FloatArray,
    reference_lab: FloatArray = SINCE_2014,
    *,
    raw: bool = False,
    sensor: Sensor | None = None,
) -> Correction:
    """Tone curve and colors from a 24-patch chart.

    Parameters
    ----------
    patch_linear_rgb : (24, 3) float; linear sRGB, 0 to 1
        Mean colors of the patches, in the reference's order.
    reference_lab : (24, 3) float; CIELAB
        True colors of the patches; see `chart_values`.
    raw : bool
        Linear light from a camera raw, without a tone curve.
    sensor : Sensor, optional
        Sensor of a camera raw.

    Returns
    -------
    Correction
        Its uncertainty comes from the held-out errors of the chart's patches.

    Raises
    ------
    CardUnusable
        Too many patches are clipped or black, or their colors are not those of the chart.
    """
    patches = np.asarray(patch_linear_rgb, dtype=float)
    keep = usable(patches)
    # A saturated patch may have an empty channel and still serve; only clipping or blackness of its brightest channel
    # matters.
    keep[: GRAY_ROW.start] = usable(patches[: GRAY_ROW.start].max(axis=1, keepdims=True))
    if keep.sum() < LEAST_PATCHES or keep[GRAY_ROW].sum() < _LEAST_GRAYS:
        raise CardUnusable(
            f"Only {keep.sum()} of the chart's 24 patches are neither blown out nor black.",
            "Take the photo again with a little less exposure.",
        )
    flags: tuple[Flag, ...] = ()
    if not keep.all():
        left_out = int((~keep).sum())
        text = f"{left_out} of the chart's 24 patches are blown out or black and were left out."
        flags = (Flag(FlagCode.PATCHES_LEFT_OUT, text, float(left_out)),)
    balanced = _balanced_by(raw, sensor)
    errors = _held_out_errors(patches, reference_lab, keep, balanced)
    if errors.mean() > _MOST_ERROR:
        raise CardUnusable(
            f"The chart's patches differ by ΔE {errors.mean():.0f} on average from their stated colors.",
            "If it is another maker's chart, give the file of its measured patches; otherwise keep glare and shadows "
            "off it, or mark one of its gray patches as a gray card.",
        )
    start = Correction((), (), (), accuracy.chart(errors), flags)
    grays, colors = chart_steps(patches, reference_lab, keep, raw=raw, sensor=sensor)
    words = "white balance and brightness" if raw else "tone curve"
    return start.then(grays, f"{words} from the chart's gray row").then(
        colors, f"colors from the chart's {keep.sum()} patches (root polynomial of degree {DEGREE})"
    )


def chart_steps(
    patch_linear_rgb: FloatArray,
    reference_lab: FloatArray,
    keep: BoolArray,
    *,
    raw: bool = False,
    sensor: Sensor | None = None,
) -> tuple[CorrectionStep, RootPolynomial]:
    """The tone step and color step fitted to some of a chart's patches.

    Parameters as for :func:`chart_correction`; ``keep`` is (24,) bool.
    """
    grays = _grays(patch_linear_rgb, reference_lab, keep, _balanced_by(raw, sensor))
    return grays, fit_root_polynomial(grays(patch_linear_rgb[keep]), reference_lab[keep])


#: Fits a step from the grays of a photo, (k, 3) linear sRGB, to their true colors.
_FitGrays = Callable[[FloatArray, FloatArray], CorrectionStep]


def _balanced_by(raw: bool, sensor: Sensor | None) -> _FitGrays:
    return partial(_raw_balance, sensor=sensor) if raw else fit_tone


def _raw_balance(seen: FloatArray, true: FloatArray, sensor: Sensor | None) -> CorrectionStep:
    """Gains only, by the geometric mean of the grays."""
    return balance(np.exp(np.log(seen).mean(axis=0)), np.exp(np.log(true).mean(axis=0)), sensor)


def _grays(patches: FloatArray, reference_lab: FloatArray, keep: BoolArray, balanced: _FitGrays) -> CorrectionStep:
    rows = np.flatnonzero(keep)
    rows = rows[rows >= GRAY_ROW.start]
    return balanced(patches[rows], linear_from_lab(reference_lab[rows]))


def _held_out_errors(
    patches: FloatArray, reference_lab: FloatArray, keep: BoolArray, balanced: _FitGrays
) -> FloatArray:
    """(n,) ΔE00 of each kept patch, corrected by a fit without it."""
    errors = []
    of_all = _grays(patches, reference_lab, keep, balanced)
    for index in np.flatnonzero(keep):
        others = keep.copy()
        others[index] = False
        grays = _grays(patches, reference_lab, others, balanced) if index >= GRAY_ROW.start else of_all
        colors = fit_root_polynomial(grays(patches[others]), reference_lab[others])
        found = lab_from_linear(colors(grays(patches[index : index + 1])))[0]
        errors.append(float(delta_e(found, reference_lab[index])))
    return np.array(errors)
