"""Correct a photo by the patches of a 24-patch chart in it.

The camera's tone curve comes first, from the gray row; then a root polynomial turns the camera's colors into those of
the observer. Root polynomials don't change with exposure (G. D. Finlayson, M. Mackiewicz, A. Hurlbert, "Color
correction using root-polynomial regression", IEEE Transactions on Image Processing 24(5), 2015).
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.space import lab_from_linear, linear_from_lab
from colormatch.errors import CardUnusable
from colormatch.records import BoolArray, Flag, FlagCode, FloatArray
from colormatch.reference import accuracy
from colormatch.reference.chart_values import GRAY_ROW, SINCE_2014
from colormatch.reference.correction import Correction
from colormatch.reference.tone import fit_tone, usable

#: Degree of the root polynomial. Chosen by trial: on simulated photographs 3 did better than 2 and than a matrix.
DEGREE = 3
#: Expected misfit of a patch in about ΔE00, and how far a coefficient strays from those of a camera that needs no
#: correction: together the ridge. From tests/studies/references.py; results hardly change between half and twice it.
_MISFIT, _COEFFICIENT_SIGMA = 1.0, 0.1
#: Least number of patches, and of grays among them, that must be neither clipped nor black.
_LEAST_PATCHES, _LEAST_GRAYS = 16, 3
#: Darkest linear value at which the slope of CIELAB is taken.
_DARKEST = 0.002


@dataclass(frozen=True, eq=False)
class RootPolynomial:
    """Products of channels under roots, times a matrix."""

    #: (terms, 3) float, unitless.
    coefficients: FloatArray

    def __call__(self, linear_rgb: FloatArray) -> FloatArray:
        out: FloatArray = root_terms(linear_rgb) @ self.coefficients
        return np.maximum(out, 0)


def root_terms(linear_rgb: FloatArray) -> FloatArray:
    """(n, 13) float; the root-polynomial terms of (n, 3) linear RGB, the channels themselves first."""
    expand = _colour_science().characterisation.polynomial_expansion_Finlayson2015
    terms: FloatArray = expand(np.maximum(linear_rgb, 0), DEGREE, root_polynomial_expansion=True)
    return terms


@cache
def _colour_science() -> Any:
    """colour-science, imported when the first chart is used: it takes two seconds, warns of optional plotting, and
    changes how NumPy prints."""
    with warnings.catch_warnings(), np.printoptions():
        warnings.simplefilter("ignore")
        import colour
    return colour


def fit_root_polynomial(linear_rgb: FloatArray, reference_lab: FloatArray) -> RootPolynomial:
    """Root polynomial from colors to their CIELAB.

    Parameters
    ----------
    linear_rgb : (n, 3) float; linear sRGB, tone curve undone
    reference_lab : (n, 3) float; CIELAB

    Notes
    -----
    Least squares in about ΔE00: the slope of CIELAB at the reference turns errors of linear light into those of
    lightness and color. A ridge draws the coefficients towards no change.
    """
    terms = root_terms(linear_rgb)
    identity = np.eye(terms.shape[1], 3)
    true = linear_from_lab(reference_lab)
    slopes = _lab_slopes(np.maximum(true, _DARKEST)) * axis_weights(reference_lab)[..., None]
    # Residual i of patch k is sum over channel c and term f of slopes[k, i, c] terms[k, f] coefficients[f, c].
    design = np.einsum("kic,kf->kifc", slopes, terms).reshape(-1, identity.size)
    wanted = np.einsum("kic,kc->ki", slopes, true - terms @ identity).ravel()
    ridge = (_MISFIT / _COEFFICIENT_SIGMA) ** 2 * np.eye(identity.size)
    change = np.linalg.solve(design.T @ design + ridge, design.T @ wanted)
    return RootPolynomial(identity + change.reshape(identity.shape))


def _lab_slopes(linear_rgb: FloatArray) -> FloatArray:
    """(n, 3, 3) float; change of L*, a*, b* (rows) with linear red, green and blue, by central differences."""
    steps = 1e-4 * np.eye(3)
    colors = linear_rgb[:, None]
    return ((lab_from_linear(colors + steps) - lab_from_linear(colors - steps)) / 2e-4).swapaxes(1, 2)


def chart_correction(patch_linear_rgb: FloatArray, reference_lab: FloatArray = SINCE_2014) -> Correction:
    """Tone curve and colors from a 24-patch chart.

    Parameters
    ----------
    patch_linear_rgb : (24, 3) float; linear sRGB, 0 to 1
        Mean colors of the patches, in the reference's order.
    reference_lab : (24, 3) float; CIELAB
        What the patches are; see `chart_values`.

    Returns
    -------
    Correction
        Its uncertainty follows the errors of the chart's own patches, each read without its own help.

    Raises
    ------
    CardUnusable
        Too many patches are clipped or black.
    """
    patches = np.asarray(patch_linear_rgb, dtype=float)
    keep = usable(patches)
    # A saturated patch may hold nothing in one channel and still serve; only its brightest channel can spoil it.
    keep[: GRAY_ROW.start] = usable(patches[: GRAY_ROW.start].max(axis=1, keepdims=True))
    if keep.sum() < _LEAST_PATCHES or keep[GRAY_ROW].sum() < _LEAST_GRAYS:
        raise CardUnusable(
            f"Only {keep.sum()} of the chart's 24 patches are neither blown out nor black.",
            "Take the photo again with the exposure turned down a little.",
        )
    flags: tuple[Flag, ...] = ()
    if not keep.all():
        left_out = int((~keep).sum())
        text = f"{left_out} of the chart's 24 patches are blown out or black and were left out."
        flags = (Flag(FlagCode.PATCHES_LEFT_OUT, text, float(left_out)),)
    start = Correction((), (), (), accuracy.chart(_held_out_errors(patches, reference_lab, keep)), flags)
    curve, colors = _fit(patches, reference_lab, keep)
    return start.then(curve, "tone curve from the chart's gray row").then(
        colors, f"colors from the chart's {keep.sum()} patches (root polynomial of degree {DEGREE})"
    )


def _fit(patches: FloatArray, reference_lab: FloatArray, keep: BoolArray) -> tuple[Any, RootPolynomial]:
    grays = np.flatnonzero(keep)
    grays = grays[grays >= GRAY_ROW.start]
    curve = fit_tone(patches[grays], linear_from_lab(reference_lab[grays]))
    return curve, fit_root_polynomial(curve(patches[keep]), reference_lab[keep])


def _held_out_errors(patches: FloatArray, reference_lab: FloatArray, keep: BoolArray) -> FloatArray:
    """(n,) ΔE00 of each kept patch under a correction fitted without it."""
    errors = []
    for index in np.flatnonzero(keep):
        others = keep.copy()
        others[index] = False
        curve, colors = _fit(patches, reference_lab, others)
        errors.append(
            float(delta_e(lab_from_linear(colors(curve(patches[index : index + 1])))[0], reference_lab[index]))
        )
    return np.array(errors)
