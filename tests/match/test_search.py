"""The search for stacks: its bound against CIEDE2000 of another library, its result against brute force."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from colormatch.color.difference import delta_e
from colormatch.color.space import WHITE_XYZ, lab_from_xyz, xyz_from_lab
from colormatch.match.finish import Ending
from colormatch.match.search import Stacks, box_bound
from colormatch.wash.clear import ClearCoat
from colormatch.wash.film import Body, Film, lay
from tests.match.brute import brute_force
from tests.match.invented import GROUND, invented_washes

AMBER = ClearCoat("amber", np.array([0.5, 0.1]), np.array([[0.5, 0.1]]), np.zeros(1))


@pytest.fixture(scope="module")
def ciede2000():
    """CIEDE2000 of colour-science, another implementation."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return lambda lab, other: colour.delta_E(lab, other, method="CIE 2000")


def test_bound_holds_for_any_two_colors(ciede2000):
    rng = np.random.default_rng(1)
    for _ in range(40):
        target = np.array([rng.uniform(0, 100), *rng.uniform(-80, 80, 2)])
        xyz = np.clip(rng.uniform(0.001, 1, (4000, 3)), 0.001, None) * WHITE_XYZ
        bound = box_bound(target, xyz, xyz)
        true = ciede2000(np.broadcast_to(target, (4000, 3)), lab_from_xyz(xyz))
        assert np.all(bound <= true + 1e-9)


def test_bound_is_tight_for_a_step_of_lightness():
    wood, lighter = np.array([60.0, 10.0, 25.0]), np.array([64.0, 10.0, 25.0])
    xyz = xyz_from_lab(lighter)
    assert box_bound(wood, xyz, xyz) == pytest.approx(float(delta_e(wood, lighter)), rel=1e-6)


@settings(deadline=None, max_examples=60)
@given(
    st.tuples(st.floats(5, 95), st.floats(-40, 60), st.floats(-50, 70)),
    st.integers(0, 10_000),
    st.floats(0.001, 0.3),
)
def test_no_color_in_a_box_is_nearer_than_its_bound(target, seed, size):
    rng = np.random.default_rng(seed)
    low = rng.uniform(0.001, 0.7, 3)
    high = low + rng.uniform(0, size, 3)
    inside = low + (high - low) * rng.uniform(0, 1, (300, 3))
    inside[:8] = [[(low, high)[i >> k & 1][k] for k in range(3)] for i in range(8)]  # the corners
    bound = float(box_bound(np.array(target), low, high))
    assert bound <= float(np.min(delta_e(lab_from_xyz(inside), np.array(target)))) + 1e-9


@pytest.mark.parametrize("clear", [None, AMBER], ids=["bare", "clear coat"])
def test_ending_is_monotone(clear):
    films, _, _ = invented_washes(3)
    ending = Ending((Film(*(values[40] for values in films)),), clear)
    rng = np.random.default_rng(0)
    reflectance, more = np.sort(rng.uniform(0.04, 0.9, (2, 200, 41)), axis=0)
    cover, inner = rng.uniform(0, 0.9, (2, 200))
    inner *= 0.65 * cover
    usual = ending.xyz(Body(reflectance, cover, inner))
    assert np.all(ending.xyz(Body(more, cover, inner)) >= usual - 1e-12)
    covered = ending.xyz(Body(reflectance, cover + 0.1, inner))
    enclosed = ending.xyz(Body(reflectance, cover, inner + 0.05))
    if ending.cover_darkens:
        assert np.all(covered <= usual + 1e-12)
        assert np.all(enclosed <= usual + 1e-12)
    else:
        assert np.all(covered >= usual - 1e-12)
        np.testing.assert_allclose(enclosed, usual)


@pytest.mark.parametrize("clear", [None, AMBER], ids=["bare", "clear coat"])
def test_top_twenty_are_those_of_brute_force(clear):
    """20 random targets, half of them near a stack, half anywhere among woods and paints."""
    films, _, _ = invented_washes(4)
    ending = Ending((), clear)
    stacks, rng = Stacks(films, films, GROUND, ending), np.random.default_rng(5)
    n, computed = len(films.cover), 0
    for turn in range(20):
        if turn % 2:
            target = rng.uniform((25, -10, -10), (90, 30, 45))
        else:
            lower, upper = rng.integers(0, n, 2)
            under = lay(Film(*(v[lower] for v in films)), GROUND)
            target = ending.lab(lay(Film(*(v[upper] for v in films)), under)) + rng.normal(0, 1, 3)
        all_of_them = brute_force(films, GROUND, ending, target)
        nearest = np.argsort(all_of_them, axis=None, kind="stable")[:20]
        found = stacks.nearest(target, 20)
        np.testing.assert_allclose(found.delta_e, all_of_them.ravel()[nearest], atol=1e-9)
        assert set(zip(found.lower, found.upper, strict=True)) == set(
            zip(*np.unravel_index(nearest, all_of_them.shape), strict=True)
        )
        computed += found.computed
    # Hopeless targets, many ΔE from any stack, leave the bound little to rule out; most targets are none.
    assert computed < 20 * n * n / 2


def test_one_for_each_pair_of_paints_within_the_coats():
    films, paint, coats = invented_washes(4)
    target = np.array([50.0, 10.0, 25.0])
    distance = brute_force(films, GROUND, Ending(), target)
    distance[coats[:, None] + coats[None] > 4] = np.inf
    best = {
        (a, b): distance[np.ix_(paint == a, paint == b)].min() for a in range(4) for b in range(4)
    }  # (lower, upper)
    found = Stacks(films, films, GROUND, Ending()).nearest(
        target, 12, labels=(paint, paint), coats=(coats, coats), most_coats=4
    )
    np.testing.assert_allclose(found.delta_e, sorted(best.values())[:12], atol=1e-9)
    pairs = list(zip(paint[found.lower], paint[found.upper], strict=True))
    assert len(set(pairs)) == 12
    for pair, value in zip(pairs, found.delta_e, strict=True):
        assert value == pytest.approx(best[pair])
    assert np.all(coats[found.lower] + coats[found.upper] <= 4)


def test_fewer_than_asked_for():
    films = Film(*(values[:3] for values in invented_washes(1)[0]))
    assert len(Stacks(films, films, GROUND, Ending()).nearest((50, 10, 25), 20).delta_e) == 9


def test_other_washes_above_than_below():
    """Few washes over many, as a glaze over mixes."""
    below, above = invented_washes(4)[0], invented_washes(2, seed=9)[0]
    target = np.array([48.0, 12.0, 24.0])
    under = lay(below, GROUND)
    every = np.stack(
        [delta_e(Ending().lab(lay(Film(*(v[top] for v in above)), under)), target) for top in range(len(above.cover))],
        axis=1,
    )
    found = Stacks(below, above, GROUND, Ending()).nearest(target, 20)
    np.testing.assert_allclose(found.delta_e, np.sort(every, axis=None)[:20], atol=1e-9)
    np.testing.assert_allclose(every[found.lower, found.upper], found.delta_e, atol=1e-9)
