"""What people write as a ratio."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from colormatch.errors import BadInput
from colormatch.wash.ratio import format_fraction, format_ratio, ml_of, parse_ratio


@pytest.mark.parametrize(
    ("text", "fraction", "standard"),
    [
        ("1:3", 1 / 4, "1:3"),
        ("1 : 3", 1 / 4, "1:3"),
        ("1 to 3", 1 / 4, "1:3"),
        ("1 part paint to 3 parts water", 1 / 4, "1:3"),
        ("25%", 1 / 4, "1:3"),
        ("80/20", 4 / 5, "4:1"),
        ("2:3", 2 / 5, "2:3"),
        ("1:2.5", 1 / 3.5, "2:5"),
        ("1,5:3", 1.5 / 4.5, "1:2"),
        ("full", 1.0, "full"),
        ("FULL strength", 1.0, "full"),
        ("100%", 1.0, "full"),
        ("3 tsp to 1 cup", 3 / 51, "1:16"),
        ("2 tsp to 1/2 cup", 2 / 26, "1:12"),
        ("1 1/2 cups to 3 cups", 1 / 3, "1:2"),
        ("1 tbsp paint to 100 ml water", 14.78676478 / 114.78676478, "1:6.76"),
        ("10 drops : 1 tsp", 0.5 / (0.5 + 4.92892159), "1:9.86"),
        ("1 fl oz to 1 cup", 1 / 9, "1:8"),
    ],
)
def test_forms(text: str, fraction: float, standard: str) -> None:
    ratio = parse_ratio(text)
    assert ratio.paint_fraction == pytest.approx(fraction, rel=1e-6)
    assert str(ratio) == standard


@pytest.mark.parametrize(
    "text",
    ["", "abc", "1:", ":3", "0:3", "0%", "120%", "1:3:4", "-1:3", "1 cup to 3", "1 foot to 3 feet", "1/0 to 3",
     "1:5000", "nan:1", "1 in 4"],
)  # fmt: skip
def test_what_can_not_be_read_says_what_to_do(text: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_ratio(text)
    assert caught.value.what.endswith(".")
    assert caught.value.fix


def test_units_are_those_of_the_handbook() -> None:
    """US customary volumes by NIST Handbook 44, appendix C; gallon and fluid ounce as scipy.constants has them."""
    gallon, ounce = constants.gallon * 1e6, constants.fluid_ounce * 1e6
    assert ml_of(1, "gallon") == pytest.approx(gallon, rel=1e-12)
    assert ml_of(1, "fl oz") == pytest.approx(ounce, rel=1e-12)
    # A tablespoon is half a fluid ounce, a teaspoon a third of that; 8 ounces a cup, 2 cups a pint, 2 pints a quart.
    in_ounces = {"tbsp": 1 / 2, "tsp": 1 / 6, "cup": 8, "pint": 16, "quart": 32}
    for unit, ounces in in_ounces.items():
        assert ml_of(1, unit) == pytest.approx(ounces * ounce, rel=1e-12)
    assert (ml_of(1, "cl"), ml_of(1, "dl"), ml_of(1, "l")) == (10, 100, 1000)


@settings(deadline=None)
@given(st.integers(1, 12), st.integers(0, 12))
def test_standard_form_reads_back(paint: int, water: int) -> None:
    text = format_ratio(paint, water)
    assert parse_ratio(text).paint_fraction == pytest.approx(float(Fraction(paint, paint + water)), rel=3e-3)
    assert str(parse_ratio(text)) == text


@settings(deadline=None)
@given(st.floats(0.01, 1))
def test_any_fraction_reads_back_close(fraction: float) -> None:
    assert parse_ratio(format_fraction(fraction)).paint_fraction == pytest.approx(fraction, rel=0.006)


@pytest.mark.parametrize(("paint", "water", "said"), [(1.0, 5e-324, "full"), (5e-324, 1.0, "1:1000000000")])
def test_amounts_at_the_end_of_floats_are_still_told(paint: float, water: float, said: str) -> None:
    assert format_ratio(paint, water) == said
