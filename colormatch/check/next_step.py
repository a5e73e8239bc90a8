"""Options for a dried repair that still shows: one more coat, another wash, a glaze, or wiping back.

Each is simulated over the repair as it is now. The first wash has its own surface, so the next wash goes on that
surface, not on bare wood.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.spectra import lab_from_reflectance, reflectance_from_lab
from colormatch.color.words import VISIBLE, describe_off
from colormatch.match.candidates import usable_paints
from colormatch.match.finalists import finalists
from colormatch.match.finish import film_of_layer
from colormatch.match.problem import MatchProblem, Outcomes, Recipe
from colormatch.match.rank import ranked, varied
from colormatch.records import FloatArray, Lab, Layer, Limits, Shelf, Task
from colormatch.wash.carried import MODEL_ERROR
from colormatch.wash.film import bare, lay, seen
from colormatch.wash.paint import PaintModel, hand_scatter
from colormatch.wash.predict import no_luck, predict_many

#: Share of a film that stays when a fresh wash is wiped with a damp rag. Unmeasured, so all values in this range are
#: equally likely. Common practice (wipe a little, look, wipe again), no source.
WIPED = (0.25, 0.75)
#: Possible film thickness of a wash, relative to the nominal one; below, the standard deviation of its logarithm (a
#: wash wiped late or early, our choice), and that of a difference between two photos linked by sound wood, ΔE00.
_FILMS = np.geomspace(1 / 3, 3, 41)
_HAND_SIGMA, _READING_SIGMA = 0.4, 1.0
#: Smallest gain in expected ΔE00 that is worth a step: half of the visible difference. Our choice.
WORTH_A_STEP = VISIBLE / 2
#: Least probability of an improvement for recommending a step. On simulated repairs outside the published study, it
#: reduced the share of clearly worse results from 4 to 3 % at no cost.
SURE_ENOUGH = 0.7
#: Most coats of the next wash.
_COATS = 2
#: Number of other washes reported.
_WASHES = 3


class Move(StrEnum):
    """Options for a dried repair."""

    LEAVE = "leave"
    AGAIN = "again"
    WASH = "wash"
    GLAZE = "glaze"
    WIPE = "wipe"


@dataclass(frozen=True)
class NextStep:
    """One option, with its expected result."""

    move: Move
    #: Layers to brush on, lowest first; empty if there are none.
    layers: tuple[Layer, ...]
    #: Expected dried color.
    lab: Lab
    #: Mean ΔE00 to the sound wood over all uncertainty; below, its 5th and 95th percentile.
    expected_delta_e: float
    low: float
    high: float
    #: Remaining difference, in words.
    off: str
    #: Probability of ending closer than the repair left alone, 0 to 1.
    better: float


def next_steps(
    task: Task, shelf: Shelf, models: Mapping[str, PaintModel], limits: Limits, before: Lab | None = None
) -> tuple[NextStep, ...]:
    """List all options, best expected result first, including leaving the repair alone.

    Parameters
    ----------
    task : Task
        Its ground is the repair as it is now; ``painted`` the known washes on it.
    shelf : Shelf
    models : mapping of PaintModel by name
        Models of every paint in ``painted`` and of the paints to choose from.
    limits : Limits
        Limits on the next wash, further restricted to one layer of at most two coats.
    before : Lab, optional
        The damage before it was painted. If given, wiping back is one of the options; the last wash must be uncured and
        unsealed.

    Raises
    ------
    PaintError, NothingToRank
        As :func:`colormatch.match.rank.rank_washes`.
    """
    limits = replace(limits, coats=min(_COATS, limits.coats), layers=1)
    names = usable_paints(shelf, models, limits)
    job = MatchProblem.of(task, shelf, models, limits)
    glazes = [paint.name for paint in shelf.paints if paint.name in names and "glaze" in paint.kind.casefold()]
    again: Recipe = (replace(task.painted[-1], coats=1),) if task.painted else ()
    recipes = [*finalists(job, names, limits)[0], again]
    if glazes:
        recipes += finalists(job, glazes, limits)[0]
    outcomes = job.outcomes(dict.fromkeys(recipes))
    place = {recipe: number for number, recipe in enumerate(outcomes.recipes)}
    left_alone = outcomes.compared[place[()]]

    def move_of(recipe: Recipe) -> Move:
        if not recipe:
            return Move.LEAVE
        if recipe == again:
            return Move.AGAIN
        return Move.GLAZE if all(part.paint in glazes for part in recipe[0].paints) else Move.WASH

    found: dict[Move, list[NextStep]] = {move: [] for move in Move}
    washes = ranked(job, outcomes)
    # The repetition is looked up before the list is reduced to one recipe of each kind.
    for wash in [*(w for w in washes if w.layers == again), *varied(washes)]:
        move, better = move_of(wash.layers), float((outcomes.compared[place[wash.layers]] < left_alone).mean())
        step = NextStep(move, wash.layers, wash.lab, wash.expected_delta_e, wash.low, wash.high, wash.off, better)
        if len(found[move]) < (_WASHES if move is Move.WASH else 1):
            found[move].append(step)
    if before is not None and task.painted:
        found[Move.WIPE].append(_wiping_back(job, before, outcomes, left_alone))
    steps = [step for some in found.values() for step in some]
    return tuple(sorted(steps, key=lambda step: step.expected_delta_e))


def worth_doing(steps: tuple[NextStep, ...]) -> tuple[NextStep, ...]:
    """Steps expected to bring the repair clearly closer than leaving it; empty when it is time to stop."""
    alone = next(step for step in steps if step.move is Move.LEAVE)
    return tuple(
        step
        for step in steps
        if alone.expected_delta_e - step.expected_delta_e >= WORTH_A_STEP and step.better >= SURE_ENOUGH
    )


def _wiping_back(job: MatchProblem, before: Lab, outcomes: Outcomes, left_alone: FloatArray) -> NextStep:
    """Wipe the last wash thinner: the model gives the change, the reading gives the starting color.

    Parameters
    ----------
    outcomes : Outcomes
        Of every step, leaving it alone among them.
    left_alone : (m,)
        Draws of ΔE00 if the repair is left alone.
    """
    alone = outcomes.recipes.index(())
    now = outcomes.draws[alone]
    kept = np.random.default_rng(0).uniform(*WIPED, len(now))
    usual = job.chances.thickness.copy()
    last = len(job.then)  # the topmost layer takes the first column
    scatter = hand_scatter(job.task.painted[-1].paint_fraction)
    usual[:, last] += np.log(_film_that_came_out(job, before)) / scatter
    thinner = usual.copy()
    thinner[:, last] += np.log(kept) / scatter
    recipe, colors = (*job.task.painted, *job.then), []
    for film in (usual, thinner):
        chances = replace(no_luck(len(now)), thickness=film)
        colors.append(predict_many(job.models, [recipe], before, 0.0, chances, job.clear)[1][0])
    missed = job.chances.model * MODEL_ERROR / axis_weights(now.mean(axis=0))
    draws = now + colors[1] - colors[0] + missed
    differences, compared = (np.asarray(delta_e(draws, to)) for to in (job.finished_draws, job.compared_draws))
    lab = Lab.from_array(outcomes.lab[alone] + (colors[1] - colors[0]).mean(axis=0))
    low, high = np.percentile(differences, (5, 95))
    return NextStep(
        Move.WIPE,
        (),
        lab,
        float(differences.mean()),
        float(low),
        float(high),
        describe_off(lab, Lab.from_array(job.finished)),
        float((compared < left_alone).mean()),
    )


def _film_that_came_out(job: MatchProblem, before: Lab) -> float:
    """Thickness of the last wash relative to the nominal one, estimated from the repair's color."""
    under = bare(reflectance_from_lab(before))
    for layer in job.task.painted[:-1]:
        under = lay(film_of_layer(job.models, layer), under)
    films = [lay(film_of_layer(job.models, job.task.painted[-1], factor), under) for factor in _FILMS]
    colors = np.stack([lab_from_reflectance(seen(body)) for body in films])
    misfit = (np.asarray(delta_e(colors, np.asarray(job.task.ground))) / _READING_SIGMA) ** 2
    return float(_FILMS[np.argmin(misfit + (np.log(_FILMS) / _HAND_SIGMA) ** 2)])
