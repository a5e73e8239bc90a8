"""Model of a paint, learned from its swatches.

The fit is maximum a posteriori: thirteen parameters (:mod:`colormatch.wash.optics`) with a prior from general physics,
against the swatches' colors in ΔE00. Each swatch adds a parameter for the deviation of its film thickness, since
brushing and measuring water are the largest errors of a careful swatch. What the swatches still differ by is carried to
their neighbors (:mod:`colormatch.wash.carried`).

Uncertainty comes from refits with every datum and every prior mean perturbed by its standard deviation (randomized
maximum a posteriori; J. M. Bardsley et al., SIAM Journal on Scientific Computing 36(4), 2014). Many swatches determine
a paint so closely that the problem is nearly linear, where such refits are draws from a normal distribution whose
inverse covariance is J'J: these draws are then made directly.

If swatches scatter more than their uncertainties allow, the uncertainties are too small, whichever swatch is wrong. All
of them are then multiplied by the Birge ratio, the root of chi-square over its degrees of freedom, and the paint is
fitted again (R. T. Birge, Physical Review 40, 1932; cited from memory).
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import NamedTuple

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.solver import NormalEquations, Which, marquardt
from colormatch.color.spectra import lab_from_reflectance, reflectance_from_lab
from colormatch.errors import PaintError
from colormatch.records import SIGMA_PER_RADIUS, Flag, FlagCode, FloatArray, Swatch
from colormatch.wash import film as physics
from colormatch.wash import optics
from colormatch.wash.carried import CARRIED_ERROR, MODEL_ERROR, Carried, covariance, place_of
from colormatch.wash.doubts import birge_ratio, fit_flags
from colormatch.wash.slopes import washes_with_slopes

#: Number of refits for the uncertainty.
REFITS = 30
#: Standard deviation of log film thickness from one application to the next: 12 %, from simulations.
APPLICATION_SCATTER = 0.12
#: Relative error of a spoon of water: common practice, no source.
WATER_ERROR = 0.15

#: Prior of theta: mean and standard deviation, wide enough for whites, umbers and glazes. Per full coat K may be 0.02
#: (a white) or 5 (a black), so its level is nearly free; S is between 0.1 (a glaze) and 4 (a white) and falls with
#: wavelength; the surface is matte to closed; equal wet films leave paint in proportion to its fraction (exponent 1),
#: and wiping removes a little more of a thin one; a later coat leaves slightly less. The widths were tuned on simulated
#: paints that follow other physics.
PRIOR_MEAN: FloatArray = np.array([-0.8] * 6 + [-0.2, -0.4, 0.0, 0.0, 0.5, 1.05, np.log(0.92)])
PRIOR_SIGMA: FloatArray = np.array([3.0] * 6 + [1.3, 0.5, 0.2, 0.2, 0.6, 0.10, 0.08])
#: Words on a can for a transparent film, and the log S of such a paint: between 0.1 and 0.4 for a full coat, where one
#: swatch can't distinguish a glaze from an opaque paint. Wide enough for a label that overstates.
_TRANSPARENT = frozenset(("glaze", "stain", "dye", "tint", "transparent"))
_TRANSPARENT_LOG_S, _TRANSPARENT_SIGMA = np.log(0.2), 0.8
#: Smoothness of log K: standard deviations of the step from knot to knot, and of the change in step.
STEP_SIGMA, BEND_SIGMA = 2.0, 1.2
#: Starting values of the inner reflectance, in standard deviations from its mean; only this direction has several
#: minima.
_STARTS = (0.0, 1.5, -1.5)
#: Most steps of a fit, and the decrease of half of chi-square at which it stops: for the estimate, and for the refits.
_STEPS, _FINE, _REFIT = 60, 1e-5, 1e-3
#: Number of swatches from which they determine a paint closely: coarser limits are then enough (theta to a twentieth of
#: its standard deviation, the starts in single precision), and the draws are normal.
_MANY, _FINE_OF_MANY, _ROUGH = 24, 1e-3, 1e-2
#: Increase it when the fit changes in a way not shown by the numbers above, so that stored models are recomputed.
_VERSION = 4


@dataclass(frozen=True, eq=False)
class PaintModel:
    """Model of a paint, learned from its swatches."""

    name: str
    #: (13,) best estimate; see :mod:`colormatch.wash.optics`.
    theta: FloatArray
    #: (30, 13) equally likely parameters.
    draws: FloatArray
    #: (n,) ΔE00 between each swatch and its prediction, in the order of the distinct swatches.
    residuals: FloatArray
    #: Hash of the swatches and of the fit's settings.
    key: str
    flags: tuple[Flag, ...] = ()
    #: Birge ratio: the factor applied to the uncertainties of the swatches and of the model because the swatches
    #: contradict each other; 1 if they don't.
    spread: float = 1.0
    #: What the swatches still differ by, for neighboring washes.
    carried: Carried = field(default_factory=partial(Carried.nothing, REFITS))

    def __post_init__(self) -> None:
        for values in (self.theta, self.draws, self.residuals, *self.carried):
            values.setflags(write=False)

    def to_bytes(self) -> bytes:
        """Serialize the model, without pickle."""
        facts = json.dumps({"name": self.name, "key": self.key, "flags": self.flags, "spread": self.spread})
        held = io.BytesIO()
        arrays = {"theta": self.theta, "draws": self.draws, "residuals": self.residuals, **self.carried._asdict()}
        np.savez(held, facts=np.array(facts), **arrays)
        return held.getvalue()

    @classmethod
    def from_bytes(cls, content: bytes) -> PaintModel:
        """Inverse of :meth:`to_bytes`.

        Raises
        ------
        PaintError
            Invalid content.
        """
        try:
            with np.load(io.BytesIO(content), allow_pickle=False) as held:
                facts = json.loads(str(held["facts"]))
                flags = tuple(Flag(FlagCode(code), *rest) for code, *rest in facts["flags"])
                theta, draws, residuals = held["theta"], held["draws"], held["residuals"]
                carried = Carried(*(held[name] for name in Carried._fields))
                return cls(facts["name"], theta, draws, residuals, facts["key"], flags, float(facts["spread"]), carried)
        except Exception as error:
            raise PaintError("A stored paint model is unreadable.", "Fit the paint again.") from error


def hand_scatter(paint_fraction: FloatArray | float) -> FloatArray:
    """Standard deviation of the log film thickness of a wash: its brushing and, as far as it is water, its measuring.

    A cup with more water leaves that much less paint: the log of p / (p + w) falls with the log of w by the water's
    share of the wash.

    Examples
    --------
    >>> [round(float(hand_scatter(fraction)), 3) for fraction in (1.0, 0.25)]
    [0.12, 0.164]
    """
    out: FloatArray = np.hypot(APPLICATION_SCATTER, WATER_ERROR * (1 - np.asarray(paint_fraction, dtype=float)))
    return out


def distinct(swatches: Sequence[Swatch]) -> tuple[Swatch, ...]:
    """Swatches without copies, in order: a spot entered twice counts once.

    The same wash on the same ground with exactly the same color is one reading; of several, the least certain is kept.
    """
    kept: dict[tuple[object, ...], Swatch] = {}
    for swatch in swatches:
        reading = (swatch.paint, swatch.paint_fraction, swatch.coats, *swatch.ground_lab, *swatch.lab)
        if reading not in kept or swatch.uncertainty > kept[reading].uncertainty:
            kept[reading] = swatch
    return tuple(kept.values())


def is_transparent(name: str, kind: str) -> bool:
    """Whether the can says glaze, stain or the like."""
    return not _TRANSPARENT.isdisjoint(f"{name} {kind}".lower().split())


def fit_key(swatches: Sequence[Swatch], kind: str = "") -> str:
    """Key of the model of these swatches; independent of their order and of copies."""
    surface = (physics.OUTER_REFLECTANCE, physics.SURFACE_FILM)
    numbers = (REFITS, APPLICATION_SCATTER, WATER_ERROR, MODEL_ERROR, CARRIED_ERROR, STEP_SIGMA, BEND_SIGMA, *surface)
    settings = [_VERSION, *numbers, PRIOR_MEAN.tolist(), PRIOR_SIGMA.tolist()]
    if any(is_transparent(s.paint, kind) for s in swatches):
        settings += [_TRANSPARENT_LOG_S, _TRANSPARENT_SIGMA]
    return hashlib.sha256(json.dumps([settings, sorted(_content(s) for s in distinct(swatches))]).encode()).hexdigest()


def _content(swatch: Swatch) -> list[object]:
    """The parts of a swatch that the fit depends on."""
    numbers = (swatch.paint_fraction, swatch.coats, *swatch.ground_lab, *swatch.lab, swatch.uncertainty)
    return [swatch.paint, *(float(v) for v in numbers)]


def fit_paint(swatches: Sequence[Swatch], kind: str = "") -> PaintModel:
    """Learn one paint.

    Parameters
    ----------
    swatches : sequence of Swatch
        One or more of one paint, on any grounds. Order and copies don't matter.
    kind : str
        Kind stated on the can; a glaze or a stain is expected to hide little.

    Returns
    -------
    PaintModel

    Raises
    ------
    PaintError
        No swatch (the can alone doesn't give a color), or swatches of different paints.
    """
    names = {s.paint for s in swatches}
    if not names:
        raise PaintError("The paint has no swatch.", "Paint one swatch, let it dry and measure it.")
    if len(names) > 1:
        raise PaintError("The swatches are of different paints.", "Fit one paint at a time.", paints=sorted(names))
    key = fit_key(swatches, kind)
    swatches = distinct(swatches)
    order = sorted(range(len(swatches)), key=lambda i: [str(v) for v in _content(swatches[i])])
    rng = np.random.default_rng(int(key[:16], 16))
    problem = _Fit([swatches[i] for i in order], rng, transparent=is_transparent(swatches[0].paint, kind))

    theta, draws, surprise, spread = problem.solve()
    predicted = problem.predicted(theta)
    place = np.argsort(order)
    residuals = np.asarray(delta_e(predicted, problem.lab))[place]
    hiding = float(draws[:, optics.LOG_S].std())
    flags = fit_flags(swatches, residuals, surprise[place], problem.unreached[place], spread, hiding)
    carried = problem.carried(np.concatenate([theta[None], draws]), spread)
    return PaintModel(swatches[0].paint, theta, draws, residuals, key, flags, spread, carried)


class _Residuals(NamedTuple):
    """Residuals of unit variance, and their derivatives."""

    #: (b, n, 3) residuals of the swatches' colors.
    data: FloatArray
    #: (b, r) residuals of the prior.
    prior: FloatArray
    #: (b, n) residuals of the films' log thickness.
    film: FloatArray
    #: (b, n, 3, 13) and (b, n, 3) derivatives of the colors by theta, and by each swatch's own log thickness.
    by_theta: FloatArray
    by_film: FloatArray


class _Fit:
    """The least-squares problem of one paint: data, prior, and their perturbations in the refits."""

    def __init__(self, swatches: Sequence[Swatch], rng: np.random.Generator, *, transparent: bool = False) -> None:
        self.fraction = np.array([s.paint_fraction for s in swatches])
        self.coats = np.array([s.coats for s in swatches])
        self.places = np.array([place_of(s.paint_fraction, s.coats, s.ground_lab) for s in swatches])
        grounds = np.array([s.ground_lab for s in swatches])
        self.ground = reflectance_from_lab(grounds)
        self.coarse_ground = self.ground.astype(np.float32)
        self.lab = np.array([s.lab for s in swatches])
        self.unreached = np.asarray(delta_e(lab_from_reflectance(self.ground), grounds))
        #: (n,) standard deviation of each color on its own, one axis, ΔE00; and of what neighbors share.
        self.own_error = np.hypot([s.uncertainty * SIGMA_PER_RADIUS for s in swatches], MODEL_ERROR)
        self.shared_error = CARRIED_ERROR * np.asarray(delta_e(self.lab, grounds))
        self.per_sigma = axis_weights(self.lab) / self.own_error[:, None]
        #: (n,) standard deviation of each log film thickness.
        self.scatter_sigma = hand_scatter(self.fraction)
        count = len(swatches)
        self.many = count >= _MANY
        self.mean, sigma_of_theta = PRIOR_MEAN.copy(), PRIOR_SIGMA.copy()
        if transparent:
            self.mean[optics.LOG_S], sigma_of_theta[optics.LOG_S] = _TRANSPARENT_LOG_S, _TRANSPARENT_SIGMA
        self.prior = _prior_rows(sigma_of_theta)
        rows = 3 * count + len(self.prior) + count
        # Problems 0 .. starts - 1 are the fit; the others are refits.
        self.moves = np.concatenate([np.zeros((len(_STARTS), rows)), rng.standard_normal((REFITS, rows))])
        self.normals = rng.standard_normal((REFITS, optics.SIZE))

    def solve(self) -> tuple[FloatArray, FloatArray, FloatArray, float]:
        """Solve for theta (13,), draws (30, 13), chi-square of each swatch (n,) before the Birge ratio, and that
        ratio.
        """
        best = self._best()
        surprise, freedom = self._surprise(best)
        spread = birge_ratio(surprise, freedom)
        if spread > 1:
            self.per_sigma = self.per_sigma / spread
            self.scatter_sigma = self.scatter_sigma * spread
            best = self._best()

        theta = best[: optics.SIZE].copy()
        if self.many:
            root = np.linalg.cholesky(self._information(best))
            return theta, theta + np.linalg.solve(root.T, self.normals.T).T, surprise, spread

        def refit(parameters: FloatArray, which: Which) -> NormalEquations:
            return self._equations(parameters, which + len(_STARTS))

        refits, _ = marquardt(refit, np.tile(best, (REFITS, 1)), steps=_STEPS, tolerance=_REFIT)
        return theta, refits[:, : optics.SIZE].copy(), surprise, spread

    def _best(self) -> FloatArray:
        """(13 + n,) parameters with the lowest cost."""
        starts = np.zeros((len(_STARTS), optics.SIZE + len(self.coats)))
        starts[:, : optics.SIZE] = self.mean
        starts[:, optics.LOGIT_K2] += np.array(_STARTS) * PRIOR_SIGMA[optics.LOGIT_K2]
        if not self.many:
            found, cost = marquardt(self._equations, starts, steps=_STEPS, tolerance=_FINE)
            return np.asarray(found[np.argmin(cost)])
        found, cost = marquardt(partial(self._equations, fast=True), starts, steps=_STEPS, tolerance=_ROUGH)
        nearly = found[[np.argmin(cost)]]
        return np.asarray(marquardt(self._equations, nearly, steps=_STEPS, tolerance=_FINE_OF_MANY)[0][0])

    def _surprise(self, best: FloatArray) -> tuple[FloatArray, float]:
        """(n,) chi-square of each swatch, including its film thickness, and the degrees of freedom of their sum.

        Chi-square is with the covariance of what neighbors share; each swatch has the terms of its own row. Each
        residual keeps the share of its variance that the fit leaves: one minus its leverage (diagonal of J
        (J'J)^-1 J', D. C. Hoaglin and R. E. Welsch, The American Statistician 32(1), 1978). All leverages, including
        those of the prior's rows, add up to the number of parameters: a parameter held by the prior costs the swatches
        less than one degree.
        """
        count = len(self.coats)
        residuals = self._residuals(best[None], np.array([0]))
        # What the model misses of neighbors alike is no contradiction between them.
        missed = residuals.data[0] * self.own_error[:, None]
        both = covariance(self.places, self.shared_error, self.own_error)
        surprise: FloatArray = (missed * np.linalg.solve(both, missed)).sum(axis=1) + residuals.film[0] ** 2
        of_prior = float(np.trace(np.linalg.solve(self._information(best), self.prior.T @ self.prior)))
        return surprise, 3 * count - optics.SIZE + of_prior

    def _information(self, best: FloatArray) -> FloatArray:
        """(13, 13) inverse covariance of theta, whatever the thickness of each film."""
        known = self._equations(best[None], np.array([0]))
        border = known.border[0]
        return np.asarray(known.shared[0] - border.T @ (border / known.own[0, :, None]))

    def carried(self, theta: FloatArray, spread: float) -> Carried:
        """What the swatches differ by from (1 + m, 13) parameters at their usual films."""
        usual = np.zeros((len(theta), len(self.coats)))
        lab, _, by_film = washes_with_slopes(theta, usual, self.fraction, self.coats, self.ground)
        weights = axis_weights(self.lab)
        hand = np.sqrt(((by_film[0] * weights) ** 2).mean(axis=1)) * self.scatter_sigma
        noise = np.hypot(hand, spread * self.own_error)
        return Carried.of(self.places, (self.lab - lab) * weights, spread * self.shared_error, noise)

    def predicted(self, theta: FloatArray) -> FloatArray:
        """(n, 3) predicted color of each swatch at its nominal film thickness."""
        paint = optics.optics_of(theta)
        x = physics.thickness(self.fraction, self.coats, paint.gamma, paint.rho)
        coat = physics.film(paint.K, paint.S, x, paint.k2)
        return lab_from_reflectance(physics.seen(physics.lay(coat, physics.bare(self.ground))))

    def _residuals(self, parameters: FloatArray, which: Which, *, fast: bool = False) -> _Residuals:
        """Residuals of parameters (b, 13 + n): theta, then log thickness of each film. `fast`: to about 1e-3."""
        theta, film = parameters[:, : optics.SIZE], parameters[:, optics.SIZE :]
        ground = self.coarse_ground if fast else self.ground
        lab, by_theta, by_film = washes_with_slopes(theta, film, self.fraction, self.coats, ground)
        count = len(self.coats)
        rows = 3 * count + len(self.prior)
        moves = self.moves[which]
        data = (lab - self.lab) * self.per_sigma - moves[:, : 3 * count].reshape(lab.shape)
        prior = (theta - self.mean) @ self.prior.T - moves[:, 3 * count : rows]
        return _Residuals(
            data,
            prior,
            film / self.scatter_sigma - moves[:, rows:],
            by_theta * self.per_sigma[..., None],
            by_film * self.per_sigma,
        )

    def _equations(self, parameters: FloatArray, which: Which, *, fast: bool = False) -> NormalEquations:
        """Normal equations of parameters (b, 13 + n): theta is shared, each thickness belongs to its swatch."""
        r = self._residuals(parameters, which, fast=fast)
        batch = len(parameters)
        data, slopes = r.data.reshape(batch, -1, 1), r.by_theta.reshape(batch, -1, optics.SIZE)
        across = np.swapaxes(slopes, 1, 2)
        cost = 0.5 * ((r.data**2).sum(axis=(1, 2)) + (r.prior**2).sum(axis=1) + (r.film**2).sum(axis=1))
        by_theta = (across @ data)[..., 0] + r.prior @ self.prior
        by_film = (r.by_film * r.data).sum(axis=2) + r.film / self.scatter_sigma
        return NormalEquations(
            cost,
            np.concatenate([by_theta, by_film], axis=1),
            across @ slopes + self.prior.T @ self.prior,
            (r.by_film[:, :, None] @ r.by_theta)[:, :, 0],
            (r.by_film**2).sum(axis=2) + self.scatter_sigma**-2,
        )


def _prior_rows(sigma: FloatArray) -> FloatArray:
    """(r, 13): rows @ (theta - mean) are the prior's residuals, each of unit variance."""
    knots = np.eye(optics.KNOTS.size)
    smooth = np.concatenate([np.diff(knots, axis=0) / STEP_SIGMA, np.diff(knots, n=2, axis=0) / BEND_SIGMA])
    padded = np.zeros((len(smooth), optics.SIZE))
    padded[:, optics.LOG_K] = smooth
    return np.concatenate([np.diag(1 / sigma), padded])
