"""The second truth's physics against closed forms and common sense."""

import numpy as np
import pytest

from tests.scenes.paints import WHITE_CARD, Wash
from tests.scenes.spectra import flat, reflectance_to_lab
from tests.scenes.transport import _FLUX, Paint, dried, invented_paint, slab, washed_board
from tests.scenes.woods import DARK_WOOD, LIGHT_WOOD


def _paint(absorption: float, scattering: float, islands: float = 0.1) -> Paint:
    return Paint("one", flat(absorption), flat(scattering), 0.9, 0.95, islands, 1.0, 0.3)


def test_without_absorption_no_light_is_lost():
    back, through = slab(flat(0.0), flat(2.0), 1.5)
    np.testing.assert_allclose(np.einsum("i,kij->kj", _FLUX, back + through), np.tile(_FLUX, (81, 1)), atol=2e-3)


def test_without_scattering_each_direction_decays_by_itself():
    # Beer and Lambert: exp(-depth / cosine).
    _, through = slab(flat(0.7), flat(1e-9), 1.0)
    cosines = np.array([0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)])
    np.testing.assert_allclose(through[0].diagonal(), np.exp(-0.7 / cosines), rtol=2e-3)


def test_a_deep_film_reflects_as_isotropic_scattering_does():
    # Spherical albedo of a half-space, H. C. van de Hulst 1974, with s = sqrt(1 - albedo); from memory:
    # (1 - s) (1 - 0.139 s) / (1 + 1.17 s).
    s = np.sqrt(0.1)
    expected = (1 - s) * (1 - 0.139 * s) / (1 + 1.17 * s)
    back, _ = slab(flat(0.1), flat(0.9), 60.0)
    assert float(_FLUX @ back[0].sum(axis=-1)) == pytest.approx(expected, abs=0.005)


def test_washes_run_from_bare_wood_to_the_paint():
    paint = invented_paint("one", np.random.default_rng(1))
    np.testing.assert_allclose(washed_board(LIGHT_WOOD, [Wash(paint, 1e-6, 1)]), washed_board(LIGHT_WOOD), atol=2e-3)
    thick = [washed_board(wood, [Wash(paint, 1.0, 1, thickness=200)]) for wood in (LIGHT_WOOD, DARK_WOOD)]
    np.testing.assert_allclose(*thick, atol=1e-4)


def test_a_closed_surface_darkens():
    """A clear film over gray looks darker: the light that total reflection keeps inside meets the ground again."""
    film = [Wash(_paint(1e-6, 1e-6), 1.0, 1)]
    before, after = (reflectance_to_lab(dried(flat(0.4), some))[0] for some in ([], film))
    assert 5 < before - after < 15


def test_coats_and_strength_darken_a_white_card():
    paint = _paint(1.0, 0.5)
    by_strength = [reflectance_to_lab(dried(WHITE_CARD, [Wash(paint, d, 1)]))[0] for d in (0.1, 0.3, 1.0)]
    by_coats = [reflectance_to_lab(dried(WHITE_CARD, [Wash(paint, 0.2, n)]))[0] for n in (1, 2, 3)]
    assert np.all(np.diff(by_strength) < 0)
    assert np.all(np.diff(by_coats) < 0)
