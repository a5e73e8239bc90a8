"""What goes into the cup: units against pint, conservation, rounding, cost. `tests/speed/` holds benchmarks."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from colormatch.errors import BadInput
from colormatch.mixing.amounts import area_takes, easy_ml, measurable_ml, mix_batch, mix_job
from colormatch.mixing.measures import WATER, Practice, parse_area, parse_card_size, parse_number
from colormatch.records import Layer, Paint, Part
from colormatch.wash.ratio import ml_of, parse_volume

OCHRE = Layer((Part("ochre"),), 0.25, 2)
MIX = Layer((Part("ochre", 2), Part("umber", 1)), 0.25, 1)
GLAZE = Layer((Part("oxide"),), 0.8, 1)
MEASURES = ("1 ml", "0.5 ml", "0.1 ml", "5 ml", "1/4 tsp", "1 tsp", "1 drop", "1 g", "0.1 g")
layers = st.builds(
    lambda parts, fraction, coats: Layer(
        tuple(Part(f"paint {i}", part) for i, part in enumerate(parts)), fraction, coats
    ),
    st.lists(st.floats(0.1, 10), min_size=1, max_size=2),
    st.floats(0.04, 1),
    st.integers(1, 4),
)


@pytest.fixture(scope="module")
def registry():
    """pint's own table of units: https://github.com/hgrecco/pint, default_en.txt."""
    return pint.UnitRegistry()


# --- units -----------------------------------------------------------------------------------------------------------


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("unit", "theirs"),
    [("tsp", "teaspoon"), ("tbsp", "tablespoon"), ("fl oz", "fluid_ounce"), ("cup", "cup"), ("pint", "pint")],
)
def test_volumes_agree_with_pint(registry, unit: str, theirs: str) -> None:
    assert ml_of(1, unit) == pytest.approx(registry.Quantity(1, theirs).to("milliliter").magnitude, rel=1e-9)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize(
    ("text", "amount", "theirs"),
    [
        ("40cm2", 40, "cm**2"),
        ("3 sq in", 3, "inch**2"),
        ("0.5 m²", 0.5, "m**2"),
        ("2 ft2", 2, "foot**2"),
        ("2,5x4in", 10, "inch**2"),
        ("2x3in + 1 x 4 in", 10, "inch**2"),
        ("1 ft2, 44 sq in and 2 x 6 in", 200, "inch**2"),
    ],
)
def test_areas_agree_with_pint(registry, text: str, amount: float, theirs: str) -> None:
    assert parse_area(text) == pytest.approx(registry.Quantity(amount, theirs).to("cm**2").magnitude, rel=1e-9)


@pytest.mark.filterwarnings("ignore")
@given(st.floats(0.1, 5000), st.floats(0.7, 2))
def test_a_volume_said_in_every_measure_agrees_with_pint(registry, ml: float, density: float) -> None:
    said = Practice(drop_ml=0.04).spoken(ml, density)
    volume = registry.Quantity(ml, "milliliter")
    assert float(said["fl oz"].split()[0]) == pytest.approx(volume.to("fluid_ounce").magnitude, abs=0.0051)
    weight = (volume * registry.Quantity(density, "g/ml")).to("gram").magnitude
    assert float(said["g"].split()[0]) == pytest.approx(weight, abs=0.051)
    assert int(said["drops"].split()[0]) == pytest.approx(ml / 0.04, abs=0.51)
    whole, _, fraction = said["tsp"].removesuffix(" tsp").rpartition(" ")
    if not said["tsp"].startswith("under"):
        numbers = [part for part in (whole, fraction) if part]
        spoons = sum(int(n.split("/")[0]) / int(n.split("/")[1]) if "/" in n else int(n) for n in numbers)
        assert spoons == pytest.approx(volume.to("teaspoon").magnitude, abs=1 / 16 + 1e-6)


def test_card_sizes() -> None:
    assert parse_card_size("100x65mm") == (100, 65)
    assert parse_card_size("4 x 6 in") == pytest.approx((101.6, 152.4))


@pytest.mark.parametrize(
    "text", ["", "40", "cm2", "-3cm2", "0cm2", "1e9cm2x", "nan cm2", "4x10cm +", "9e9 m2", "200 m2"]
)
def test_no_area(text: str) -> None:
    with pytest.raises(BadInput):
        parse_area(text)


@pytest.mark.parametrize("text", ["", "10", "1x1mm", "9x9m", "card"])
def test_no_size_of_a_card(text: str) -> None:
    with pytest.raises(BadInput):
        parse_card_size(text)


@pytest.mark.parametrize(
    "what",
    [
        {"coverage": 0},
        {"coverage": math.nan},
        {"waste": -0.1},
        {"drop_ml": 0},
        {"smallest": "0 g"},
        {"smallest": "a pinch"},
        {"densities": (("ochre", 20.0),)},
    ],
)
def test_assumptions_that_can_t_be(what: dict) -> None:
    with pytest.raises(BadInput):
        Practice(**what)


