"""Shifted targets: exactly as far as asked, by the CIEDE2000 of another library."""

import pytest
from coloraide import Color
from hypothesis import given
from hypothesis import strategies as st

from colormatch.errors import BadInput
from colormatch.match.targets import parse_shift, shift_target
from colormatch.records import Lab

WOODS = st.builds(Lab, st.floats(30, 80), st.floats(0, 20), st.floats(5, 40))


@given(WOODS, st.sampled_from(["warmer", "cooler", "darker", "lighter"]), st.floats(0.01, 8))
def test_shift_is_exact(lab, direction, amount):
    moved = shift_target(lab, direction, amount)
    here, there = (Color("lab-d65", list(c)) for c in (lab, moved))
    assert here.delta_e(there, method="2000") == pytest.approx(amount, abs=1e-6)


def test_direction():
    lab = Lab(60, 8, 22)
    assert shift_target(lab, "darker", 2).L < 60 < shift_target(lab, "lighter", 2).L
    warm, cool = shift_target(lab, "warmer", 2), shift_target(lab, "cooler", 2)
    assert warm.a > 8 > cool.a
    assert warm.b > 22 > cool.b
    assert warm.L == cool.L == 60
    assert shift_target(lab, "warmer", 0) == pytest.approx(lab)


@pytest.mark.parametrize(
    ("lab", "direction", "amount"),
    [
        (Lab(60, 8, 22), "redder", 2),
        (Lab(60, 8, 22), "darker", -1),
        (Lab(60, 8, 22), "darker", float("nan")),
        (Lab(99, 0, 2), "lighter", 5),
        (Lab(60, 8, 22), "warmer", 500),
        (Lab(160, 8, 22), "warmer", 1),
    ],
)
def test_impossible_shift(lab, direction, amount):
    with pytest.raises(BadInput) as error:
        shift_target(lab, direction, amount)
    assert error.value.what
    assert error.value.fix


def test_a_shift_is_read_up_to_another_color_altogether():
    """50 ΔE is the module's stated choice; that much is still taken, and nothing beyond."""
    assert parse_shift("darker=50") == ("darker", 50.0)
    assert parse_shift("warmer=0") == ("warmer", 0.0)
    assert parse_shift("") is parse_shift(None) is None
    for text in ("darker=50.01", "darker=-0.1", "darker", "darker=", "redder=2", "darker=nan", "=2"):
        with pytest.raises(BadInput):
            parse_shift(text)
