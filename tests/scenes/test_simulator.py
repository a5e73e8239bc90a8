"""The simulator against published values, closed forms and itself."""

import numpy as np
import pytest

from tests.scenes import spectra
from tests.scenes.camera import CAMERAS, Camera, Lighting
from tests.scenes.cards import card_scene
from tests.scenes.scene import Scene, Shadow, Thing, project, rectangle, tilt
from tests.scenes.surface import plain
from tests.scenes.things import gray_card
from tests.scenes.woods import MIDDLE_WOOD, board, wood_reflectance


def covering(surface, width=200, height=150):
    """A scene that one surface fills."""
    return Scene(width, height, (Thing("it", "wood", surface, rectangle((width / 2, height / 2), (width, height))),))


def test_gray_of_18_percent_has_the_lightness_of_cie_15():
    # L* of Y = 0.18 by the formula of CIE 15 / ISO/CIE 11664-4: 116 * 0.18 ** (1/3) - 16 = 49.4961.
    np.testing.assert_allclose(spectra.reflectance_to_lab(spectra.flat(0.18)), [49.4961, 0, 0], atol=1e-4)


def test_white_of_our_grid_is_d65():
    # xy of D65, 2 degrees: 0.3127, 0.3290 (CIE 15:2018, table T.3; also IEC 61966-2-1).
    white = spectra.observer().sum(0)
    np.testing.assert_allclose(white[:2] / white.sum(), [0.3127, 0.3290], atol=1e-4)


def test_warm_lamp_looks_warm():
    # xy of illuminant A: 0.44757, 0.40745 (CIE 15:2018, table T.3).
    xyz = spectra.light("A") @ (spectra.observer() / spectra.light("D65")[:, None])
    np.testing.assert_allclose(xyz[:2] / xyz.sum(), [0.44757, 0.40745], atol=3e-4)


@pytest.mark.parametrize("light", spectra.LIGHTS)
@pytest.mark.parametrize("camera", CAMERAS)
def test_gray_stays_gray_when_the_white_balance_is_right(light, camera):
    photograph = covering(gray_card()).photograph(
        Lighting(light), Camera(camera, noise=0, bits=16), np.random.default_rng(0)
    )
    middle = photograph.encoded_rgb[40:100, 40:100].reshape(-1, 3).astype(float) / 65535
    assert np.ptp(middle.mean(0)) < 2e-4


def test_exposure_without_curve_is_the_srgb_value_of_the_reflectance():
    camera = Camera(white_level=1.0, s_curve=0, noise=0, bits=16)
    photograph = covering(gray_card()).photograph(Lighting("D65"), camera, np.random.default_rng(0))
    # IEC 61966-2-1: 1.055 * 0.18 ** (1 / 2.4) - 0.055.
    assert photograph.encoded_rgb[75, 100, 1] / 65535 == pytest.approx(0.46136, abs=2e-4)


def test_truth_of_a_box_is_the_mean_of_linear_light():
    wood = board(MIDDLE_WOOD, (150, 200), np.random.default_rng(3))
    scene = covering(wood)
    mask = np.zeros(wood.shape)
    mask[30:90, 20:120] = 1
    box = (20, 30, 100, 60)
    np.testing.assert_allclose(scene.mean_reflectance(box), wood.mean_reflectance(mask), atol=1e-5)
    np.testing.assert_allclose(scene.lab(box), wood.lab(mask), atol=1e-3)
    # And by hand: mean of each pixel's own spectrum.
    spectrum = (wood.shares[30:90, 20:120] @ wood.reflectances).mean((0, 1))
    np.testing.assert_allclose(scene.mean_reflectance(box), spectrum, atol=1e-5)


def test_a_tilted_card_lands_where_its_quad_says():
    width, height = 300, 200
    quad = project(tilt(width, height, 15, -10), rectangle((160, 90), (90, 60), 25))
    black = Thing("bench", "bench", plain(spectra.flat(0.0)), rectangle((150, 100), (300, 200)))
    scene = Scene(width, height, (black, Thing("card", "gray card", plain(spectra.flat(1.0)), quad)))
    covered = scene.seen_by(spectra.observer())[..., 1].astype(float)
    # Area and centroid of a polygon by the shoelace formula.
    (x, y), (x1, y1) = quad.T, np.roll(quad, -1, axis=0).T
    cross = x * y1 - x1 * y
    area = cross.sum() / 2
    assert covered.sum() == pytest.approx(area, rel=0.005)
    rows, columns = np.mgrid[:height, :width] + 0.5
    middle = [np.average(columns, weights=covered), np.average(rows, weights=covered)]
    np.testing.assert_allclose(
        middle, [((x + x1) * cross).sum() / (6 * area), ((y + y1) * cross).sum() / (6 * area)], atol=0.05
    )


def test_shadow_falls_beside_the_card_and_not_on_it():
    quad = rectangle((100, 75), (60, 40))
    bench = covering(plain(spectra.flat(0.5))).things[0]
    shading = Scene(200, 150, (bench, Thing("card", "gray card", gray_card(), quad, Shadow()))).shading()
    assert shading[60:90, 75:125].min() > 0.99
    assert shading[98, 100] < 0.85
    assert shading[10, 10] == pytest.approx(1)


def test_wood_of_no_absorption_is_white_and_darkens_with_depth():
    # Kubelka-Munk limit: absorption over scattering of 0.02 gives 1.02 - sqrt(0.0404) = 0.8190.
    assert wood_reflectance(0.0)[40] == pytest.approx(0.8190, abs=1e-4)
    lightness = spectra.reflectance_to_lab(wood_reflectance(np.array([0.9, 2.0, 4.0, 8.0])))[:, 0]
    assert (np.diff(lightness) < -3).all()


def test_same_seed_same_photograph():
    one, two = (card_scene(np.random.default_rng(8)) for _ in range(2))
    np.testing.assert_array_equal(one.photograph.encoded_rgb, two.photograph.encoded_rgb)
