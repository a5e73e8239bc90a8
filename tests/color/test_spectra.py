"""Spectra and the batched solver, against colour-science, scipy and themselves."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

from colormatch.color.difference import delta_e
from colormatch.color.observer import OBSERVER_D65
from colormatch.color.solver import NormalEquations, least_squares, marquardt
from colormatch.color.space import WHITE_XYZ, lab_from_xyz
from colormatch.color.spectra import (
    WAVELENGTHS,
    XYZ_WEIGHTS,
    lab_from_reflectance,
    lab_slopes,
    reflectance_from_lab,
)
from tests.scenes import spectra as simulator
from tests.scenes.spectra import colour_science


def test_tables_are_those_of_colour_science() -> None:
    """ISO/CIE 11664-1 and -2 as colour-science 0.4 ships them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        colour = colour_science()
        shape = colour.SpectralShape(380, 780, 10)
        observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
        d65 = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    table = np.array(OBSERVER_D65)
    np.testing.assert_array_equal(table[:, 0], shape.range())
    np.testing.assert_allclose(table[:, 1], d65, rtol=1e-9)
    np.testing.assert_allclose(table[:, 2:], observer, rtol=1e-7, atol=1e-9)


def test_perfect_white_is_the_white() -> None:
    np.testing.assert_allclose(np.ones(41) @ XYZ_WEIGHTS, WHITE_XYZ, rtol=1e-12)


