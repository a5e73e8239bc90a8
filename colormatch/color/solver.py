"""Least squares for many small problems at once.

SciPy's ``least_squares`` solves one problem per call, with milliseconds of overhead. A paint's fit is a batch of about
thirty problems of equal shape, and converting a photo's colors to spectra a batch of hundreds. Each NumPy step here
works on the whole batch.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from colormatch.records import FloatArray

#: Indices into the batch, (b,) int.
Which = NDArray[np.integer[Any]]
#: Function of parameters (b, p) and their indices in the batch: residuals (b, r) and derivatives (b, r, p).
Problem = Callable[[FloatArray, Which], tuple[FloatArray, FloatArray]]

#: Marquardt damping: initial value, factor after a good step, factor after a bad step. Below: its limits. Common
#: practice.
_DAMPING, _EASE, _TIGHTEN = 1e-3, 0.2, 5.0
_LEAST_DAMPING, _MOST_DAMPING = 1e-12, 1e8


class NormalEquations(NamedTuple):
    """Cost and normal equations of problems in which each of many parameters affects only a few residuals.

    The k shared parameters come first, then n own parameters; no residual depends on two of those. Eliminating the own
    parameters leaves a k by k system (Å. Björck, Numerical Methods for Least Squares Problems, 1996, chapter 6; cited
    from memory), so the cost of a step grows linearly with n instead of with its cube.
    """

    #: (b,) half the sum of squared residuals.
    cost: FloatArray
    #: (b, k + n) derivatives of the cost.
    gradient: FloatArray
    #: (b, k, k) J'J of the shared parameters.
    shared: FloatArray
    #: (b, n, k) J'J of own by shared parameters.
    border: FloatArray
    #: (b, n) diagonal of J'J of the own parameters; the off-diagonal is zero.
    own: FloatArray

    def step(self, damping: FloatArray) -> FloatArray:
        """(b, k + n) Marquardt step, from (b,) damping."""
        size = self.shared.shape[-1]
        # The floor keeps a direction without effect from making the system singular.
        diagonal = np.diagonal(self.shared, axis1=1, axis2=2)
        scale = damping[:, None] * np.maximum(diagonal, 1e-12) + 1e-12
        own = self.own + damping[:, None] * np.maximum(self.own, 1e-12) + 1e-12
        matrix = self.shared + scale[:, :, None] * np.eye(size)
        wanted = -self.gradient[..., None]
        weighed = np.swapaxes(self.border / own[..., None], 1, 2)
        matrix -= weighed @ self.border
        # With a diagonal of ones, slopes of very different sizes leave the matrix regular.
        unit = 1 / np.sqrt(np.maximum(np.diagonal(matrix, axis1=1, axis2=2), scale))[..., None]
        matrix *= unit * np.swapaxes(unit, 1, 2)
        first = unit * np.linalg.solve(matrix, unit * (wanted[:, :size] - weighed @ wanted[:, size:]))
        rest = (wanted[:, size:] - self.border @ first)[..., 0] / own
        return np.concatenate([first[..., 0], rest], axis=1)


def _without_own(residuals: FloatArray, slopes: FloatArray) -> NormalEquations:
    """Normal equations of residuals (b, r) and derivatives (b, r, p)."""
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
        Residuals and derivatives of some of the batch; see :data:`Problem`.
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
        Starting values.
    steps : int
        Maximum number of steps, accepted or not.
    tolerance : float
        A problem ends when an accepted step lowers its cost by less than this, in units of the squared residual, or
        when no step lowers it.

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
        better = gain > 0  # false if the step reached infinity
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
