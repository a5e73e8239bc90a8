"""What a paint's swatches still differ by from its model, carried to washes that are alike.

The laws of :mod:`colormatch.wash.film` miss real paint by some share of the change in color that it makes. Washes of
nearly one film over nearly one wood are missed alike, so what a swatch shows of it holds for its neighbors as well: a
Gaussian process over the natural log of the paint on the surface and over the L* of the ground (C. E. Rasmussen and
C. K. I. Williams, Gaussian Processes for Machine Learning, 2006, equations 2.23 and 2.24; cited from memory). At a
swatch that is known exactly, its own color comes out; far from all swatches, the model's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from colormatch.records import FloatArray, Lab

#: Error of the model that each wash has for itself: standard deviation of one axis, ΔE00 (0.5 over all three). From
#: simulations.
MODEL_ERROR = 0.3
#: Error of the model that neighbors share: standard deviation of one axis, as a share of the change in color. Chosen on
#: half of the real paints and on simulated ones of two laws.
CARRIED_ERROR = 0.03
#: Distances at which neighbors share 61 % of it: natural log of the paint on the surface, and L* of the ground. Chosen
#: together with :data:`CARRIED_ERROR`; half or twice of either makes little difference.
_SCALES: FloatArray = np.array([1.0, 25.0])


def model_error(change: FloatArray | float) -> FloatArray:
    """Whole error of the model for washes far from all swatches: standard deviation of one axis, ΔE00.

    Parameters
    ----------
    change : (...) float; ΔE00 between ground and wash
    """
    out: FloatArray = np.hypot(MODEL_ERROR, CARRIED_ERROR * np.asarray(change))
    return out


def place_of(paint_fraction: float, coats: int, ground: Lab) -> tuple[float, float]:
    """Where a wash stands among others: natural log of the paint on the surface, L* of its ground."""
    return float(np.log(paint_fraction * coats)), float(ground.L)


def covariance(places: FloatArray, amplitude: FloatArray, noise: FloatArray) -> FloatArray:
    """(n, n) covariance of what swatches are missed by, of one axis: what neighbors share, and each one's own.

    Parameters
    ----------
    places : (n, 2) float; see :func:`place_of`
    amplitude, noise : (n,) float
        Standard deviation of what neighbors share, and of what they don't, ΔE00.
    """
    out: FloatArray = _alike(places, places) * amplitude[:, None] * amplitude + np.diag(noise**2)
    return out


class Carried(NamedTuple):
    """Misses of a paint's swatches, ready to be carried; without swatches, nothing is."""

    #: (n, 2) places of the swatches.
    places: FloatArray
    #: (1 + m, n, 3) weights of the swatches for the best estimate and for each draw of the paint, ΔE00.
    weights: FloatArray
    #: (n, n) weights for what remains unknown.
    known: FloatArray

    @classmethod
    def of(cls, places: FloatArray, missed: FloatArray, amplitude: FloatArray, noise: FloatArray) -> Carried:
        """From swatches.

        Parameters
        ----------
        places : (n, 2) float
        missed : (1 + m, n, 3) float; reading minus model, each axis in ΔE00
        amplitude, noise : (n,) float
            As of :func:`covariance`; noise above 0.
        """
        inverse = amplitude[:, None] * np.linalg.inv(covariance(places, amplitude, noise))
        return cls(places, inverse @ missed, inverse * amplitude)

    @classmethod
    def nothing(cls, draws: int) -> Carried:
        """Of a wash without swatches."""
        return cls(np.empty((0, 2)), np.empty((1 + draws, 0, 3)), np.empty((0, 0)))

    def at(self, place: tuple[float, float]) -> tuple[FloatArray, float]:
        """What is carried to a place.

        Returns
        -------
        shift : (1 + m, 3) float; as a multiple of the place's own amplitude
        left : float; share of its standard deviation that stays unknown, 0 to 1
        """
        alike = _alike(np.array([place]), self.places)[0]
        return alike @ self.weights, float(np.sqrt(max(0.0, 1 - alike @ self.known @ alike)))


def _alike(places: FloatArray, others: FloatArray) -> FloatArray:
    """(n, k) correlation of places (n, 2) with others (k, 2)."""
    apart = (places[:, None] - others) / _SCALES
    out: FloatArray = np.exp(-0.5 * (apart**2).sum(axis=-1))
    return out
