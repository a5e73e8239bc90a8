"""Film physics: closed forms, the differential equation, published surface values, and the limits."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.interpolate import CubicSpline

from colormatch.color.spectra import WAVELENGTHS
from colormatch.wash.clear import seal
from colormatch.wash.film import (
    SURFACE_FILM,
    Body,
    bare,
    film,
    inside_of,
    lay,
    saunderson,
    seen,
    thickness,
    thickness_by_log_rho,
)
from colormatch.wash.optics import KNOTS, Optics, knot_basis, mix, optics_of

POSITIVE = st.floats(1e-3, 8)
REFLECTANCE = st.floats(0.001, 0.98)


def over(K: float, S: float, x: float, ground: float) -> float:
    """Reflectance inside a film over a gray ground."""
    one = film(np.array([K]), np.array([S]), np.array(x), np.array(0.4))
    return float(lay(one, bare(np.array([ground]))).reflectance[0])


@pytest.mark.parametrize(("hiding", "ratio"), [(0.05, 9.025), (0.1, 4.05), (0.2, 1.6), (0.5, 0.25), (0.8, 0.025),
                                               (0.9, 0.0055556), (0.267949, 1.0)])  # fmt: skip
def test_hiding_film(hiding: float, ratio: float) -> None:
    """Kubelka and Munk 1931: K/S = (1 - R)² / 2R of a film that hides its ground."""
    for ground in (0.0, 1.0):
        assert over(ratio, 1.0, 500.0, ground) == pytest.approx(hiding, abs=1e-5)


@pytest.mark.parametrize(("x", "ground", "expected"), [(1, 0, 0.260147), (1, 0.8, 0.287514), (1, 1, 0.296761),
                                                       (0.1, 0.5, 0.435344)])  # fmt: skip
def test_closed_form_values(x: float, ground: float, expected: float) -> None:
    """K = S = 1; R = (1 - Rg (a - b coth bSx)) / (a - Rg + b coth bSx), evaluated by hand."""
    assert over(1, 1, x, ground) == pytest.approx(expected, abs=1e-6)


@given(st.integers(0, 1000), st.floats(0.3, 1.02) | st.just(1.0) | st.floats(1 - 1e-9, 1 + 1e-9), st.floats(0.5, 1.5))
def test_coats_add_up(coats: int, rho: float, gamma: float) -> None:
    """Against the sum itself, coat by coat."""
    total = sum(rho**below for below in range(coats))
    assert float(thickness(0.25, coats, gamma, rho)) == pytest.approx(0.25**gamma * total, rel=1e-9)
    if coats:
        slope = sum(below * rho**below for below in range(coats)) / total
        assert float(thickness_by_log_rho(coats, rho)) == pytest.approx(slope, rel=1e-6, abs=1e-9)


@settings(deadline=None)
@given(POSITIVE, POSITIVE, st.floats(0.01, 3), REFLECTANCE)
def test_closed_form(K: float, S: float, x: float, ground: float) -> None:
    a = 1 + K / S
    b = np.sqrt(a * a - 1)
    reach = b / np.tanh(min(b * S * x, 300))
    assert over(K, S, x, ground) == pytest.approx((1 - ground * (a - reach)) / (a - ground + reach), abs=1e-9)


@pytest.mark.parametrize("K", [0.0, 0.03, 1.0, 5.0])
@pytest.mark.parametrize("S", [0.05, 1.0, 4.0])
def test_differential_equation(K: float, S: float) -> None:
    """dR/dx = S - 2 (K + S) R + S R² (Kubelka and Munk 1931), integrated by scipy from the ground up."""
    for ground in (0.02, 0.6):
        path = solve_ivp(lambda _, R: S - 2 * (K + S) * R + S * R * R, (0, 1.3), [ground], rtol=1e-9, atol=1e-11)
        assert over(K, S, 1.3, ground) == pytest.approx(path.y[0, -1], abs=1e-7)


def test_limits_of_absorption_and_scattering() -> None:
    """No absorption: Sx / (1 + Sx) over black. No scattering: the ground, dimmed twice."""
    assert over(0, 2, 1.5, 0) == pytest.approx(3 / 4, abs=1e-7)
    assert over(0.7, 0, 1.5, 0.4) == pytest.approx(0.4 * np.exp(-2 * 0.7 * 1.5), abs=1e-9)
    assert over(0, 0, 1.5, 0.4) == pytest.approx(0.4, abs=1e-7)


@settings(deadline=None)
@given(POSITIVE, POSITIVE, REFLECTANCE)
def test_no_paint_is_the_ground(K: float, S: float, ground: float) -> None:
    none = film(np.array([K]), np.array([S]), np.array(0.0), np.array(0.5))
    assert seen(lay(none, bare(np.array([ground]))))[0] == pytest.approx(ground, abs=1e-12)


@settings(deadline=None)
@given(POSITIVE, POSITIVE, st.floats(0, 2), st.floats(0, 2), REFLECTANCE)
def test_film_over_film_is_one_thicker_film(K: float, S: float, x: float, y: float, ground: float) -> None:
    """Reflectance and surface alike."""
    K_, S_, k2 = np.array([K]), np.array([S]), np.array(0.4)
    two = lay(film(K_, S_, np.array(y), k2), lay(film(K_, S_, np.array(x), k2), bare(np.array([ground]))))
    one = lay(film(K_, S_, np.array(x + y), k2), bare(np.array([ground])))
    np.testing.assert_allclose(seen(two), seen(one), atol=1e-9)
    assert two.cover == pytest.approx(float(one.cover), abs=1e-12)


def test_thickness() -> None:
    assert float(thickness(0.5, 2, 1.0, 1.0)) == pytest.approx(float(thickness(1.0, 1, 1.0, 1.0)))
    assert float(thickness(0.25, 3, 1.1, 0.9)) == pytest.approx(0.25**1.1 * (1 + 0.9 + 0.81))
    assert float(thickness(0.25, 0, 1.1, 0.9)) == 0
    assert thickness(np.array([0.1, 0.5]), np.array([[1], [2], [3]]), 1.0, 0.9).shape == (3, 2)


def test_surface_forms_with_the_film() -> None:
    one = film(np.ones(1), np.ones(1), np.array([0.0, SURFACE_FILM, 50.0]), np.array(0.5))
    np.testing.assert_allclose(one.cover, [0, 1 - np.exp(-1), 1])
    np.testing.assert_allclose(one.inner, 0.5 * one.cover)


def test_saunderson_table() -> None:
    """k1 0.04, k2 0.6, gloss included (Saunderson 1942); the inverse brings back the inside."""
    inside = np.array([0.1, 0.5, 0.9])
    outside = saunderson(inside, 0.04, 0.6)
    np.testing.assert_allclose(0.04 + outside, [0.080851, 0.314286, 0.791304], atol=1e-6)
    np.testing.assert_allclose(inside_of(outside, 0.04, 0.6), inside, atol=1e-12)


def test_fresnel_numbers_behind_the_constants() -> None:
    """n = 1.5 by Fresnel's equations: normal 0.0400, diffuse from outside 0.0918, from inside 0.5963."""

    def reflected(cosine: float, n: float) -> float:
        sine2 = (1 - cosine**2) / n**2
        if sine2 >= 1:
            return 1.0
        other = np.sqrt(1 - sine2)
        s = (cosine - n * other) / (cosine + n * other)
        p = (n * cosine - other) / (n * cosine + other)
        return float((s * s + p * p) / 2)

    def diffuse(n: float) -> float:
        return float(quad(lambda c: 2 * c * reflected(c, n), 0, 1, limit=200)[0])

    assert reflected(1.0, 1.5) == pytest.approx(0.04, abs=1e-12)
    assert diffuse(1.5) == pytest.approx(0.0918, abs=1e-4)
    assert diffuse(1 / 1.5) == pytest.approx(0.5963, abs=1e-4)


