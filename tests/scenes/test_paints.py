"""The invented paints' physics against closed forms, an integration of its own and common sense."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests.scenes.paints import (
    CLEAR_COATS,
    PAINTS,
    WHITE_CARD,
    Wash,
    dried,
    layer,
    mixed,
    surface,
    washed,
    washed_board,
)
from tests.scenes.spectra import delta_e, flat, reflectance_to_lab
from tests.scenes.woods import DARK_WOOD, LIGHT_WOOD, board


@pytest.mark.parametrize(
    ("absorption", "scattering", "film", "ground", "expected"),
    [
        # Closed form of Kubelka and Munk 1931, evaluated by hand for K = S = X = 1 and for a thin film.
        (1.0, 1.0, 1.0, 0.0, 0.260147),
        (1.0, 1.0, 1.0, 0.8, 0.287514),
        (1.0, 1.0, 1.0, 1.0, 0.296761),
        (1.0, 1.0, 0.1, 0.5, 0.435344),
        # A film that hides all: R = 1 + K/S - sqrt((K/S)**2 + 2 K/S).
        (1.0, 1.0, 1e3, 0.5, 0.267949),
        (0.025, 1.0, 1e3, 0.0, 0.8),
    ],
)
def test_layer_follows_kubelka_munk(absorption, scattering, film, ground, expected):
    assert layer(np.array(ground), absorption, scattering, film) == pytest.approx(expected, abs=2e-6)


def test_layer_solves_the_differential_equation():
    # Kubelka and Munk 1931: dR/dX = S - 2 (K + S) R + S R**2, R(0) the ground.
    solution = solve_ivp(lambda _, r: 0.7 - 2 * (0.4 + 0.7) * r + 0.7 * r * r, (0, 0.8), [0.35], rtol=1e-10, atol=1e-12)
    assert layer(np.array(0.35), 0.4, 0.7, 0.8) == pytest.approx(solution.y[0, -1], abs=1e-8)


def test_surface_follows_saunderson():
    # Saunderson 1942 with k1 = 0.04, k2 = 0.6: internal 0.1, 0.5, 0.9, without the 0.04 of gloss.
    np.testing.assert_allclose(
        surface(np.array([0.1, 0.5, 0.9]), 0.04, 0.6), np.array([0.080851, 0.314286, 0.791304]) - 0.04, atol=1e-6
    )


@pytest.mark.parametrize("paint", PAINTS.values(), ids=PAINTS)
def test_washes_run_from_bare_wood_to_the_paint(paint):
    bare = washed_board(LIGHT_WOOD)
    np.testing.assert_allclose(washed_board(LIGHT_WOOD, [Wash(paint, 1e-6, 1)]), bare, atol=1e-4)
    thick = [washed_board(wood, [Wash(paint, 1.0, 1, thickness=60)]) for wood in (LIGHT_WOOD, DARK_WOOD)]
    assert delta_e(*map(reflectance_to_lab, thick)) < 0.1
    away = [
        float(delta_e(*map(reflectance_to_lab, (washed_board(LIGHT_WOOD, [Wash(paint, 0.25, coats)]), bare))))
        for coats in (1, 2, 3)
    ]
    assert away == sorted(away)
    everything = np.array([washed_board(DARK_WOOD, [Wash(paint, d, n)]) for d in (0.1, 1.0) for n in (1, 3)])
    assert everything.min() > 0
    assert everything.max() < 1


def test_mix_of_a_paint_with_itself_is_the_paint():
    both = mixed({"Ochre": 2})
    np.testing.assert_allclose(
        dried(WHITE_CARD, [Wash(both, 0.5, 1)]), dried(WHITE_CARD, [Wash(PAINTS["Ochre"], 0.5, 1)])
    )


def test_mix_lies_between_its_paints():
    ends = [dried(WHITE_CARD, [Wash(PAINTS[name], 1.0, 1)]) for name in ("Warm White", "Carbon Black")]
    middle = dried(WHITE_CARD, [Wash(mixed({"Warm White": 1, "Carbon Black": 1}), 1.0, 1)])
    assert (ends[1] < middle).all()
    assert (middle < ends[0]).all()


def test_order_of_a_stack_counts():
    white, black = Wash(PAINTS["Warm White"], 0.5, 1), Wash(PAINTS["Carbon Black"], 0.25, 1)
    assert (
        reflectance_to_lab(dried(flat(0.4), [black, white]))[0]
        > reflectance_to_lab(dried(flat(0.4), [white, black]))[0] + 10
    )


@pytest.mark.parametrize("clear", CLEAR_COATS.values(), ids=CLEAR_COATS)
def test_clear_coat_darkens_and_strengthens_bare_wood(clear):
    # Common practice, no source: sealed wood looks "wet": darker and stronger in color.
    bare, sealed = (reflectance_to_lab(washed_board(LIGHT_WOOD, clear=coat)) for coat in (None, clear))
    assert sealed[0] < bare[0] - 3
    assert np.hypot(*sealed[1:]) > np.hypot(*bare[1:])


def test_washed_board_keeps_its_grain_and_its_mean():
    piece = board(LIGHT_WOOD, (80, 100), np.random.default_rng(1))
    wash = [Wash(PAINTS["Raw Umber"], 0.25, 1)]
    painted = washed(piece, wash)
    assert painted.reflectances.shape == piece.reflectances.shape
    mean = piece.shares.mean((0, 1), dtype=float)
    np.testing.assert_allclose(
        painted.mean_reflectance(), mean @ dried(LIGHT_WOOD.tones, wash, held=np.array([0.1, 0.3, 0.6])), atol=1e-5
    )


def test_application_scatter_has_its_spread():
    rng = np.random.default_rng(0)
    film = [Wash(PAINTS["Ochre"], 0.5, 1).scattered(rng).thickness for _ in range(2000)]
    assert np.std(np.log(film)) == pytest.approx(0.12, rel=0.06)
