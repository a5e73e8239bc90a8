"""Reflectance spectra on one wavelength grid: conversion to CIELAB, and a smooth plausible spectrum of a CIELAB
color.

Sources
-------
W. Jakob and J. Hanika, "A low-dimensional function space for efficient spectral upsampling", Computer Graphics Forum
38(2), 2019: a reflectance as a sigmoid of a quadratic in wavelength. Three coefficients meet three coordinates.
"""

from __future__ import annotations

import numpy as np

from colormatch.color.observer import OBSERVER_D65
from colormatch.color.solver import Which, least_squares
from colormatch.color.space import EPSILON, KAPPA, WHITE_XYZ, lab_from_xyz
from colormatch.records import FloatArray

_TABLE = np.array(OBSERVER_D65)
#: (41,) nm: 380 to 780 every 10.
WAVELENGTHS: FloatArray = _TABLE[:, 0].copy()
_PRODUCT = _TABLE[:, 1:2] * _TABLE[:, 2:]
#: (41, 3): ``reflectance @ XYZ_WEIGHTS`` is XYZ under D65; scaled so that a perfect white is exactly the white.
XYZ_WEIGHTS: FloatArray = _PRODUCT / _PRODUCT.sum(axis=0) * WHITE_XYZ

#: (41, 3) Legendre polynomials over the visible range, -1 to 1: the quadratics of Jakob and Hanika, better conditioned.
_SPAN = (WAVELENGTHS - 580) / 200
_POLYNOMIALS = np.stack([np.ones_like(_SPAN), _SPAN, 1.5 * _SPAN**2 - 0.5], axis=1)
#: Lowest and highest gray reflectance to start the search from; keeps the coefficients finite.
_DARKEST, _LIGHTEST = 1e-4, 0.9999
for _constant in (WAVELENGTHS, XYZ_WEIGHTS):
    _constant.setflags(write=False)


def lab_from_reflectance(reflectance: FloatArray) -> FloatArray:
    """CIELAB under D65 of reflectances.

    Parameters
    ----------
    reflectance : (..., 41) float; unitless, 0 to 1, at :data:`WAVELENGTHS`

    Returns
    -------
    (..., 3) float

    Examples
    --------
    >>> (lab_from_reflectance(np.full(41, 0.18)).round(2) + 0.0).tolist()
    [49.5, 0.0, 0.0]
    """
    return lab_from_xyz(np.asarray(reflectance) @ XYZ_WEIGHTS)


def lab_slopes(xyz: FloatArray) -> FloatArray:
    """(..., 3, 3) derivatives of L*, a*, b* (rows) by X, Y, Z (columns) under D65."""
    t = np.asarray(xyz) / WHITE_XYZ
    root = np.cbrt(np.maximum(t, EPSILON))
    f = np.where(t > EPSILON, 1 / (3 * root * root), KAPPA / 116) / WHITE_XYZ
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    slopes = np.zeros((*f.shape[:-1], 3, 3))
    slopes[..., 0, 1] = 116 * y
    slopes[..., 1, 0], slopes[..., 1, 1] = 500 * x, -500 * y
    slopes[..., 2, 1], slopes[..., 2, 2] = 200 * y, -200 * z
    return slopes


def reflectance_from_lab(lab: FloatArray | tuple[float, ...]) -> FloatArray:
    """A smooth reflectance, between 0 and 1, that has a given CIELAB color under D65.

    Parameters
    ----------
    lab : (..., 3) float

    Returns
    -------
    (..., 41) float; unitless, above 0 and below 1. For a color without such a reflectance (pure black, pure white,
    outside the gamut of surfaces) the closest one; compare its :func:`lab_from_reflectance`.

    Examples
    --------
    >>> wood = (62.0, 9.0, 25.0)
    >>> bool(np.allclose(lab_from_reflectance(reflectance_from_lab(wood)), wood, atol=1e-6))
    True
    """
    lab = np.asarray(lab, dtype=float)
    wanted = lab.reshape(-1, 3)
    gray = np.clip(((wanted[:, 0] + 16) / 116) ** 3, _DARKEST, _LIGHTEST)
    start = np.zeros_like(wanted)
    start[:, 0] = (2 * gray - 1) / (2 * np.sqrt(gray * (1 - gray)))  # inverse of the sigmoid

    def problem(coefficients: FloatArray, which: Which) -> tuple[FloatArray, FloatArray]:
        q = coefficients @ _POLYNOMIALS.T
        root = np.sqrt(1 + q * q)
        xyz = (0.5 + 0.5 * q / root) @ XYZ_WEIGHTS
        by_coefficient = (0.5 / root**3)[..., None] * _POLYNOMIALS
        slopes = lab_slopes(xyz) @ (XYZ_WEIGHTS.T @ by_coefficient)
        return lab_from_xyz(xyz) - wanted[which], slopes

    coefficients, _ = least_squares(problem, start, tolerance=1e-16)
    q = coefficients @ _POLYNOMIALS.T
    reflectance: FloatArray = 0.5 + 0.5 * q / np.sqrt(1 + q * q)
    return reflectance.reshape(*lab.shape[:-1], WAVELENGTHS.size)
