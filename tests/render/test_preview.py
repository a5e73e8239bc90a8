"""The pictured repair against the same worked out over the whole picture with SciPy, and the screen's levels."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from colormatch.color.space import encoded_from_linear, lab_from_linear, linear_from_lab
from colormatch.records import Lab
from colormatch.render import preview

GROUND = Lab(74, 6, 19)


def dried(lab):
    """A wash that darkens, and warms."""
    return lab * np.array([0.7, 1.1, 1.2])


@pytest.fixture
def linear_rgb():
    """Grain-like brightness on the ground's color, of 600 by 800 pixels."""
    grain = np.random.default_rng(0).uniform(0.3, 1.6, (600, 800, 1))
    return (linear_from_lab(np.array(GROUND)) * grain).astype(np.float32)


def spot(*boxes):
    damage = np.zeros((600, 800), dtype=bool)
    for rows, columns in boxes:
        damage[rows, columns] = True
    return damage


@pytest.mark.parametrize(
    "damage",
    [
        spot((slice(300, 390), slice(200, 320))),
        spot((slice(0, 80), slice(700, 800))),
        spot((slice(10, 40), slice(5, 90)), (slice(580, 600), slice(600, 760))),
        np.ones((600, 800), dtype=bool),
    ],
    ids=["inside", "in the corner", "two", "everywhere"],
)
def test_only_the_surroundings_of_the_damage_are_worked_on(linear_rgb, damage):
    base = linear_from_lab(np.array(GROUND))
    grounds = np.clip(preview._STOPS[:, None] * base, 1e-4, 1)
    gains = linear_from_lab(dried(lab_from_linear(grounds))) / grounds
    bright = linear_rgb.astype(float).mean(axis=-1) / base.mean()
    painted = linear_rgb * np.stack([np.interp(bright, preview._STOPS, gains[:, c]) for c in range(3)], axis=-1)
    sigma = preview._FEATHER * 800
    soft = gaussian_filter(damage.astype(float), sigma, mode="mirror", truncate=4)
    soft = (np.clip(2 * soft - 1, 0, 1) * damage)[..., None]
    expected = linear_rgb + soft * (painted - linear_rgb)

    before = linear_rgb.copy()
    pictured = preview.picture_repair(linear_rgb, damage, GROUND, dried)
    # SciPy cuts the kernel a pixel off OpenCV's, four standard deviations out: 6e-5 of the weight.
    assert pictured == pytest.approx(expected, abs=1e-4)
    assert np.array_equal(pictured[~damage], linear_rgb[~damage])
    assert np.array_equal(linear_rgb, before)


def test_nothing_marked_is_the_picture_itself(linear_rgb):
    assert np.array_equal(preview.picture_repair(linear_rgb, spot(), GROUND, dried), linear_rgb)


@pytest.mark.parametrize("precision", [np.float32, np.float64])
def test_the_screen_shows_the_nearest_level(precision):
    linear_rgb = np.random.default_rng(1).uniform(-0.1, 1.1, (300, 400, 3)).astype(precision)
    nearest = np.round(encoded_from_linear(np.clip(linear_rgb, 0, 1)) * 255).astype(int)
    off = np.abs(preview.to_screen(linear_rgb) - nearest)
    assert off.max() <= 1
    assert np.mean(off > 0) < 0.005  # on the border of two levels


def test_every_level_of_the_screen_is_kept():
    levels = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    encoded = levels / 255
    linear_rgb = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)  # IEC 61966-2-1
    assert np.array_equal(preview.to_screen(linear_rgb), levels)
