"""Amounts, schedule and checks. `tests/bench/` holds benchmarks, so the bench's own tests stand here."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from colormatch.bench.amounts import measurable_ml, mix_batch, parse_area, wash_needed
from colormatch.bench.cautions import DEFER, RAGS, SOLVENTS, cautions
from colormatch.bench.check import compare, rank_strips
from colormatch.bench.schedule import BETWEEN_COATS_S, schedule, whole_time
from colormatch.errors import BadInput
from colormatch.records import Lab, Layer, Paint, Part, Sample
from colormatch.wash.ratio import ml_of, parse_volume

OCHRE = Layer((Part("ochre"),), 0.25, 2)
MIX = Layer((Part("ochre", 2), Part("umber", 1)), 0.25, 1)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("unit", "theirs"),
    [("tsp", "teaspoon"), ("tbsp", "tablespoon"), ("fl oz", "fluid_ounce"), ("cup", "cup"), ("pint", "pint")],
)
def test_volumes_agree_with_pint(unit: str, theirs: str) -> None:
    registry = pint.UnitRegistry()
    assert ml_of(1, unit) == pytest.approx(registry.Quantity(1, theirs).to("milliliter").magnitude, rel=1e-9)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("text", "amount", "theirs"),
    [("40cm2", 40, "cm**2"), ("3 sq in", 3, "inch**2"), ("0.5 m²", 0.5, "m**2"), ("2 ft2", 2, "foot**2")],
)
def test_areas_agree_with_pint(text: str, amount: float, theirs: str) -> None:
    registry = pint.UnitRegistry()
    assert parse_area(text) == pytest.approx(registry.Quantity(amount, theirs).to("cm**2").magnitude, rel=1e-9)


def test_rectangle() -> None:
    assert parse_area("2x3in") == pytest.approx(6 * 2.54**2)
    assert parse_area("50mm x 4cm") == pytest.approx(20)


@pytest.mark.parametrize("text", ["", "40", "cm2", "-3cm2", "0cm2", "1e9cm2x", "nan cm2"])
def test_no_area(text: str) -> None:
    with pytest.raises(BadInput):
        parse_area(text)


@given(st.floats(0.01, 1), st.floats(0.5, 5000), st.floats(0.1, 10))
def test_parts_sum_to_the_batch(fraction: float, batch_ml: float, other: float) -> None:
    layer = Layer((Part("ochre"), Part("umber", other)), fraction, 1)
    batch = mix_batch(layer, batch_ml)
    assert math.fsum(measure.exact_ml for measure in batch.measures) == pytest.approx(batch_ml)
    assert batch.ml == pytest.approx(math.fsum(measure.ml for measure in batch.measures))
    paint = math.fsum(measure.ml for measure in batch.measures[:2])
    assert batch.layer.paint_fraction == pytest.approx(paint / batch.ml)


def test_hand_worked_example() -> None:
    """1:3 of 40 ml is 10 ml and 30 ml; two to one of it is 6.67 and 3.33. Worked by hand."""
    assert [measure.ml for measure in mix_batch(OCHRE, 40).measures] == [10, 30]
    exact = [measure.exact_ml for measure in mix_batch(MIX, 40).measures]
    assert exact == pytest.approx([20 / 3, 10 / 3, 30])


def test_rounding_is_to_the_smallest_measure_and_never_to_nothing() -> None:
    tiny = mix_batch(Layer((Part("ochre"),), 1 / 25, 1), 5, smallest_ml=1)
    assert [measure.ml for measure in tiny.measures] == [1, 5]
    assert tiny.layer.paint_fraction == pytest.approx(1 / 6)


@given(st.floats(0.04, 1), st.floats(5, 300))
def test_a_measurable_batch_is_enough_and_no_more_than_twice(fraction: float, least: float) -> None:
    volume = measurable_ml(Layer((Part("ochre"),), fraction, 1), least)
    assert least <= volume <= 2 * least + 1


def test_cost_and_shortage() -> None:
    tin = Paint("ochre", price=9, size_ml=125, on_hand_ml=4)
    batch = mix_batch(OCHRE, 40, {"ochre": tin})
    assert batch.cost == pytest.approx(0.72)
    assert [flag.code for flag in batch.flags] == ["not-enough"]
    assert mix_batch(OCHRE, 40, {"ochre": Paint("ochre")}).cost is None


def test_wash_needed_grows_with_area_and_coats() -> None:
    assert wash_needed(1000, 2) == pytest.approx(2 * wash_needed(1000, 1))
    assert wash_needed(1, 1) == 5  # the least that loads a brush
    assert parse_volume("2 tbsp") == pytest.approx(6 * ml_of(1, "tsp"))


def test_schedule_waits_between_coats() -> None:
    steps = schedule([OCHRE], clear_coat="shellac")
    assert sum("Brush on ochre" in step.text for step in steps) == 2
    assert sum("Lay a thin coat" in step.text for step in steps) == 3
    assert whole_time(steps) > 6 * BETWEEN_COATS_S


def test_cautions_fit_the_work_and_defer() -> None:
    assert SOLVENTS not in cautions("water")
    assert SOLVENTS in cautions("water", clear_coat=True)
    assert RAGS in cautions("white spirit", kind="oil stain")
    assert cautions("water")[-1] == DEFER


def sample(name: str, lab: Lab, random: float = 0.5) -> Sample:
    return Sample(name, lab, random, 6.7, 10_000)


SOUND = sample("sound", Lab(56, 11, 25))


def test_check_range_holds_the_difference_and_widens_with_doubt() -> None:
    near = compare(sample("repair", Lab(58, 11, 25)), SOUND)
    unsure = compare(sample("repair", Lab(58, 11, 25), 3.0), SOUND)
    assert near.low <= near.delta_e <= near.high
    assert unsure.high - unsure.low > near.high - near.low
    assert "light" in near.off


def test_check_says_when_to_stop() -> None:
    assert compare(sample("repair", Lab(56.3, 11, 25)), SOUND).done
    assert not compare(sample("repair", Lab(66, 8, 22)), SOUND).done


def test_strips_nearest_first() -> None:
    strips = [sample("a", Lab(60, 10, 25)), sample("b", Lab(56.5, 11, 25)), sample("c", Lab(50, 12, 26))]
    assert [check.name for check in rank_strips(strips, SOUND)] == ["b", "a", "c"]