# --- conservation ----------------------------------------------------------------------------------------------------


@given(layers, st.floats(0.5, 5000), st.sampled_from(MEASURES))
def test_parts_sum_to_the_batch_and_rounding_is_what_it_says(layer: Layer, batch_ml: float, smallest: str) -> None:
    practice = Practice(smallest=smallest, densities=(("paint 0", 1.3),))
    batch = mix_batch(layer, batch_ml, practice=practice)
    assert math.fsum(measure.exact_ml for measure in batch.measures) == pytest.approx(batch_ml)
    assert batch.ml == pytest.approx(math.fsum(measure.ml for measure in batch.measures))
    whole = math.fsum(measure.parts for measure in batch.measures)
    for measure in batch.measures:
        assert measure.parts / whole * batch_ml == pytest.approx(measure.exact_ml)
        step = practice.step_ml(measure.name)
        assert measure.ml / step == pytest.approx(round(measure.ml / step))
        assert measure.ml >= step * (1 - 1e-9)
        assert abs(measure.ml - measure.exact_ml) <= max(step / 2, step - measure.exact_ml) + 1e-9
    paint = math.fsum(measure.ml for measure in batch.measures[: len(layer.paints)])
    assert batch.layer.paint_fraction == pytest.approx(paint / batch.ml)


@given(layers, st.floats(5, 300), st.sampled_from(MEASURES))
def test_a_measurable_batch_is_enough_and_not_much_more(layer: Layer, least: float, smallest: str) -> None:
    practice = Practice(smallest=smallest)
    volume, step = measurable_ml(layer, least, practice), practice.step_ml("")
    assert least <= volume * (1 + 1e-9)
    scarcest = min(measure.exact_ml for measure in mix_batch(layer, 1).measures[: len(layer.paints)])
    assert volume <= max(2 * (least + step), step / scarcest + step)
    assert volume <= 10 * (least + step)


def test_a_large_area_is_answered_at_once() -> None:
    amounts = mix_job([OCHRE], {}, Practice(smallest="1 drop"), area_cm2=1e6)
    assert amounts.batches[0].ml == pytest.approx(24_000, rel=1e-3)
    with pytest.raises(BadInput):
        mix_job([OCHRE], {}, Practice(coverage=1), area_cm2=1e6)


# --- worked by hand --------------------------------------------------------------------------------------------------


def test_hand_worked_example() -> None:
    """1:3 of 40 ml is 10 ml and 30 ml; two to one of it is 6.67 and 3.33. Worked by hand."""
    assert [measure.ml for measure in mix_batch(OCHRE, 40).measures] == [10, 30]
    exact = [measure.exact_ml for measure in mix_batch(MIX, 40).measures]
    assert exact == pytest.approx([20 / 3, 10 / 3, 30])


def test_a_glaze_over_a_mix_worked_by_hand() -> None:
    """46 cm² at 100 cm² from 1 ml and 20 % more: 0.55 ml a coat, so the least batch of 5 ml decides.

    A mix of 2 to 1 in 1:3 has 2, 1 and 9 parts: in half milliliters the first batch of 5 ml or more is 6. The glaze,
    4:1, fits 5 ml.
    """
    amounts = mix_job([MIX, GLAZE], {}, Practice(smallest="0.5 ml"), area_cm2=46)
    assert [[measure.ml for measure in batch.measures] for batch in amounts.batches] == [[1, 0.5, 4.5], [4, 1]]
    assert [measure.parts for measure in amounts.batches[0].measures] == pytest.approx([2, 1, 9])


def test_by_weight_each_thing_by_its_own_density() -> None:
    """5 ml of paint at 1.26 g/ml weigh 6.3 g, 15 ml of water 14.97 g: on a scale of 1 g that is 6 and 15."""
    batch = mix_batch(OCHRE, 20, practice=Practice(smallest="1 g", densities=(("ochre", 1.26),)))
    assert [round(measure.grams, 9) for measure in batch.measures] == [6, 15]
    assert batch.measures[0].ml == pytest.approx(6 / 1.26)
    assert batch.measures[1].ml == pytest.approx(15 / WATER)


def test_rounding_is_to_the_smallest_measure_and_never_to_nothing() -> None:
    tiny = mix_job([Layer((Part("ochre"),), 1 / 25, 1)], {}, batch_ml=5)
    assert [measure.ml for measure in tiny.batches[0].measures] == [1, 5]
    assert tiny.layers[0].paint_fraction == pytest.approx(1 / 6)
    assert [flag.code for flag in tiny.flags] == ["coarse-measure"]


