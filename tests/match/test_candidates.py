"""Which washes the user's limits allow, and which of them a set of measures gives."""

from dataclasses import replace
from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colormatch.errors import BadInput, PaintError
from colormatch.match import finalists as near
from colormatch.match.candidates import (
    PROPORTIONS,
    RATIOS,
    check_limits,
    measurable,
    mixed_washes,
    single_washes,
    usable_paints,
)
from colormatch.match.finalists import finalists
from colormatch.match.problem import MatchProblem
from colormatch.match.rank import rank_washes
from colormatch.records import Lab, Layer, Limits, Paint, Part, Shelf, Task
from colormatch.wash.ratio import ROUNDING

TASK = Task(Lab(55.6, 11.4, 25.5), Lab(72.0, 5.8, 19.4), 1.0, 1.0)
SPOONS = Limits(smallest_ml=5.0, batch_ml=25.0)


def whole_parts(shares: list[Fraction], measures: int) -> bool:
    """By arithmetic of whole numbers alone: the shares come out exactly in some batch."""
    return any(all((share * whole).denominator == 1 for share in shares) for whole in range(1, measures + 1))


@pytest.mark.parametrize("measures", [1, 2, 5, 9, 25])
def test_a_ratio_is_measurable_where_whole_measures_give_it(measures):
    ratios = [(p, w) for p, w in RATIOS if p + w <= 30]
    exact = [whole_parts([Fraction(p, p + w), Fraction(w, p + w)], measures) for p, w in ratios]
    found = measurable(np.array([[p / (p + w), w / (p + w)] for p, w in ratios]), measures)
    assert not np.any(np.array(exact) & ~found)
    # What is let pass besides is nearly a ratio of such measures.
    for (p, w), lets_pass in zip(ratios, found, strict=True):
        if lets_pass:
            near_by = Fraction(p, p + w).limit_denominator(measures)
            assert float(near_by) == pytest.approx(p / (p + w), rel=0.03)


@settings(deadline=None)
@given(st.lists(st.floats(0.02, 1), min_size=2, max_size=3), st.integers(1, 400))
def test_measures_beyond_counting_change_nothing(parts, measures):
    """Against counting every batch up to the largest, which took minutes where somebody named a tiny measure."""
    shares = np.array(parts) / sum(parts)
    counted = False
    for whole in range(1, measures + 1):
        filled = np.maximum(1, np.round(shares * whole))
        off = np.abs(filled / filled.sum() / shares - 1).max()
        counted |= bool(off <= ROUNDING and filled.sum() <= measures)
    assert measurable(shares[None], measures).tolist() == [counted]
    assert measurable(shares[None], 10**9).tolist() == [True]


def test_only_what_can_be_measured_is_proposed(shelf, models):
    names = sorted(models)
    every, few = (single_washes(names, models, shelf, limits) for limits in (Limits(), SPOONS))
    assert set(few.fraction) < set(every.fraction)
    assert set(np.round(few.fraction * 60, 6)) == {60, 48, 45, 40, 36, 30, 24, 20, 15, 12}  # 5, 4, 3, 2 measures
    for washes in mixed_washes(list(combinations(names, 2)), models, shelf, SPOONS):
        for place in range(0, len(washes), 7):
            layer = washes.layer(place)
            paint = Fraction(layer.paint_fraction).limit_denominator(60)
            parts = [Fraction(int(part.parts)) for part in layer.paints]
            assert whole_parts([*(paint * part / sum(parts) for part in parts), 1 - paint], 5)
    found = rank_washes(TASK, shelf, models, Limits(smallest_ml=5.0, batch_ml=25.0, layers=2, mix=2, top=50))
    assert all(layer.paint_fraction >= 0.2 for wash in found.washes for layer in wash.layers)


@pytest.mark.parametrize(
    "limits",
    [
        Limits(smallest_ml=-1),
        Limits(smallest_ml=float("nan")),
        Limits(smallest_ml=1, batch_ml=0.5),
        Limits(batch_ml=0),
        Limits(batch_ml=float("inf"), smallest_ml=1),
    ],
)
def test_impossible_measures(limits):
    with pytest.raises(BadInput) as caught:
        check_limits(limits)
    assert caught.value.what.endswith(".")
    assert caught.value.fix.endswith(".")


def test_a_wash_on_the_damage_without_a_swatch_is_told(shelf, models):
    with pytest.raises(PaintError, match="Plum has no swatch"):
        rank_washes(replace(TASK, painted=(Layer((Part("Plum"),), 0.25),)), shelf, models, Limits())


def test_mixes_below_a_glaze(shelf, models):
    limits = Limits(layers=2, mix=2, paints=("Ochre", "Raw Umber", "Brown Glaze"), grain_kept=0.0)
    job = MatchProblem.of(TASK, shelf, models, limits)
    recipes, searched = finalists(job, limits.paints, limits)
    mixed_below = [r for r in recipes if len(r) == 2 and len(r[0].paints) == 2]
    assert mixed_below
    assert all(len(r[1].paints) == 1 and sum(layer.coats for layer in r) <= 4 for r in mixed_below)
    # Three pairs in five parts, 24 ratios; over them three paints and what their swatches add: coats 1+1, 1+2, 1+3 ...
    singles = single_washes(limits.paints, models, shelf, limits)
    above = np.bincount(singles.coats, minlength=4)[1:]
    pairs = 3 * len(PROPORTIONS) * len(RATIOS)
    alone = sum(above[i] * above[j] for i in range(3) for j in range(3) if i + j <= 2)
    mixes = sum(pairs * above[j] for i in range(3) for j in range(3) if i + j <= 2)
    assert searched == 1 + len(singles) + 3 * pairs + alone + mixes


def test_of_a_large_shelf_the_paints_of_the_nearest_stacks_are_mixed_below_a_glaze(shelf, models, monkeypatch):
    limits = Limits(layers=2, mix=2)
    monkeypatch.setattr(near, "_MOST_STACKS", 1_000_000)
    job = MatchProblem.of(TASK, shelf, models, limits)
    recipes, _ = finalists(job, sorted(models), limits)
    plain = next(r for r in recipes if len(r) == 2)
    used = {p.paint for r in recipes if len(r) == 2 and len(r[0].paints) == 2 for layer in r for p in layer.paints}
    assert 2 <= len(used) < len(models)
    assert used >= {p.paint for layer in plain for p in layer.paints}


def test_a_shelf_of_one_paint_has_no_mixes(shelf, models):
    alone = Shelf(tuple(p for p in shelf.paints if p.name == "Ochre"), shelf.swatches)
    found = rank_washes(TASK, alone, models, Limits(layers=2, mix=2))
    assert all(len(layer.paints) == 1 for wash in found.washes for layer in wash.layers)


def test_paints_that_differ_only_in_capitals_are_both_used() -> None:
    """Two alike names may come from an older library; neither is left out."""
    paints = (Paint("Umber"), Paint("umber"))
    models = {paint.name: None for paint in paints}
    assert usable_paints(Shelf(paints), models, Limits()) == ("Umber", "umber")  # type: ignore[arg-type]
    assert usable_paints(Shelf(paints), models, Limits(paints=("UMBER",))) == ("Umber", "umber")  # type: ignore[arg-type]
