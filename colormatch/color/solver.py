"""Least squares for many small problems at once.

SciPy's ``least_squares`` solves one problem a call, at a cost of milliseconds of overhead; a paint's fit with its
refits is a batch of some thirty problems of the same shape, and a photo's colors to spectra a batch of hundreds. Here
numpy works on the whole batch in each step.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from colormatch.records import FloatArray

#: Places in the batch, (b,) int.
Which = NDArray[np.integer[Any]]
#: Given parameters (b, p) and which problems of the batch they belong to: residuals (b, r) and their
#: derivatives (b, r, p).
Problem = Callable[[FloatArray, Which], tuple[FloatArray, FloatArray]]

#: Marquardt's damping at the start, its change after a good and after a bad step, and its limits: common practice.
_DAMPING, _EASE, _TIGHTEN = 1e-3, 0.2, 5.0
_LEAST_DAMPING, _MOST_DAMPING = 1e-12, 1e8


class NormalEquations(NamedTuple):
    """Cost, and what the best step follows from, where some parameters are each met by a few residuals only.

    The k shared parameters come first, then n own ones, no two of which meet in one residual. Eliminating those leaves
    a k by k system (Å. Björck, Numerical Methods for Least Squares Problems, 1996, chapter 6; cited from memory), so
    that a step costs as much as n, and not as its cube.
    """

    #: (b,) half the sum of squared residuals.
    cost: FloatArray
    #: (b, k + n) derivatives of the cost.
    gradient: FloatArray
    #: (b, k, k) J'J of the shared parameters.
    shared: FloatArray
    #: (b, n, k) J'J of own by shared parameters.
    border: FloatArray
    #: (b, n) diagonal of J'J of the own parameters, which is nothing elsewhere.
    own: FloatArray

    def step(self, damping: FloatArray) -> FloatArray:
        """(b, k + n) Marquardt's step, from (b,) damping."""
        size = self.shared.shape[-1]
        # The floor keeps a direction that changes nothing from making the system singular.
        diagonal = np.diagonal(self.shared, axis1=1, axis2=2)
        scale = damping[:, None] * np.maximum(diagonal, 1e-12) + 1e-12
        own = self.own + damping[:, None] * np.maximum(self.own, 1e-12) + 1e-12
        matrix = self.shared + scale[:, :, None] * np.eye(size)
        wanted = -self.gradient[..., None]
        weighed = np.swapaxes(self.border / own[..., None], 1, 2)
        matrix -= weighed @ self.border
        first = np.linalg.solve(matrix, wanted[:, :size] - weighed @ wanted[:, size:])
        rest = (wanted[:, size:] - self.border @ first)[..., 0] / own
        return np.concatenate([first[..., 0], rest], axis=1)


def _without_own(residuals: FloatArray, slopes: FloatArray) -> NormalEquations:
    """The normal equations of residuals (b, r) and derivatives (b, r, p)."""
    across = np.swapaxes(slopes, 1, 2)
    none = np.empty((len(residuals), 0))
    cost = 0.5 * (residuals**2).sum(axis=1)
    gradient = (across @ residuals[..., None])[..., 0]
    return NormalEquations(cost, gradient, across @ slopes, none[..., None] * np.empty(slopes.shape[2]), none)


def least_squares(
    problem: Problem, start: FloatArray, *, steps: int = 60, tolerance: float = 1e-6
) -> tuple[FloatArray, FloatArray]:
    """Minimize the sum of squares of each problem of a batch.

    Parameters
    ----------
    problem : callable
        Residuals and derivatives of a part of the batch; see :data:`Problem`.
    start, steps, tolerance
        See :func:`marquardt`.

    Returns
    -------
    parameters : (b, p) float
    cost : (b,) float; half the sum of squared residuals
    """
    return marquardt(lambda p, which: _without_own(*problem(p, which)), start, steps=steps, tolerance=tolerance)


def marquardt(
    equations: Callable[[FloatArray, Which], NormalEquations],
    start: FloatArray,
    *,
    steps: int = 60,
    tolerance: float = 1e-6,
) -> tuple[FloatArray, FloatArray]:
    """Minimize the cost of each problem of a batch (Levenberg 1944, Marquardt 1963).

    Parameters
    ----------
    equations : callable
        Given parameters (b, p) and which problems of the batch they belong to: their normal equations.
    start : (b, p) float
        Where to begin.
    steps : int
        Most steps, accepted or not.
    tolerance : float
        A problem is done once an accepted step lowers its cost by less than this, in units of the squared residual, or
        once no step lowers it.

    Returns
    -------
    parameters : (b, p) float
    cost : (b,) float; half the sum of squared residuals
    """
    best = np.array(start, dtype=float)
    count = len(best)
    open_ = np.arange(count)
    known = equations(best, open_)
    damping = np.full(count, _DAMPING)
    for _ in range(steps):
        trial = best[open_] + NormalEquations(*(values[open_] for values in known)).step(damping[open_])
        with np.errstate(over="ignore", invalid="ignore"):
            found = equations(trial, open_)
        gain = known.cost[open_] - found.cost
        better = gain > 0  # false for a step that ran into infinity
        won = open_[better]
        best[won] = trial[better]
        for kept, fresh in zip(known, found, strict=True):
            kept[won] = fresh[better]
        damping[open_] *= np.where(better, _EASE, _TIGHTEN)
        np.maximum(damping, _LEAST_DAMPING, out=damping)
        done = np.where(better, gain < tolerance, damping[open_] > _MOST_DAMPING)
        open_ = open_[~done]
        if not open_.size:
            break
    return best, known.cost
