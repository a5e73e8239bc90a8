"""Which recipes are one group, and their order inside it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from colormatch.match.problem import Outcomes
from colormatch.match.rank import groups
from colormatch.records import Layer, Part


def outcomes_of(*differences):
    """Recipes of one paint, with given differences in each draw."""
    recipes = tuple((Layer((Part("Ochre"),), 1 / (2 + i)),) for i in range(len(differences)))
    rows = np.array(differences, dtype=float)
    none, all_of_it = np.zeros(len(rows)), np.ones(len(rows))
    return Outcomes(recipes, np.zeros((len(rows), 3)), np.zeros((*rows.shape, 3)), rows, rows, none, all_of_it)


@pytest.mark.parametrize(("apart", "alike"), [(0.0, True), (0.3, True), (0.38, True), (0.42, False), (0.6, False)])
def test_recipes_are_one_group_up_to_half_of_what_half_of_the_observers_see(apart, alike):
    """Paravina et al. 2015: half of the observers see 0.8; half of that is the module's stated choice."""
    best = np.tile([1.0, 3.0], 50)
    other = best[::-1] + apart  # better in half of the draws, so that only the gap decides
    assert len(groups(outcomes_of(best, other))) == (1 if alike else 2)


@pytest.mark.parametrize(("apart", "alike"), [(0.001, True), (0.1, True), (0.6, False)])
def test_a_difference_that_nobody_sees_is_a_tie_however_consistent_it_is(apart, alike):
    best = np.full(100, 2.0)
    assert len(groups(outcomes_of(best, best + apart))) == (1 if alike else 2)


@pytest.mark.parametrize(("apart", "alike"), [(0.38, True), (0.42, False)])
def test_a_best_guess_that_is_visibly_farther_off_is_no_tie_under_great_doubt(apart, alike):
    doubt = np.full(100, 5.0)
    outcomes = replace(outcomes_of(doubt, doubt), best_delta_e=np.array([0.1, 0.1 + apart]))
    assert len(groups(outcomes)) == (1 if alike else 2)


def test_order_among_equals():
    """One paint before two, fewer coats, weaker before stronger, an easy ratio: common practice, no source."""
    ochre, both = (Part("Ochre"),), (Part("Ochre"), Part("Raw Umber"))
    ordered = (
        (Layer(ochre, 1 / 8, 1),),
        (Layer(ochre, 1 / 2, 1),),
        (Layer(ochre, 2 / 5, 1),),  # about as strong, but 2:3 takes two measures
        (Layer(ochre, 1 / 2, 2),),
        (Layer(ochre, 1 / 8, 3),),
        (Layer(both, 1 / 8, 1),),
        (Layer(ochre, 1 / 8, 1), Layer(ochre, 1 / 8, 1)),
    )
    equal = np.full((len(ordered), 10), 2.0)
    for seed in range(5):
        turn = np.random.default_rng(seed).permutation(len(ordered))
        recipes = tuple(ordered[i] for i in turn)
        outcomes = replace(outcomes_of(*equal), recipes=recipes)
        (group,) = groups(outcomes)
        assert tuple(recipes[i] for i in group) == ordered


@pytest.mark.parametrize(
    ("kept", "first"), [((0.90, 0.60), 0), ((0.66, 0.60), 0), ((0.64, 0.60), 1), ((0.60, 0.64), 1)]
)
def test_of_equals_the_one_that_keeps_more_grain_is_first(kept, first):
    """One part in two, and in eight, the weaker one; less than 0.05 of the grain is no difference to the eye."""
    recipes = tuple((Layer((Part("Ochre"),), fraction),) for fraction in (1 / 2, 1 / 8))
    equal = outcomes_of(np.full(50, 2.0), np.full(50, 2.0))
    assert groups(replace(equal, recipes=recipes, grain_kept=np.array(kept)))[0][0] == first