def test_ten_nanometers_are_enough() -> None:
    """Real reflectances (the 24-patch chart of colour-science), every 10 nm here, every 5 nm there."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        colour = colour_science()
        patches = colour.SDS_COLOURCHECKERS["BabelColor Average"].values()
        shape = colour.SpectralShape(380, 780, 5)
        fine = np.array([sd.copy().align(shape).values for sd in patches])
    off = delta_e(lab_from_reflectance(fine[:, ::2]), simulator.reflectance_to_lab(fine))
    assert len(off) == 24
    assert off.max() < 0.2
    assert WAVELENGTHS.size == 41


@settings(deadline=None)
@given(st.tuples(st.floats(12, 92), st.floats(-8, 25), st.floats(-5, 30)))
def test_spectrum_has_exactly_the_color(lab: tuple[float, float, float]) -> None:
    # Chroma that smooth surfaces reach at every lightness narrows toward black and white.
    lightness, a, b = lab
    room = min(1.0, (lightness - 4) / 40, (100 - lightness) / 20)
    wanted = np.array([lightness, a * room, b * room])
    reflectance = reflectance_from_lab(wanted)
    assert ((reflectance > 0) & (reflectance < 1)).all()
    np.testing.assert_allclose(lab_from_reflectance(reflectance), wanted, atol=1e-6)


def test_many_colors_are_each_as_if_alone() -> None:
    rng = np.random.default_rng(3)
    lab = np.column_stack([rng.uniform(15, 90, 60), rng.uniform(-5, 20, 60), rng.uniform(0, 30, 60)])
    together = reflectance_from_lab(lab.reshape(6, 10, 3))
    assert together.shape == (6, 10, 41)
    for one, spectrum in zip(lab, together.reshape(-1, 41), strict=True):
        np.testing.assert_allclose(reflectance_from_lab(one), spectrum, atol=1e-9)


@pytest.mark.parametrize("lab", [(0, 0, 0), (100, 0, 0), (0.3, 0, 0), (99.9, 0, 0), (3, 1, 1), (98, 0, 3)])
def test_near_black_and_white(lab: tuple[float, float, float]) -> None:
    reflectance = reflectance_from_lab(lab)
    assert np.isfinite(reflectance).all()
    assert delta_e(lab_from_reflectance(reflectance), lab) < 0.01


@pytest.mark.parametrize("lab", [(50, -128, 128), (100, 128, -128), (0, 50, 50), (20, 60, -100)])
def test_impossible_colors_get_a_spectrum_at_least_as_near_as_gray(lab: tuple[float, float, float]) -> None:
    reflectance = reflectance_from_lab(lab)
    assert ((reflectance >= 0) & (reflectance <= 1)).all()
    gray = np.array([lab[0], 0, 0])
    assert np.linalg.norm(lab_from_reflectance(reflectance) - lab) < np.linalg.norm(gray - lab)


def test_slopes_of_lab_are_its_differences() -> None:
    xyz = np.random.default_rng(1).uniform(0.002, 1, (50, 3))
    xyz[:5] *= 0.005  # on the straight part of the lightness function
    step = 1e-7
    differences = [(lab_from_xyz(xyz + step * e) - lab_from_xyz(xyz - step * e)) / (2 * step) for e in np.eye(3)]
    np.testing.assert_allclose(lab_slopes(xyz), np.stack(differences, axis=-1), rtol=1e-4, atol=1e-3)


def test_solver_agrees_with_scipy() -> None:
    """Decay curves, a classic: a exp(-b t) + c, ten at once against scipy one by one."""
    rng = np.random.default_rng(2)
    t = np.linspace(0, 4, 20)
    true = np.column_stack([rng.uniform(1, 3, 10), rng.uniform(0.5, 2, 10), rng.uniform(0, 1, 10)])
    data = true[:, :1] * np.exp(-true[:, 1:2] * t) + true[:, 2:] + rng.normal(0, 0.05, (10, 20))

    def problem(p: np.ndarray, which: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        decay = np.exp(-p[:, 1:2] * t)
        slopes = np.stack([decay, -p[:, :1] * t * decay, np.ones_like(decay)], axis=-1)
        return p[:, :1] * decay + p[:, 2:] - data[which], slopes

    found, cost = least_squares(problem, np.ones((10, 3)), tolerance=1e-14)
    for i in range(10):
        scipy_fit = optimize.least_squares(lambda p, i=i: p[0] * np.exp(-p[1] * t) + p[2] - data[i], np.ones(3))
        np.testing.assert_allclose(found[i], scipy_fit.x, atol=1e-4)
        assert cost[i] == pytest.approx(scipy_fit.cost, rel=1e-6)


def test_own_parameters_apart_give_what_all_at_once_give() -> None:
    """Lines of one slope, each through an offset of its own: the bordered system against the full one."""
    rng = np.random.default_rng(3)
    x, offsets = rng.uniform(0, 1, (4, 7)), rng.normal(0, 2, (5, 4))
    y = rng.normal(1, 0.3, (5, 1, 1)) * x + offsets[..., None] + rng.normal(0, 0.1, (5, 4, 7))

    def full(p: np.ndarray, which: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        slopes = np.concatenate([x[..., None], np.repeat(np.eye(4), 7, axis=0).reshape(4, 7, 4)], axis=-1)
        residuals = p[:, :1, None] * x + p[:, 1:, None] - y[which]
        return residuals.reshape(len(p), -1), np.broadcast_to(slopes.reshape(-1, 5), (len(p), 28, 5))

    def bordered(p: np.ndarray, which: np.ndarray) -> NormalEquations:
        r = p[:, :1, None] * x + p[:, 1:, None] - y[which]
        gradient = np.concatenate([(r * x).sum(axis=(1, 2))[:, None], r.sum(axis=2)], axis=1)
        shared, border = np.full((len(p), 1, 1), (x**2).sum()), np.tile(x.sum(axis=1)[:, None], (len(p), 1, 1))
        return NormalEquations(0.5 * (r**2).sum(axis=(1, 2)), gradient, shared, border, np.full((len(p), 4), 7.0))

    start = np.zeros((5, 5))
    found, cost = marquardt(bordered, start, tolerance=1e-14)
    expected, least = least_squares(full, start, tolerance=1e-14)
    np.testing.assert_allclose(found, expected, atol=1e-8)
    np.testing.assert_allclose(cost, least)
    for one, many in zip(found, y, strict=True):
        matrix = np.concatenate([x.reshape(-1, 1), np.repeat(np.eye(4), 7, axis=0)], axis=1)
        np.testing.assert_allclose(one, np.linalg.lstsq(matrix, many.ravel(), rcond=None)[0], atol=1e-6)
