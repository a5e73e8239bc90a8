"""A matching problem and the Monte Carlo draws shared by all its candidates."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.spectra import reflectance_from_lab
from colormatch.match.finish import Ending, clear_coat_named, film_of_layer
from colormatch.match.grain import TONE, GrainLines
from colormatch.records import SIGMA_PER_RADIUS, FloatArray, Layer, Limits, Shelf, Swatch, Task
from colormatch.wash.clear import ClearCoat
from colormatch.wash.film import TYPICAL_INNER, Body, covered, lay, read_through
from colormatch.wash.paint import PaintModel, distinct
from colormatch.wash.predict import Draws, draw_normals, predict_many

#: One recipe: layers, lowest first; empty leaves the damage alone.
Recipe = tuple[Layer, ...]

#: ΔE00 between two grounds up to which a swatch on one is valid for the other; our choice.
SIMILAR_GROUND = 3.0
#: Largest difference between paint fractions of the same ratio.
SAME_FRACTION = 1e-4


@dataclass(frozen=True, eq=False)
class Outcomes:
    """Dried colors of recipes."""

    recipes: tuple[Recipe, ...]
    #: (c, 3) best estimate; (c, m, 3) draws; (c, m) ΔE00 of each draw to the target of the same draw.
    lab: FloatArray
    draws: FloatArray
    delta_e: FloatArray
    #: (c, m) the same without what the distance from ground to target may be off by, which all recipes share: what
    #: they are told apart by.
    compared: FloatArray
    #: (c,) ΔE00 of the best estimate to the target.
    best_delta_e: FloatArray
    #: (c,) share of the wood's own contrast that still shows.
    grain_kept: FloatArray

    @property
    def expected(self) -> FloatArray:
        """(c,) mean ΔE00."""
        out: FloatArray = self.delta_e.mean(axis=1)
        return out

    @property
    def order(self) -> FloatArray:
        """(c,) what they are ranked by: mean ΔE00 without what all of them share."""
        out: FloatArray = self.compared.mean(axis=1)
        return out


@dataclass(frozen=True, eq=False)
class MatchProblem:
    """A matching problem and the Monte Carlo draws shared by all its candidates."""

    task: Task
    models: Mapping[str, PaintModel]
    shelf: Shelf
    chances: Draws
    #: Layers over the whole piece afterwards.
    then: Recipe
    clear: ClearCoat | None
    #: Layers on the damage below every recipe.
    base: Recipe
    #: (3,) what the sound wood ends as, and (m, 3) its draws; and those without the error of the distance to it.
    finished: FloatArray
    finished_draws: FloatArray
    compared_draws: FloatArray

    @classmethod
    def of(
        cls,
        task: Task,
        shelf: Shelf,
        models: Mapping[str, PaintModel],
        limits: Limits,
        base: Recipe = (),
    ) -> MatchProblem:
        """Make the draws; parameters as for :func:`colormatch.match.rank.rank_washes`."""
        rng = np.random.default_rng(limits.seed)
        chances = draw_normals(rng)
        own, shared, distance = rng.standard_normal((3, *chances.ground.shape))
        clear = clear_coat_named(shelf, limits.clear)
        target_error = _joined(own, task.target_uncertainty, shared, task.shared_uncertainty)
        ground_error = _joined(chances.ground, task.ground_uncertainty, shared, task.shared_uncertainty)
        finished, compared = _finished_target(task, target_error, chances, models, limits, clear)
        off = distance * task.distance_uncertainty * SIGMA_PER_RADIUS / axis_weights(finished)
        chances = replace(chances, ground=ground_error)
        return cls(task, models, shelf, chances, limits.then, clear, base, finished, compared + off, compared)

    def ending(self) -> Ending:
        """Best estimate of the layers over the whole piece."""
        return Ending.of(self.models, self.then, self.clear)

    def grain(self) -> GrainLines:
        """A lighter and a darker tone of the ground, to see how much of their contrast a wash keeps."""
        ground = np.asarray(self.task.ground)
        # Near black and white both tones move inward, since L* ends there.
        middle = np.array([np.clip(ground[0], TONE, 100 - TONE), *ground[1:]])
        tones = middle + np.array([[TONE, 0, 0], [-TONE, 0, 0]])
        return GrainLines(self.body(tones), self.ending())

    def body(self, ground: FloatArray | None = None) -> Body:
        """(..., 41) best estimate of the ground, or of other grounds (..., 3), with the existing layers."""
        reflectance = reflectance_from_lab(self.task.ground if ground is None else ground)
        inner = TYPICAL_INNER if self.clear is None else float(self.clear.values[0])
        body = covered(reflectance, float(self.task.ground_state.closed), inner)
        for layer in self.task.painted:
            body = lay(film_of_layer(self.models, layer), body)
        body = read_through(reflectance, body)
        for layer in self.base:
            body = lay(film_of_layer(self.models, layer), body)
        return body

    def outcomes(self, recipes: Iterable[Recipe]) -> Outcomes:
        """Simulate recipes."""
        recipes = tuple(recipes)
        lab, draws = predict_many(
            self.models,
            [(*self.base, *recipe) for recipe in recipes],
            self.task.ground,
            self.task.ground_radius,
            self.chances,
            self.clear,
            self.task.painted,
            self.then,
            closed=self.task.ground_state.closed,
        )
        compared = differences = np.asarray(delta_e(draws, self.compared_draws))
        if self.task.distance_uncertainty:
            differences = np.asarray(delta_e(draws, self.finished_draws))
        grain = self.grain()
        kept = np.array([grain.kept_by(self.models, recipe) for recipe in recipes])
        best = np.asarray(delta_e(lab, self.finished))
        return Outcomes(recipes, lab, draws, differences, compared, best, kept)

    def measured(self, recipe: Recipe) -> tuple[Swatch, ...]:
        """Distinct swatches of exactly this wash on a ground like the damage."""
        more = self.base or self.then or self.clear or self.task.painted
        if more or len(recipe) != 1 or len(recipe[0].paints) != 1:
            return ()
        layer = recipe[0]
        return tuple(
            s
            for s in distinct(self.shelf.of(layer.paints[0].paint))
            if s.coats == layer.coats
            and abs(s.paint_fraction - layer.paint_fraction) < SAME_FRACTION
            and float(delta_e(s.ground_lab, self.task.ground)) <= SIMILAR_GROUND
        )


def _joined(own: FloatArray, radius: float, shared: FloatArray, shared_radius: float) -> FloatArray:
    """A standard normal error combined from an independent and a shared part."""
    whole = math.hypot(radius, shared_radius)
    return own if whole == 0 else (own * radius + shared * shared_radius) / whole


def _finished_target(
    task: Task,
    error: FloatArray,
    chances: Draws,
    models: Mapping[str, PaintModel],
    limits: Limits,
    clear: ClearCoat | None,
) -> tuple[FloatArray, FloatArray]:
    """Final color of the sound wood (3,), and its draws (m, 3)."""
    if not limits.then and clear is None:
        lab = np.asarray(task.target, dtype=float)
        return lab, lab + error * task.target_radius * SIGMA_PER_RADIUS / axis_weights(lab)
    # The same brush goes over sound wood and repair: only the reading differs.
    same = replace(chances, ground=error)
    closed, then = task.target_state.closed, limits.then
    lab, draws = predict_many(models, [()], task.target, task.target_radius, same, clear, then=then, closed=closed)
    return lab[0], draws[0]
