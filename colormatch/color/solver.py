"""Least squares for many small problems at once.

SciPy's ``least_squares`` solves one problem a call, at a cost of milliseconds of overhead; a paint's fit with its
refits is a batch of some thirty problems of the same shape, and a photo's colors to spectra a batch of hundreds. Here
numpy works on the whole batch in each step.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

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


def least_squares(
    problem: Problem, start: FloatArray, *, steps: int = 60, tolerance: float = 1e-6
) -> tuple[FloatArray, FloatArray]:
    """Minimize the sum of squares of each problem of a batch (Levenberg 1944, Marquardt 1963).

    Parameters
    ----------
    problem : callable
        Residuals and derivatives of a part of the batch; see :data:`Problem`.
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
    count, size = best.shape
    residuals, slopes = problem(best, np.arange(count))
    cost = 0.5 * (residuals**2).sum(axis=1)
    damping = np.full(count, _DAMPING)
    open_ = np.arange(count)
    eye = np.eye(size)
    for _ in range(steps):
        r, J = residuals[open_], slopes[open_]
        normal = np.swapaxes(J, 1, 2) @ J
        gradient = (np.swapaxes(J, 1, 2) @ r[..., None])[..., 0]
        scale = np.diagonal(normal, axis1=1, axis2=2)
        # The floor keeps a direction that changes nothing from making the system singular.
        scale = damping[open_, None] * np.maximum(scale, 1e-12) + 1e-12
        step = np.linalg.solve(normal + scale[:, :, None] * eye, -gradient[..., None])[..., 0]
        trial = best[open_] + step
        with np.errstate(over="ignore", invalid="ignore"):
            trial_residuals, trial_slopes = problem(trial, open_)
            trial_cost = 0.5 * (trial_residuals**2).sum(axis=1)
        better = trial_cost < cost[open_]  # false for a step that ran into infinity
        won = open_[better]
        gain = cost[won] - trial_cost[better]
        best[won], cost[won] = trial[better], trial_cost[better]
        residuals[won], slopes[won] = trial_residuals[better], trial_slopes[better]
        damping[won] = np.maximum(damping[won] * _EASE, _LEAST_DAMPING)
        lost = open_[~better]
        damping[lost] *= _TIGHTEN
        done = np.concatenate([won[gain < tolerance], lost[damping[lost] > _MOST_DAMPING]])
        open_ = np.setdiff1d(open_, done, assume_unique=True)
        if not open_.size:
            break
    return best, cost
