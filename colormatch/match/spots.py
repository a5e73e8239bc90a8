"""Rankings for several damaged spots, and for grain lines; both build on :mod:`colormatch.match.rank`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from colormatch.errors import BadInput
from colormatch.match.candidates import check_limits, usable_paints
from colormatch.match.finalists import finalists
from colormatch.match.problem import MatchProblem, Recipe
from colormatch.match.rank import match_of, ranked_wash, varied
from colormatch.records import Limits, Match, RankedWash, Shelf, Task
from colormatch.wash.paint import PaintModel

#: Weakest wash for grain lines; thinner ones spread instead of drawing a line (common practice, no source).
WEAKEST_LINE = 0.25


@dataclass(frozen=True)
class WashForAll:
    """One recipe for several damaged spots."""

    rank: int
    #: Its result on each spot, in the given order.
    spots: tuple[RankedWash, ...]
    #: ΔE00 used for ranking: the worst of the spots' expected differences, or their mean.
    expected_delta_e: float


@dataclass(frozen=True)
class SpotsMatch:
    """Several damaged spots of one piece."""

    #: The ranking for each spot alone.
    each: tuple[Match, ...]
    #: One recipe for all of them, best first.
    together: tuple[WashForAll, ...]
    #: "worst" or "mean".
    judged_by: str


def rank_for_all(
    spots: Sequence[Task],
    shelf: Shelf,
    models: Mapping[str, PaintModel],
    limits: Limits,
    *,
    judge_by: Literal["worst", "mean"] = "worst",
) -> SpotsMatch:
    """Rank washes for each of several spots, and single washes for all of them.

    Parameters
    ----------
    spots : sequence of Task
        One for each damaged spot.
    judge_by : "worst" or "mean"
        Judge a wash for all by its worst spot, or by the mean over the spots.
    shelf, models, limits
        As for :func:`colormatch.match.rank.rank_washes`.

    Raises
    ------
    BadInput
        No spot; also as for :func:`colormatch.match.rank.rank_washes`.
    """
    if not spots:
        raise BadInput("No damaged spot was given.", "Mark one or more.")
    if judge_by not in ("worst", "mean"):
        raise BadInput(f"'{judge_by}' is not a way to judge a wash for all spots.", "Choose worst or mean.")
    check_limits(limits)
    names = usable_paints(shelf, models, limits)
    jobs = [MatchProblem.of(spot, shelf, models, limits) for spot in spots]
    found = [finalists(job, names, limits) for job in jobs]
    each = [match_of(job, some, searched, names, limits) for job, (some, searched) in zip(jobs, found, strict=True)]
    recipes: tuple[Recipe, ...] = tuple(dict.fromkeys(recipe for some, _ in found for recipe in some))
    outcomes = [job.outcomes(recipes) for job in jobs]
    over_spots = np.max if judge_by == "worst" else np.mean
    judged = over_spots([some.expected for some in outcomes], axis=0)
    order = [int(i) for i in np.argsort(over_spots([some.order for some in outcomes], axis=0), kind="stable")]
    first = varied([ranked_wash(jobs[0], outcomes[0], i, rank, 1) for rank, i in enumerate(order, start=1)])
    place = {recipe: i for i, recipe in enumerate(recipes)}
    together = []
    for wash in first[: limits.top]:
        i = place[wash.layers]
        on_each = tuple(ranked_wash(job, some, i, wash.rank, 1) for job, some in zip(jobs, outcomes, strict=True))
        together.append(WashForAll(wash.rank, on_each, float(judged[i])))
    return SpotsMatch(tuple(each), tuple(together), judge_by)


def rank_grain_lines(
    task: Task, field: Recipe, shelf: Shelf, models: Mapping[str, PaintModel], limits: Limits
) -> Match:
    """Rank washes for drawing grain lines on the washed field.

    Parameters
    ----------
    task : Task
        From the damage before its wash to the grain lines of the sound wood.
    field : tuple of Layer
        The recipe chosen for the field, under the lines.
    shelf, models, limits
        As for :func:`colormatch.match.rank.rank_washes`. The limits on coats, layers and mixes are ignored: a line is
        one touch of one paint, 1:3 or stronger.

    Returns
    -------
    Match
        Its recipes hold only the touch. An empty recipe means that no line is needed.
    """
    check_limits(limits)
    names = usable_paints(shelf, models, limits)
    touch = replace(limits, coats=1, layers=1, mix=1)
    job = MatchProblem.of(task, shelf, models, touch, base=field)
    return match_of(job, *finalists(job, names, touch, WEAKEST_LINE), names, touch)
