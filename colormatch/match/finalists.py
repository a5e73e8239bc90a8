"""Finalists: the recipes closest to the target at the paints' best estimates."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.words import CLEAR, VISIBLE
from colormatch.match.candidates import MOST_COATS, PROPORTIONS, RATIOS, Washes, joined, mixed_washes, single_washes
from colormatch.match.finish import Ending
from colormatch.match.problem import MatchProblem, Recipe
from colormatch.match.search import IntArray, Stacks
from colormatch.records import FloatArray, Layer, Limits
from colormatch.wash.film import Body, Film, lay

#: Finalists among washes of one paint, of two paints, and stacks; and the most that may share paints and coats.
_SINGLES, _MIXES, _STACKS = 160, 60, 40
_ALIKE = 4
#: Most mixes below a glaze to compare: as many as stacks of 100 paints, 2 s. Enough for all pairs of 16 paints.
_MOST_STACKS = 52_000_000


def finalists(
    job: MatchProblem, names: Sequence[str], limits: Limits, weakest: float = 0.0
) -> tuple[tuple[Recipe, ...], int]:
    """Recipes worth simulating, including leaving the damage alone; and the number of recipes examined.

    Parameters
    ----------
    job : MatchProblem
    names : sequence of str; the paints to rank
    limits : Limits
    weakest : float
        Smallest paint fraction of a wash of one paint.
    """
    ending, body, grain = job.ending(), job.body(), job.grain()

    def allowed(washes: Washes) -> Washes:
        return washes.where(grain.kept(washes.film) >= limits.grain_kept) if limits.grain_kept else washes

    singles = single_washes(names, job.models, job.shelf, limits, weakest)
    searched = 1 + len(singles)
    singles = allowed(singles)
    distance = _distance(singles, body, ending, job.finished)
    recipes: list[Recipe] = [(), *((singles.layer(i),) for i in _nearest(singles, distance, _SINGLES))]
    near = float(distance.min(initial=float(delta_e(ending.lab(body), job.finished))))
    if limits.mix == 2:
        mixes: list[tuple[float, Recipe]] = []
        for washes in mixed_washes(list(combinations(names, 2)), job.models, job.shelf, limits):
            searched += len(washes)
            washes = allowed(washes)
            distance = _distance(washes, body, ending, job.finished)
            mixes += [(float(distance[i]), (washes.layer(i),)) for i in _nearest(washes, distance, _MIXES)]
        mixes = sorted(mixes, key=lambda pair: pair[0])[:_MIXES]
        recipes += [recipe for _, recipe in mixes]
        near = min([near, *(some for some, _ in mixes[:1])])
    if limits.layers == 2 and len(singles):
        # A recipe that costs more and is clearly farther off than a simpler one isn't worth simulating.
        found, compared = _stacks(job, singles, singles, near + CLEAR)
        stacks = list(found)
        searched += compared
        if limits.mix == 2:
            some = _leading(stacks, names, limits)
            pairs = list(combinations(some, 2))
            below = [allowed(washes) for washes in mixed_washes(pairs, job.models, job.shelf, limits)]
            glazes = allowed(single_washes(some, job.models, job.shelf, limits))
            if sum(map(len, below)) and len(glazes):
                nearest = min([near, *found.values()])
                found, compared = _stacks(job, joined(below), glazes, nearest + VISIBLE)
                stacks += found
                searched += compared
        recipes += [stack for stack in stacks if grain.kept_by(job.models, stack) >= limits.grain_kept]
    return tuple(recipes), searched


def nearest_that_hides(job: MatchProblem, names: Sequence[str], limits: Limits) -> tuple[Layer, float, float] | None:
    """The closest wash of one paint that keeps less grain than allowed, its ΔE00 and its share; None if all keep it."""
    washes = single_washes(names, job.models, job.shelf, limits)
    kept = job.grain().kept(washes.film)
    hides = kept < limits.grain_kept
    if not hides.any():
        return None
    washes, kept = washes.where(hides), kept[hides]
    distance = _distance(washes, job.body(), job.ending(), job.finished)
    place = int(np.argmin(distance))
    return washes.layer(place), float(distance[place]), float(kept[place])


def _stacks(job: MatchProblem, lower: Washes, upper: Washes, within: float) -> tuple[dict[Recipe, float], int]:
    """Closest stacks with their ΔE00, one for each pair of paints below and above; and the number examined."""
    below, above = (Film(*(values.astype(float) for values in washes.film)) for washes in (lower, upper))
    found = Stacks(below, above, job.body(), job.ending()).nearest(
        job.finished,
        _STACKS,
        labels=(_paints(lower), _paints(upper)),
        coats=(lower.coats, upper.coats),
        most_coats=MOST_COATS,
        within=within,
    )
    places = zip(found.lower.tolist(), found.upper.tolist(), found.delta_e.tolist(), strict=True)
    together = np.convolve(np.bincount(lower.coats), np.bincount(upper.coats))
    recipes: dict[Recipe, float] = {(lower.layer(low), upper.layer(top)): off for low, top, off in places}
    return recipes, int(together[: MOST_COATS + 1].sum())


def _paints(washes: Washes) -> IntArray:
    """(n,) an identifier of each wash's paints, whatever their parts."""
    names = [tuple(part.paint for part in mix) for mix in washes.mixes]
    number = {paints: place for place, paints in enumerate(dict.fromkeys(names))}
    return np.array([number[paints] for paints in names])[washes.mix]


def _leading(stacks: Sequence[Recipe], names: Sequence[str], limits: Limits) -> list[str]:
    """Paints whose mixes are tried below a glaze: all, or as many as :data:`_MOST_STACKS` allows.

    Paints of the closest stacks of two plain washes come first.
    """
    ordered = dict.fromkeys(part.paint for recipe in stacks for layer in recipe for part in layer.paints)
    ordered |= dict.fromkeys(names)
    one = len(RATIOS) * limits.coats
    count = 2
    while (count + 1) * count // 2 * len(PROPORTIONS) * one * (count + 1) * one <= _MOST_STACKS:
        count += 1
    return sorted(list(ordered)[:count])


def _distance(washes: Washes, body: Body, ending: Ending, target: FloatArray) -> FloatArray:
    single = Body(*(np.asarray(values, dtype=np.float32) for values in body))
    lab = ending.as_type(np.float32).lab(lay(washes.film, single)).astype(np.float32)
    return delta_e(lab, target.astype(np.float32))


def _nearest(washes: Washes, distance: FloatArray, count: int) -> list[int]:
    """Indices of the closest, at most :data:`_ALIKE` of each paint or mix and number of coats."""
    order = np.argsort(distance, kind="stable")
    kind = washes.mix[order] * (int(washes.coats.max(initial=0)) + 1) + washes.coats[order]
    return [int(i) for i in order[_turn(kind) < _ALIKE][:count]]


def _turn(kind: IntArray) -> IntArray:
    """Rank of each element within its kind (0 for the first)."""
    by_kind = np.argsort(kind, kind="stable")
    ordered = kind[by_kind]
    starts = np.searchsorted(ordered, ordered, side="left")
    turn: IntArray = np.empty(len(kind), dtype=np.int64)
    turn[by_kind] = np.arange(len(kind)) - starts
    return turn
