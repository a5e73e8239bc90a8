"""A paint as thirteen parameters, and their optical meaning.

``theta`` is the parameter vector of a fit: six knots of log absorption by wavelength, level, slope and two
bends of log scattering, inner reflectance of the surface (as a logit), and the two exponents of the film.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

import numpy as np

from colormatch.color.spectra import WAVELENGTHS
from colormatch.records import FloatArray

#: nm; knots of log K. Six resolve all that CIELAB reveals of a smooth paint.
KNOTS: FloatArray = np.linspace(410, 690, 6)
#: nm; visible range. K is held constant beyond it.
_SEEN = (400, 700)
#: Reference wavelength of the scattering, nm.
_MIDDLE = 550.0
#: Largest inner reflectance of a surface: 0.5963 for diffuse light below n = 1.5 (Fresnel), plus a small margin.
MOST_INNER = 0.65

#: Indices into theta.
LOG_K = slice(0, 6)
LOG_S, SLOPE_S, BENDS_S, LOGIT_K2, GAMMA, LOG_RHO = 6, 7, slice(8, 10), 10, 11, 12
#: All of the scattering.
OF_S = slice(6, 10)
SIZE = 13


class Optics(NamedTuple):
    """Optics of a paint or a mix, ready for the film equations. Leading axes are draws."""

    #: (..., 41) absorption and scattering per unit of film.
    K: FloatArray
    S: FloatArray
    #: (...) inner reflectance of its closed surface.
    k2: FloatArray
    #: (...) exponent of the paint fraction, and ratio of successive coats; see :func:`colormatch.wash.film.thickness`.
    gamma: FloatArray
    rho: FloatArray


@cache
def knot_basis() -> FloatArray:
    """(41, 6): log K at every wavelength from the knots, by a natural cubic spline.

    Written out for equal steps (C. de Boor, A Practical Guide to Splines, 1978, chapter IV): importing SciPy's takes a
    quarter of a second, half the time of a whole match.
    """
    count, step = KNOTS.size, float(KNOTS[1] - KNOTS[0])
    values, bends = np.eye(count), np.zeros((count, count))  # bends: second derivatives, zero at the ends
    neighbors = 4 * np.eye(count - 2) + np.eye(count - 2, k=1) + np.eye(count - 2, k=-1)
    bends[1:-1] = np.linalg.solve(neighbors, 6 / step**2 * np.diff(values, n=2, axis=0))
    place = (np.clip(WAVELENGTHS, *_SEEN) - KNOTS[0]) / step
    left = np.clip(np.floor(place).astype(int), 0, count - 2)
    after = (place - left)[:, None]
    before = 1 - after
    basis: FloatArray = before * values[left] + after * values[left + 1]
    basis += step**2 / 6 * ((before**3 - before) * bends[left] + (after**3 - after) * bends[left + 1])
    basis.setflags(write=False)
    return basis


def _scattering_basis() -> FloatArray:
    """(41, 4): log S at every wavelength from its level, slope and bends: a cubic in log wavelength.

    The bends are Legendre's polynomials of second and third degree over the visible range, each 1 at its long end.
    """
    seen = np.log(np.clip(WAVELENGTHS, *_SEEN))
    ends = np.log(_SEEN)
    u = (2 * seen - ends[0] - ends[1]) / (ends[1] - ends[0])
    slope = np.log(WAVELENGTHS / _MIDDLE)
    return np.stack([np.ones_like(u), slope, (3 * u**2 - 1) / 2, (5 * u**3 - 3 * u) / 2], axis=1)


SCATTERING_BASIS: FloatArray = _scattering_basis()


def optics_of(theta: FloatArray) -> Optics:
    """Optics of (..., 13) parameters."""
    theta = np.asarray(theta)
    return Optics(
        np.exp(theta[..., LOG_K] @ knot_basis().T),
        np.exp(theta[..., OF_S] @ SCATTERING_BASIS.T),
        MOST_INNER / (1 + np.exp(-theta[..., LOGIT_K2])),
        theta[..., GAMMA],
        np.exp(theta[..., LOG_RHO]),
    )


def mix(paints: Sequence[Optics], parts: Sequence[float] | FloatArray) -> Optics:
    """Mix paints.

    Absorption and scattering add by volume (D. R. Duncan, Proceedings of the Physical Society 52, 1940); surface and
    film exponents are averaged, our assumption.

    Parameters
    ----------
    paints : sequence of k Optics; shapes broadcast
    parts : (k,) or (k, m) float
        By volume, of each paint, in all draws alike or in each; only their ratios matter.
    """
    if len(paints) == 1:
        return paints[0]
    shares = np.asarray(parts, dtype=float) / np.sum(parts, axis=0)

    def mean(values: Sequence[FloatArray]) -> FloatArray:
        each = np.stack(np.broadcast_arrays(*values))
        out: FloatArray = (shares.reshape(shares.shape + (1,) * (each.ndim - shares.ndim)) * each).sum(axis=0)
        return out

    return Optics(*map(mean, zip(*paints, strict=True)))
