"""Shop chips: what they take off, and what they refuse."""

import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.color.space import lab_from_linear
from colormatch.errors import BadInput
from colormatch.records import Lab, ShopChip
from colormatch.reference.chips import GRAY, with_chips
from colormatch.reference.correction import gray_card_correction
from tests.scenes import woods
from tests.scenes.camera import color_matrix, raw_weights
from tests.scenes.spectra import flat, reflectance_to_lab

WOOD = woods.wood_reflectance(np.array([1.2, 2.0, 3.5, 5.5]), np.array([100, 130, 110, 140]), 0.12)
#: Offcuts of other woods as chips.
CHIPS = woods.wood_reflectance(np.array([1.0, 2.6, 4.5, 7.0]), np.array([140, 100, 150, 95]), 0.05)


def seen(reflectances: np.ndarray, light: str = "FL2") -> np.ndarray:
    return reflectances @ raw_weights("shifted", light) @ color_matrix("shifted", light).T * 0.8


def settled(count: int, uncertainty: float = 0.0) -> list[ShopChip]:
    labs = reflectance_to_lab(CHIPS[:count]).tolist()
    return [ShopChip(f"offcut {number}", Lab(*lab), uncertainty) for number, lab in enumerate(labs, 1)]


def test_more_chips_leave_less() -> None:
    card = gray_card_correction(seen(flat(0.18)))
    errors = [delta_e(card.lab(seen(WOOD)), reflectance_to_lab(WOOD)).mean()]
    stated = [card.systematic]
    for count in (1, 2, 4):
        better = with_chips(card, seen(CHIPS[:count]), settled(count), GRAY)
        errors.append(delta_e(better.lab(seen(WOOD)), reflectance_to_lab(WOOD)).mean())
        stated.append(better.systematic)
        assert "chip" in better.steps[-1]
    # The simulated lamp and camera leave more than 3; offcuts of wood take most of it off.
    assert errors[0] > 3
    assert errors[1] < 0.7 * errors[0]
    assert errors[3] < 0.35 * errors[0]
    assert stated == sorted(stated, reverse=True)


def test_chips_are_trusted_no_further_than_their_own_colors() -> None:
    card = gray_card_correction(seen(flat(0.18)))
    exact, doubtful = (with_chips(card, seen(CHIPS), settled(4, doubt), GRAY).systematic for doubt in (0.0, 6.0))
    assert doubtful == pytest.approx(np.hypot(exact, 6.0))


def test_a_chip_comes_nearer_to_what_it_is_and_gray_stays() -> None:
    gray = seen(flat(0.18))
    card = gray_card_correction(gray)
    one = with_chips(card, seen(CHIPS[:1]), settled(1), GRAY)
    before, after = (delta_e(way.lab(seen(CHIPS[:1])), np.array([settled(1)[0].lab]))[0] for way in (card, one))
    assert after < 0.4 * before
    assert delta_e(one.lab(gray), card.lab(gray)) < 0.5 * before
    np.testing.assert_allclose(lab_from_linear(one.linear(seen(WOOD))), one.lab(seen(WOOD)), atol=1e-9)


def test_doubtful_chips_are_refused() -> None:
    card = gray_card_correction(seen(flat(0.18)))
    with pytest.raises(BadInput, match="0 chips"):
        with_chips(card, np.zeros((0, 3)), [])
    with pytest.raises(BadInput, match="1 chips are marked, but 2"):
        with_chips(card, seen(CHIPS[:1]), settled(2))
    with pytest.raises(BadInput, match="blown out or black"):
        with_chips(card, np.ones((1, 3)), settled(1))
    with pytest.raises(BadInput, match="offcut 2"):
        with_chips(card, seen(CHIPS[[0, 3]]) * [[1], [0.5]], settled(2))
