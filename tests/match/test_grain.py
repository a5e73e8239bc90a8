"""How much of the wood's own contrast a wash keeps, and that what hides it is left out unless allowed."""

from __future__ import annotations

import numpy as np
import pytest

from colormatch.color.space import lab_from_xyz
from colormatch.errors import BadInput
from colormatch.match.candidates import single_washes, usable_paints
from colormatch.match.finalists import finalists
from colormatch.match.finish import Ending
from colormatch.match.grain import GrainLines
from colormatch.match.problem import MatchProblem
from colormatch.match.rank import rank_washes
from colormatch.records import Lab, Layer, Limits, Part, Task
from colormatch.wash.film import Film, bare

SOUND, DAMAGE = Lab(45, 12, 22), Lab(72, 6, 22)
TASK = Task(SOUND, DAMAGE, 1.0, 1.0)


def films(*pairs: tuple[float, float]) -> Film:
    """Films that reflect R0 of what falls on them, and pass T² of it to the ground and back; without a surface."""
    R0, T2 = (np.tile(np.array(values)[:, None], 41) for values in zip(*pairs, strict=True))
    return Film(R0, T2, np.zeros(len(pairs)), np.zeros(len(pairs)))


def test_the_share_of_plain_films_is_that_of_closed_forms() -> None:
    """Two gray tones: a film that only absorbs takes each Y to T² Y, and L* = 116 Y^(1/3) - 16 (CIE 15), so that the
    cube root of T² is kept; a film that hides keeps nothing, and none keeps all."""
    light, dark = 0.5, 0.3
    lines = GrainLines(bare(np.tile([[light], [dark]], 41)), Ending())
    kept = lines.kept(films((0.0, 1.0), (0.0, 0.4), (0.0, 0.1), (0.3, 0.0)))
    np.testing.assert_allclose(kept, [1, 0.4 ** (1 / 3), 0.1 ** (1 / 3), 0], atol=1e-6)
    # A film that also scatters: Y' = R0 + T² Y / (1 - R0 Y) (Kubelka 1948).
    R0, T2 = 0.1, 0.5
    after, before = ([lab_from_xyz(np.array([y, y, y]))[0] for y in some] for some in (
        [R0 + T2 * y / (1 - R0 * y) for y in (light, dark)], (light, dark)
    ))  # fmt: skip
    np.testing.assert_allclose(lines.kept(films((R0, T2))), (after[0] - after[1]) / (before[0] - before[1]), atol=1e-6)


def test_more_paint_keeps_less(shelf, models) -> None:
    job = MatchProblem.of(TASK, shelf, models, Limits())
    grain = job.grain()
    for name in usable_paints(shelf, models, Limits()):
        shares = [grain.kept_by(models, (Layer((Part(name),), d, 1),)) for d in (0.05, 0.1, 0.25, 0.5, 1.0)]
        assert shares == sorted(shares, reverse=True)
        assert 0 <= shares[-1] < shares[0] <= 1
        assert grain.kept_by(models, ()) == 1


def test_films_and_recipes_are_told_the_same(shelf, models) -> None:
    limits = Limits(paints=("Ochre",), coats=1)
    job = MatchProblem.of(TASK, shelf, models, limits)
    washes = single_washes(limits.paints, models, shelf, limits)
    by_recipe = [job.grain().kept_by(models, (washes.layer(i),)) for i in range(len(washes))]
    np.testing.assert_allclose(job.grain().kept(washes.film), by_recipe, atol=1e-4)


@pytest.mark.parametrize("more", [{}, {"mix": 2}, {"layers": 2}, {"clear": "Amber Oil Varnish"}])
def test_what_keeps_too_little_is_not_ranked(shelf, models, more) -> None:
    strict, free = (rank_washes(TASK, shelf, models, Limits(grain_kept=share, **more)) for share in (0.5, 0.0))
    assert min(wash.grain_kept for wash in strict.washes) >= 0.5
    assert min(wash.grain_kept for wash in free.washes) < 0.5
    assert strict.searched == free.searched or more.get("layers") == 2


def test_a_limit_that_nothing_keeps_leaves_the_damage_as_it_is(shelf, models) -> None:
    limits = Limits(paints=("Warm White",), grain_kept=1.0)
    job = MatchProblem.of(TASK, shelf, models, limits)
    assert finalists(job, limits.paints, limits)[0] == ((),)
    assert rank_washes(TASK, shelf, models, limits).washes[0].layers == ()


def test_a_nearer_wash_that_hides_the_grain_is_offered_with_what_it_costs(shelf, models) -> None:
    then = (Layer((Part("Brown Glaze"),), 0.8, 1),)
    over = {"then": then, "clear": "Amber Oil Varnish"}
    strict, free = (rank_washes(TASK, shelf, models, Limits(grain_kept=share, **over)) for share in (0.5, 0.0))
    # The plan that began with a full-strength opaque paint.
    assert free.washes[0].grain_kept < 0.05
    assert strict.washes[0].grain_kept >= 0.5
    (said,) = [one for one in strict.advice if "hide the grain" in one]
    assert "would come nearer" in said
    assert not [one for one in free.advice if "hide the grain" in one]


@pytest.mark.parametrize("share", [-0.1, 1.1, float("nan")])
def test_an_impossible_share(shelf, models, share) -> None:
    with pytest.raises(BadInput, match="grain"):
        rank_washes(TASK, shelf, models, Limits(grain_kept=share))
