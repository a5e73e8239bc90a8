"""Rank washes for a repair by the expected difference after drying.

The washes closest to the target at the paints' best estimates are the finalists. Each is then simulated with random
draws of everything uncertain: the paints, the brushing, the model error, and the readings of sound and damaged wood.
The mean CIEDE2000 over the draws ranks them. Ranking by the best estimates alone would favor washes that look good by
luck.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from colormatch.color.difference import axis_weights
from colormatch.color.words import NOTHING, VISIBLE, describe_off
from colormatch.match.advice import advise, likeliest
from colormatch.match.candidates import check_limits, is_easy, usable_paints
from colormatch.match.doubts import mix_not_painted
from colormatch.match.finalists import finalists
from colormatch.match.grain import SAME_GRAIN
from colormatch.match.problem import MatchProblem, Outcomes, Recipe
from colormatch.records import Lab, Limits, Match, RankedWash, Shelf, Task
from colormatch.wash.paint import PaintModel

#: Washes are in one group if their expected differences are less than half of the visible difference apart. Our choice.
_UNSEEN_GAP = VISIBLE / 2


def rank_washes(task: Task, shelf: Shelf, models: Mapping[str, PaintModel], limits: Limits) -> Match:
    """Rank the washes that turn the damage into the sound wood.

    Parameters
    ----------
    task : Task
        Start and target color. The shared uncertainty is added to both in each draw.
    shelf : Shelf
    models : mapping of PaintModel by name
        Models of the shelf's paints that have swatches.
    limits : Limits

    Returns
    -------
    Match; deterministic, independent of the order of paints and swatches

    Raises
    ------
    BadInput
        A limit is invalid.
    PaintError
        A limit names a paint or a clear coat that the shelf does not have.
    NothingToRank
        The limits leave no wash.
    """
    started = time.perf_counter()
    check_limits(limits)
    names = usable_paints(shelf, models, limits)
    job = MatchProblem.of(task, shelf, models, limits)
    match = match_of(job, *finalists(job, names, limits), names, limits)
    return replace(match, seconds=time.perf_counter() - started)


def match_of(
    job: MatchProblem, recipes: Iterable[Recipe], searched: int, names: Sequence[str], limits: Limits
) -> Match:
    """Rank the finalists of a job.

    Parameters
    ----------
    job : MatchProblem
    recipes : iterable of Recipe; the finalists
    searched : int; number of recipes they were chosen from
    names : sequence of str; the paints to rank
    limits : Limits
    """
    outcomes = job.outcomes(recipes)
    washes = ranked(job, outcomes)
    match = Match(
        target=job.task.target,
        target_uncertainty=job.task.target_radius,
        ground=job.task.ground,
        ground_uncertainty=job.task.ground_radius,
        washes=varied(washes)[: limits.top],
        advice=advise(job, outcomes, washes, names, limits),
        searched=searched,
        finished=Lab.from_array(job.finished) if job.then or job.clear else None,
        untouched=next((wash for wash in washes if not wash.layers), None),
    )
    return replace(match, advice=(*match.advice, *likeliest(match)))


def ranked(job: MatchProblem, outcomes: Outcomes) -> tuple[RankedWash, ...]:
    """All recipes in order: by group, simpler ones first within a group."""
    washes: list[RankedWash] = []
    for number, group in enumerate(groups(outcomes), start=1):
        for place in group:
            washes.append(ranked_wash(job, outcomes, place, len(washes) + 1, number))
    return tuple(washes)


def groups(outcomes: Outcomes) -> list[list[int]]:
    """Group recipes whose difference nobody sees; best group first.

    The leader of a group is the best recipe without a group. The size of the difference decides, both of what is
    expected and of the best guess, which great doubt hides in what is expected; not how often one of them is better:
    the draws are shared, so a difference of nothing may favor the same recipe in all of them. Within a group fewer
    layers and paints come first, then more of the wood's grain, then the simpler and weaker wash.
    """
    expected, best, kept = outcomes.order, outcomes.best_delta_e, outcomes.grain_kept
    left = sorted(range(len(expected)), key=lambda i: (expected[i], best[i], _effort(outcomes.recipes[i])))
    found = []
    while left:
        leader = left[0]
        group = [i for i in left if max(expected[i] - expected[leader], best[i] - best[leader]) < _UNSEEN_GAP]
        most = kept[group].max()

        def order(i: int, most: float = most) -> tuple[float, ...]:
            layers, paints, *more = _effort(outcomes.recipes[i])
            return layers, paints, (most - kept[i]) // SAME_GRAIN, *more, expected[i]

        found.append(sorted(group, key=order))
        left = [i for i in left if i not in group]
    return found


def _effort(recipe: Recipe) -> tuple[int, int, int, int, int]:
    """Cost of a recipe: layers, paints, coats, strength, and ratios that take more than one measure.

    Each coat has to dry. A weak wash can be deepened and a strong one hardly taken back (common practice: build up from
    light to dark), so of as many coats half the paint comes first.
    """
    return (
        len(recipe),
        sum(len(layer.paints) for layer in recipe),
        sum(layer.coats for layer in recipe),
        max((round(math.log2(layer.paint_fraction)) for layer in recipe), default=0),
        sum(not is_easy(layer.paint_fraction) for layer in recipe),
    )


def varied(washes: Sequence[RankedWash]) -> tuple[RankedWash, ...]:
    """The first recipe of each kind, ranked again: one for equal paints, and for one paint in equal coats."""
    first: dict[object, RankedWash] = {}
    for wash in washes:
        paints = tuple(tuple(part.paint for part in layer.paints) for layer in wash.layers)
        simple = len(paints) == 1 and len(paints[0]) == 1
        first.setdefault((paints, wash.layers[0].coats if simple else None), wash)
    # Groups without members leave no gap in the numbers.
    number = {group: new for new, group in enumerate(dict.fromkeys(wash.group for wash in first.values()), start=1)}
    return tuple(
        replace(wash, rank=rank, group=number[wash.group]) for rank, wash in enumerate(first.values(), start=1)
    )


def _spread_beside(job: MatchProblem, outcomes: Outcomes, place: int) -> float:
    """Spread of a wash's error relative to the target, ΔE00, 90 % radius.

    Small differences are weighted where they arise (`axis_weights`), so common errors cancel.
    """
    washed = (outcomes.draws[place] - outcomes.lab[place]) * axis_weights(outcomes.lab[place])
    wanted = (job.finished_draws - job.finished) * axis_weights(job.finished)
    return float(np.percentile(np.linalg.norm(washed - wanted, axis=-1), 90))


def ranked_wash(job: MatchProblem, outcomes: Outcomes, place: int, rank: int, group: int) -> RankedWash:
    """One recipe of a job, with its expected result."""
    recipe, differences = outcomes.recipes[place], outcomes.delta_e[place]
    low, high = np.percentile(differences, [5, 95])
    lab = Lab.from_array(outcomes.lab[place])
    measured = job.measured(recipe)
    off = describe_off(lab, Lab.from_array(job.finished))
    if off == NOTHING and differences.mean() >= VISIBLE:
        # The best guess is exact; the expected ΔE is uncertainty, which has no direction.
        off = "nothing, by the best guess"
    paints = sorted({part.paint for layer in recipe for part in layer.paints})
    return RankedWash(
        rank=rank,
        layers=recipe,
        lab=lab,
        expected_delta_e=float(differences.mean()),
        low=float(low),
        high=float(high),
        basis="measured" if measured else "modelled",
        swatches=len(measured) or sum(len(job.models[paint].residuals) for paint in paints),
        group=group,
        off=off,
        grain_kept=float(outcomes.grain_kept[place]),
        unseen=float((differences < VISIBLE).mean()),
        flags=(*mix_not_painted(recipe), *(flag for paint in paints for flag in job.models[paint].flags)),
        uncertainty=_spread_beside(job, outcomes, place),
    )
