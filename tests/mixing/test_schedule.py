"""Steps, times and cautions. Their figures are common practice, no source; here stands how they act."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from colormatch.errors import BadInput
from colormatch.mixing.cautions import DEFER, DUST, RAGS, SOLVENTS, cautions
from colormatch.mixing.schedule import (
    GLAZE_STANDS_S,
    OIL_DRIES_S,
    SHELLAC_DRIES_S,
    WASH_STANDS_S,
    WATER_DRIES_S,
    Times,
    format_time,
    parse_time,
    schedule,
    time_left,
    usual_times,
)
from colormatch.records import Layer, Paint, Part

OCHRE = Layer((Part("ochre"),), 0.25, 2)
GLAZE = Layer((Part("oxide"),), 0.8, 1)


def test_every_coat_is_brushed_left_wiped_and_dried() -> None:
    steps = schedule([OCHRE, GLAZE], clear_coat="shellac")
    assert sum(step.text.startswith("Brush ochre on") for step in steps) == 2
    assert sum(step.text.startswith("Brush oxide on") for step in steps) == 1
    assert sum(step.text.startswith("Wipe back along the grain") for step in steps) == 3
    assert sum(step.text.startswith("Apply a thin coat of shellac") for step in steps) == 3
    strip = next(i for i, step in enumerate(steps) if "test strip" in step.text)
    assert strip < next(i for i, step in enumerate(steps) if step.text.startswith("Brush"))


def test_the_paint_s_kind_tells_how_long_it_takes() -> None:
    assert usual_times(OCHRE) == (WASH_STANDS_S, WATER_DRIES_S)
    assert usual_times(GLAZE) == (GLAZE_STANDS_S, WATER_DRIES_S)
    assert usual_times(OCHRE, Paint("x", kind="matte furniture paint"))[1] == WATER_DRIES_S
    assert usual_times(OCHRE, Paint("x", kind="oil paint", thinner="white spirit"))[1] == OIL_DRIES_S
    assert usual_times(OCHRE, Paint("x", kind="tinted shellac", thinner="alcohol"))[1] == SHELLAC_DRIES_S


def test_own_figures_replace_the_usual_ones() -> None:
    own = Times(stands=90, dries=1800, clear_dries=600, clear_coats=2)
    steps = schedule([OCHRE], {"ochre": Paint("ochre", kind="oil")}, own, clear_coat="varnish")
    waits = [step.seconds for step in steps if step.wait]
    assert waits == [1800, 90, 1800, 90, 1800, 600, 600]


def test_what_goes_over_the_whole_piece_comes_after_the_look() -> None:
    steps = schedule([OCHRE], then=[GLAZE], clear_coat="shellac")
    look = next(i for i, step in enumerate(steps) if step.text.startswith("Look at it dry"))
    over = next(i for i, step in enumerate(steps) if "over the whole piece" in step.text)
    seal = next(i for i, step in enumerate(steps) if step.text.startswith("Apply a thin coat"))
    assert look < over < seal


def test_time_left_shrinks_step_by_step() -> None:
    steps = schedule([OCHRE])
    left = [time_left(steps, done) for done in range(len(steps) + 1)]
    assert left == sorted(left, reverse=True)
    assert left[0] == sum(step.seconds for step in steps)
    assert left[-1] == 0


@given(st.integers(0, 29 * 24 * 60))
def test_times_are_read_as_they_are_written(minutes: int) -> None:
    assert parse_time(format_time(60 * minutes)) == 60 * minutes


@pytest.mark.parametrize("text", ["", "soon", "-5 min", "5", "5 parsecs", "90 days", "1 h and a bit"])
def test_no_time(text: str) -> None:
    with pytest.raises(BadInput):
        parse_time(text)


def test_times_beyond_all_use_are_refused() -> None:
    with pytest.raises(BadInput):
        Times(dries=-1)


def test_cautions_fit_the_work_and_defer() -> None:
    water, spirit = Paint("ochre"), Paint("dark", kind="oil stain", thinner="white spirit")
    assert DUST in cautions([water])
    assert SOLVENTS not in cautions([water])
    assert SOLVENTS in cautions([water], clear_coat=True)
    assert RAGS in cautions([water, spirit])
    assert cautions([water])[-1] == cautions([spirit])[-1] == DEFER


@pytest.mark.parametrize(
    ("paint", "water", "glaze"), [(7, 3, True), (8, 2, True), (1, 0, True), (2, 1, False), (1, 1, False)]
)
def test_a_wash_is_worked_like_a_glaze_from_seven_parts_in_ten(paint: int, water: int, glaze: bool) -> None:
    """Common practice, no source: from 7:3 on, that ratio included."""
    stands, _ = usual_times(Layer((Part("oxide"),), paint / (paint + water)))
    assert stands == (GLAZE_STANDS_S if glaze else WASH_STANDS_S)
