"""The recipes worth a closer look: nearest to the target at the paints' best estimates."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.match.candidates import MOST_COATS, Washes, mixed_washes, single_washes
from colormatch.match.ending import Ending
from colormatch.match.job import Job, Recipe
from colormatch.match.search import IntArray, Stacks
from colormatch.records import FloatArray, Limits
from colormatch.wash.film import Body, Film, lay

#: Finalists among washes of one paint, of two, and among stacks; and how many may share their paints and coats.
_SINGLES, _MIXES, _STACKS = 160, 60, 40
_ALIKE = 4


def finalists(job: Job, names: Sequence[str], limits: Limits, weakest: float = 0.0) -> tuple[tuple[Recipe, ...], int]:
    """The recipes worth playing through, leaving the damage as it is among them; and how many were looked at.

    Parameters
    ----------
    job : Job
    names : sequence of str; the paints to choose from
    limits : Limits
    weakest : float
        Smallest paint fraction of a wash of one paint.
    """
    ending, body = job.ending(), job.body()
    singles = single_washes(names, job.models, job.shelf, limits, weakest)
    recipes: list[Recipe] = [(), *nearest_washes(singles, body, ending, job.finished, _SINGLES)]
    searched = 1 + len(singles)
    if limits.mix == 2:
        mixes: list[tuple[float, Recipe]] = []
        for washes in mixed_washes(list(combinations(names, 2)), job.models, limits):
            distance = _distance(washes, body, ending, job.finished)
            mixes += [(float(distance[i]), (washes.layer(i),)) for i in _nearest(washes, distance, _MIXES)]
            searched += len(washes)
        recipes += [recipe for _, recipe in sorted(mixes, key=lambda pair: pair[0])[:_MIXES]]
    if limits.layers == 2:
        films = Film(*(values.astype(float) for values in singles.film))
        found = Stacks(films, body, ending).nearest(
            job.finished, _STACKS, labels=singles.mix, coats=singles.coats, most_coats=MOST_COATS
        )
        pairs = zip(found.lower.tolist(), found.upper.tolist(), strict=True)
        recipes += [(singles.layer(lower), singles.layer(upper)) for lower, upper in pairs]
        with_coats = np.bincount(singles.coats)
        searched += int(np.convolve(with_coats, with_coats)[: MOST_COATS + 1].sum())
    return tuple(recipes), searched


def nearest_washes(washes: Washes, body: Body, ending: Ending, target: FloatArray, count: int) -> list[Recipe]:
    """The washes nearest to a target at the paints' best estimates, at most a few of the same paints and coats."""
    return [(washes.layer(i),) for i in _nearest(washes, _distance(washes, body, ending, target), count)]


def _distance(washes: Washes, body: Body, ending: Ending, target: FloatArray) -> FloatArray:
    single = Body(*(np.asarray(values, dtype=np.float32) for values in body))
    lab = ending.as_type(np.float32).lab(lay(washes.film, single)).astype(np.float32)
    return delta_e(lab, target.astype(np.float32))


def _nearest(washes: Washes, distance: FloatArray, count: int) -> list[int]:
    """Places of the nearest, at most :data:`_ALIKE` of each paint or mix and number of coats."""
    order = np.argsort(distance, kind="stable")
    kind = washes.mix[order] * (int(washes.coats.max()) + 1) + washes.coats[order]
    return [int(i) for i in order[_turn(kind) < _ALIKE][:count]]


def _turn(kind: IntArray) -> IntArray:
    """How many of the same kind stand before each."""
    by_kind = np.argsort(kind, kind="stable")
    ordered = kind[by_kind]
    starts = np.searchsorted(ordered, ordered, side="left")
    turn: IntArray = np.empty(len(kind), dtype=np.int64)
    turn[by_kind] = np.arange(len(kind)) - starts
    return turn