@settings(deadline=None)
@given(st.lists(st.floats(-1.5, 1.5), min_size=13, max_size=13), st.floats(0.1, 9))
def test_mixing_a_paint_with_itself_changes_nothing(theta: list[float], parts: float) -> None:
    paint = optics_of(np.array(theta))
    for mixed, alone in zip(mix([paint, paint], [1.0, parts]), paint, strict=True):
        np.testing.assert_allclose(mixed, alone, rtol=1e-12)


def test_mix_adds_by_volume() -> None:
    one, other = (Optics(np.full(41, v), np.full(41, 2 * v), *(np.array(v / 10),) * 3) for v in (1.0, 5.0))
    mixed = mix([one, other], [3, 1])
    np.testing.assert_allclose(mixed.K, 2.0)
    np.testing.assert_allclose(mixed.S, 4.0)
    assert float(mixed.k2) == pytest.approx(0.2)


def test_knots_are_joined_by_the_natural_cubic_spline_of_scipy() -> None:
    basis = CubicSpline(KNOTS, np.eye(KNOTS.size), bc_type="natural")(np.clip(WAVELENGTHS, 400, 700))
    np.testing.assert_allclose(knot_basis(), basis, atol=1e-14)


def test_a_white_that_absorbs_nothing_gives_back_all_that_enters_its_surface() -> None:
    """Conservation of energy. What does not is half of what Fresnel has for n = 1.5, ((n - 1) / (n + 1))²."""
    white = film(np.zeros(41), np.full(41, 5.0), np.array(1e5), np.array(0.55))
    entered = 1 - ((1.5 - 1) / (1.5 + 1)) ** 2 / 2
    np.testing.assert_allclose(seen(lay(white, bare(np.zeros(41)))), entered, atol=1e-3)


def test_a_clear_coat_reflects_from_outside_what_fresnel_says_of_n_1_5() -> None:
    black = Body(np.zeros(41), np.array(1.0), np.array(0.4))
    white = Body(np.ones(41), np.array(1.0), np.array(0.4))
    lost = 1 - seal(np.array([0.0, 0.0]), white)
    np.testing.assert_allclose(lost, ((1.5 - 1) / (1.5 + 1)) ** 2, atol=1e-12)
    np.testing.assert_allclose(seal(np.array([0.5, 0.1]), black), 0, atol=1e-12)
