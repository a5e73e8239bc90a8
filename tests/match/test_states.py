"""What a clear coat does depends on whether the wood below is bare or already has a finish."""

from __future__ import annotations

import numpy as np
import pytest

from colormatch.match.candidates import RATIOS
from colormatch.match.problem import MatchProblem
from colormatch.match.rank import rank_washes
from colormatch.records import Lab, Limits, Match, SurfaceState, Task

SOUND, DAMAGE = Lab(55.6, 11.4, 25.5), Lab(72.0, 5.8, 19.4)
BARE, SEALED = SurfaceState.BARE, SurfaceState.SEALED
COATED = Limits(clear="Matte Water Varnish", grain_kept=0.0)


def ranked(shelf, models, limits: Limits, sound: SurfaceState = BARE, damage: SurfaceState = BARE) -> Match:
    task = Task(SOUND, DAMAGE, 1.0, 1.0, target_state=sound, ground_state=damage)
    return rank_washes(task, shelf, models, limits)


def step_of(paint_fraction: float) -> int:
    """Place in the list of ratios that one measure gives: full, 1:1, 1:2, 1:3 and so on."""
    fractions = np.array([paint / (paint + water) for paint, water in RATIOS if paint == 1])
    return int(np.argmin(np.abs(np.log(fractions / paint_fraction))))


def test_over_sealed_wood_the_pick_is_that_without_a_coat(shelf, models) -> None:
    plain = ranked(shelf, models, Limits(grain_kept=0.0), SEALED, SEALED).washes[0].layers[0]
    coated = ranked(shelf, models, COATED, SEALED, SEALED).washes[0].layers[0]
    assert coated.paints == plain.paints
    assert coated.coats == plain.coats
    assert abs(step_of(coated.paint_fraction) - step_of(plain.paint_fraction)) <= 1


def test_the_coat_darkens_bare_sound_wood_and_hardly_sealed_wood(shelf, models) -> None:
    """Common practice: a finish wets bare wood; a further coat over a finish changes little."""
    bare, sealed = (ranked(shelf, models, COATED, state, state) for state in (BARE, SEALED))
    assert bare.finished is not None
    assert sealed.finished is not None
    assert SOUND.L - bare.finished.L > 4
    assert abs(SOUND.L - sealed.finished.L) < 1.5


def test_taking_sealed_sound_wood_for_bare_asks_for_another_wash(shelf, models) -> None:
    right, wrong = (ranked(shelf, models, COATED, state, BARE) for state in (SEALED, BARE))
    assert right.washes[0].layers != wrong.washes[0].layers


@pytest.mark.parametrize("state", [SEALED, SurfaceState.WASHED, SurfaceState.TOP_COATED])
def test_without_a_coat_closed_wood_left_alone_is_what_was_read(shelf, models, state) -> None:
    task = Task(SOUND, DAMAGE, target_state=state, ground_state=state)
    job = MatchProblem.of(task, shelf, models, Limits())
    np.testing.assert_allclose(job.outcomes([()]).lab[0], DAMAGE, atol=1e-3)
    np.testing.assert_allclose(job.finished, SOUND, atol=1e-3)
