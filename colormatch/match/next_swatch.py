"""Choose the next swatch: the one that would help this repair most.

Each draw of the paints is taken as the truth in turn: a possible swatch is measured on it with all errors, the other
draws are updated by that measurement, and the best recipe is chosen again. The value of the swatch is the mean, over
these truths, of the resulting expected difference. The update is the linear one of an ensemble Kalman filter (G.
Evensen, Journal of Geophysical Research 99, 1994): cheap, and good enough to choose between swatches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.spectra import reflectance_from_lab
from colormatch.match.finish import brushed
from colormatch.match.problem import MatchProblem, Outcomes
from colormatch.records import SIGMA_PER_RADIUS, FloatArray, Layer, Shelf
from colormatch.wash.carried import model_error
from colormatch.wash.film import Body, bare
from colormatch.wash.paint import REFITS
from colormatch.wash.predict import no_luck, predict_many

#: Recipes to choose from after the swatch, and draws per recipe.
_RECIPES, _DRAWS = 16, 2 * REFITS
#: Paints examined: those of the best recipes.
_PAINTS = 4
#: Washes worth a swatch for any paint: paint fraction and coats.
_USUAL = ((1.0, 1), (0.25, 1), (0.25, 2), (0.125, 1))
#: Uncertainty of a swatch's reading, ΔE00 90 % radius: the default of a record.
_READING = 1.0


@dataclass(frozen=True)
class NextSwatch:
    """A swatch worth painting, on wood like the damage."""

    layer: Layer
    #: ΔE00 expected of the best recipe now, and with the swatch.
    before: float
    after: float


def next_swatch(job: MatchProblem, outcomes: Outcomes) -> NextSwatch | None:
    """Find the swatch that lowers the expected difference most; None if no recipe uses a paint.

    Parameters
    ----------
    job : MatchProblem
    outcomes : Outcomes
        Outcomes of the recipes to choose from.
    """
    order = np.argsort(outcomes.order, kind="stable")
    order = np.array([i for i in order if outcomes.recipes[i]], dtype=int)[:_RECIPES]
    recipes = [outcomes.recipes[i] for i in order]
    designs = _designs([layer for recipe in recipes for layer in recipe], job.shelf)
    if not designs:
        return None
    colors, target = outcomes.draws[order, :_DRAWS], job.compared_draws[:_DRAWS]
    before = float(np.asarray(delta_e(colors, target)).mean(axis=1).min())

    still = no_luck(REFITS)
    whole = [(*job.base, *recipe) for recipe in recipes]
    _, by_paint = predict_many(job.models, whole, job.task.ground, 0.0, still, job.clear, then=job.then)
    _, strips = predict_many(job.models, [[design] for design in designs], job.task.ground, 0.0, still)
    rng = np.random.default_rng(0)
    ground = bare(reflectance_from_lab(job.task.ground))
    best: NextSwatch | None = None
    for design, strip in zip(designs, strips, strict=True):
        paint = design.paints[0].paint
        uses = np.array([any(part.paint == paint for layer in recipe for part in layer.paints) for recipe in recipes])
        noise = _noise(job, design, ground)
        read = strip + rng.multivariate_normal(np.zeros(3), noise, size=REFITS)
        gain = _gain(by_paint, strip, noise) * uses[:, None, None]
        moves = read @ np.swapaxes(gain, 1, 2)  # (recipes, refits, 3)
        truths = moves[:, :, None] - np.tile(moves, (1, _DRAWS // REFITS, 1))[:, None]
        known = np.asarray(delta_e(colors[:, None] + truths, target)).mean(axis=2)
        after = float(known.min(axis=0).mean())
        if best is None or after < best.after:
            best = NextSwatch(design, before, after)
    return best


def _designs(layers: list[Layer], shelf: Shelf) -> list[Layer]:
    """Washes of the recipes, and the standard swatches of their paints."""
    paints = list(dict.fromkeys(part.paint for layer in layers for part in layer.paints))[:_PAINTS]
    own = [layer for layer in layers if len(layer.paints) == 1 and layer.paints[0].paint in paints]
    usual = [Layer((shelf.part(paint),), fraction, coats) for paint in paints for fraction, coats in _USUAL]
    return list(dict.fromkeys([*own, *usual]))


def _noise(job: MatchProblem, design: Layer, ground: Body) -> FloatArray:
    """(3, 3) covariance of a swatch's reading given its paint: reading, model error, brushing."""
    usual, thicker = brushed(job.models, design, ground)
    missed = model_error(delta_e(usual, np.asarray(job.task.ground)))
    axes = np.hypot(_READING * SIGMA_PER_RADIUS, missed) / axis_weights(usual)
    out: FloatArray = np.diag(axes**2) + np.outer(thicker - usual, thicker - usual)
    return out


def _gain(colors: FloatArray, strip: FloatArray, noise: FloatArray) -> FloatArray:
    """(r, 3, 3) gain matrices: update of the recipes' colors (r, m, 3) per unit of surprise in a strip (m, 3)."""
    off = strip - strip.mean(axis=0)
    together = np.swapaxes(colors - colors.mean(axis=1, keepdims=True), 1, 2) @ off / (len(strip) - 1)
    out: FloatArray = together @ np.linalg.inv(off.T @ off / (len(strip) - 1) + noise)
    return out