def test_a_thin_wash_is_mixed_so_large_that_its_paint_can_be_measured() -> None:
    """1:24 of less than 25 ml holds less than one milliliter of paint."""
    amounts = mix_job([Layer((Part("ochre"),), 1 / 25, 1)], {}, area_cm2=40)
    assert [measure.ml for measure in amounts.batches[0].measures] == [1, 24]
    assert not amounts.flags


def test_a_slip_is_one_measure_more_of_the_first_paint() -> None:
    assert mix_batch(OCHRE, 40).slip.paint_fraction == pytest.approx(11 / 41)


def test_drops_are_as_large_as_one_says() -> None:
    assert Practice(smallest="2 drops", drop_ml=0.03).step_ml("") == pytest.approx(0.06)
    assert parse_volume("20 drops") == pytest.approx(1)


def test_cost_of_each_batch_and_of_the_job() -> None:
    """10 of 125 ml at 9 cost 0.72; 8 of 100 ml at 5 cost 0.40."""
    shelf = {"ochre": Paint("ochre", price=9, size_ml=125), "oxide": Paint("oxide", price=5, size_ml=100)}
    amounts = mix_job([OCHRE, GLAZE], shelf, batch_ml=40)
    assert [batch.cost for batch in amounts.batches] == pytest.approx([0.72, 1.6])
    assert amounts.cost == pytest.approx(2.32)
    assert mix_job([OCHRE], {"ochre": Paint("ochre")}, batch_ml=40).cost is None


def test_what_is_left_counts_for_all_washes_together() -> None:
    shelf = {"ochre": Paint("ochre", on_hand_ml=15)}
    assert not mix_job([OCHRE], shelf, batch_ml=40).flags
    both = mix_job([OCHRE, OCHRE], shelf, batch_ml=40)
    assert [flag.code for flag in both.flags] == ["not-enough"]
    assert "20 ml" in both.flags[0].text


def test_what_an_area_takes_grows_with_area_and_coats() -> None:
    assert area_takes(1000, 2) == pytest.approx(2 * area_takes(1000, 1))
    assert area_takes(1000, 1, Practice(coverage=50, waste=0)) == pytest.approx(20)
    assert mix_job([OCHRE], {}, area_cm2=1).batches[0].ml == 8  # 5 ml load a brush; 8 can be measured


# --- what people write -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "sides", "unit"),
    [
        ('5"x2"', (5, 2), "inch"),
        ("2 inches by 3 inches", (2, 3), "inch"),
        ("1 foot x 2 feet", (1, 2), "foot"),
        ("5 centimeters by 20 millimetres", (5, 2), "cm"),
    ],
)
def test_sides_with_their_units_spelled_out(registry, text, sides, unit):
    expected = registry.Quantity(math.prod(sides), f"{unit}**2").to("cm**2").magnitude
    assert parse_area(text) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("text", ["40", "4x10", "4 x 10"])
def test_a_size_without_a_unit_asks_for_it(text):
    with pytest.raises(BadInput) as refused:
        parse_area(text)
    assert "has no unit" in str(refused.value)
    for advised in refused.value.fix.rstrip(".").removeprefix("Write ").split(" or "):
        assert parse_area(advised) > 0


@pytest.mark.parametrize(
    ("text", "number"), [("12.50", 12.5), ("12,50", 12.5), ("12.5 a tin", 12.5), ("€ 9", 9.0), ("-3", -3.0)]
)
def test_a_number_as_people_write_it(text, number):
    assert parse_number(text, "price") == number


@pytest.mark.parametrize("text", ["", "cheap", "10-12", "1,234", "1,234.50", "1e3"])
def test_what_may_be_another_number_is_refused(text):
    with pytest.raises(BadInput, match="not a valid price"):
        parse_number(text, "price")


@given(layers, st.integers(1, 60))
def test_easy_sizes_lie_on_both_sides_and_are_measured_well(layer, ml):
    for size in easy_ml(layer, float(ml)):
        batch = mix_batch(layer, size)
        exact = math.fsum(measure.exact_ml for measure in batch.measures)
        for measure in batch.measures:
            assert measure.ml / batch.ml == pytest.approx(measure.exact_ml / exact, rel=0.031)
        assert size != ml


def test_paint_is_paid_for_as_it_is_measured_and_not_as_the_recipe_has_it() -> None:
    """5 ml of 1:3 in whole milliliters is 1 ml of paint and 4 of water: a hundredth of a tin of 100 ml at 10."""
    tin = {"ochre": Paint("ochre", price=10.0, size_ml=100.0)}
    batch = mix_batch(OCHRE, 5.0, tin, Practice())
    assert [measure.ml for measure in batch.measures] == [1.0, 4.0]
    assert batch.measures[0].exact_ml == pytest.approx(1.25)
    assert batch.cost == pytest.approx(0.10)
    twice = mix_batch(OCHRE, 5.0, {"ochre": Paint("ochre", price=10.0, size_ml=50.0)}, Practice())
    assert twice.cost == pytest.approx(0.20)
