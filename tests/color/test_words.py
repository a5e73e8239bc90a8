"""Words for a difference: direction and size must fit the numbers."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from colormatch.color.difference import delta_e
from colormatch.color.words import ACCEPTABLE, VISIBLE, describe_off, directions, verdict
from colormatch.records import Lab

WOOD = Lab(60, 10, 24)


@pytest.mark.parametrize(
    ("lab", "word"),
    [
        (Lab(64, 10, 24), "light"),
        (Lab(56, 10, 24), "dark"),
        (Lab(60, 12.5, 30), "strong"),
        (Lab(60, 7.5, 18), "gray"),
        (Lab(60, 15, 21.2), "red"),
        (Lab(60, 5, 25.5), "yellow"),
    ],
)
def test_direction(lab: Lab, word: str) -> None:
    assert f"too {word}" in describe_off(lab, WOOD)


@pytest.mark.parametrize(
    ("lab", "word"),
    [(Lab(50, 4, 0), "redder"), (Lab(50, -4, 0), "greener"), (Lab(50, 0, 4), "yellower"), (Lab(50, 0, -4), "bluer")],
)
def test_beside_gray_the_axes_are_named(lab: Lab, word: str) -> None:
    assert directions(lab, Lab(50, 0, 0))[0][1] == word


def test_thresholds() -> None:
    """Paravina et al. 2015: 0.8 is seen and 1.8 accepted by half of the observers."""
    assert (VISIBLE, ACCEPTABLE) == (0.8, 1.8)
    assert verdict(0.79) != verdict(0.8)
    assert verdict(1.79) != verdict(1.8)


@given(st.floats(20, 90), st.floats(-20, 40), st.floats(-20, 50))
def test_says_nothing_to_see_only_below_the_threshold(L: float, a: float, b: float) -> None:
    lab = Lab(L, a, b)
    assert (describe_off(lab, WOOD) == "nothing to see") == (float(delta_e(lab, WOOD)) < VISIBLE)
