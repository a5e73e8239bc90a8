"""Invented woods: smooth reflectances of a wood-like family, and grain."""

from dataclasses import dataclass

import cv2
import numpy as np

from tests.scenes.spectra import WAVELENGTHS, FloatArray, bump
from tests.scenes.surface import Surface, smooth_noise


def wood_reflectance(
    depth: FloatArray | float, decay: FloatArray | float = 120.0, redness: FloatArray | float = 0.1
) -> FloatArray:
    """(..., 81) reflectance of an opaque wood.

    Absorption over scattering falls exponentially from violet to red, as lignin's does, with a bump for reddish
    extractives; the Kubelka-Munk limit turns it into reflectance. Invented: no species is meant.

    Parameters
    ----------
    depth : absorption over scattering at 400 nm; 0.9 is pale, 8 is dark
    decay : nm over which it falls by e; 85 to 165 covers the family
    redness : height of the bump at 500 nm relative to depth ** 0.8; 0 to 0.25
    """
    depth, decay, redness = (np.asarray(value, float)[..., None] for value in (depth, decay, redness))
    ratio = depth * np.exp(-(WAVELENGTHS - 400) / decay) + redness * depth**0.8 * bump(500, 60) + 0.02
    return 1 + ratio - np.sqrt(ratio * ratio + 2 * ratio)


@dataclass(frozen=True, eq=False)
class Wood:
    """Three tones of one wood."""

    #: (81,) the light wood between the lines.
    field: FloatArray
    #: (81,) the grain lines.
    line: FloatArray
    #: (81,) the pores, darker than both.
    pore: FloatArray

    @property
    def tones(self) -> FloatArray:
        return np.stack([self.field, self.line, self.pore])


def wood(depth: float, decay: float = 120.0, redness: float = 0.1, contrast: float = 1.8) -> Wood:
    """A wood whose grain lines absorb `contrast` times as much as its field, and its pores twice that."""
    tones = wood_reflectance(depth * np.array([1.0, contrast, 2 * contrast]), decay, redness)
    return Wood(*tones)


#: Woods of the starter library, the demo and the tests.
LIGHT_WOOD = wood(1.3, 105, 0.05, 1.5)
MIDDLE_WOOD = wood(2.6, 120, 0.12, 1.8)
DARK_WOOD = wood(6.0, 135, 0.15, 1.6)


def any_wood(rng: np.random.Generator) -> Wood:
    """A wood drawn from the whole family."""
    return wood(
        float(np.exp(rng.uniform(np.log(0.9), np.log(8)))),
        rng.uniform(85, 165),
        rng.uniform(0, 0.25),
        rng.uniform(1.2, 2.4),
    )


def _ring_profile(length: float, period: float, rng: np.random.Generator) -> tuple[FloatArray, float]:
    """Share of latewood over depth: rises slowly through each ring, then drops; and its samples per pixel."""
    per_pixel = 4.0
    widths = period * rng.gamma(6.0, 1 / 6.0, int(length / period * 1.6) + 8)
    position = np.arange(int(length * per_pixel)) / per_pixel
    starts = np.concatenate([[0.0], np.cumsum(widths)])
    ring = np.searchsorted(starts, position, side="right") - 1
    phase = (position - starts[ring]) / widths[ring]
    strength = rng.uniform(0.45, 1.0, widths.size)[ring]
    profile = (strength * phase**2.5).astype(np.float32)[None]
    return cv2.GaussianBlur(profile, (0, 0), max(0.03 * period, 0.5) * per_pixel)[0], per_pixel


def grain(
    shape: tuple[int, int],
    rng: np.random.Generator,
    *,
    period: float = 28.0,
    angle: float = 0.0,
    waviness: float = 1.0,
    cathedral: float = 0.0,
    pores: float = 0.5,
    slow: float = 0.03,
) -> FloatArray:
    """(h, w, 3) shares of field, grain lines and pores.

    Parameters
    ----------
    period : mean distance of the grain lines, pixels
    angle : direction of the grain, degrees from the x axis towards y
    waviness : how far the lines wander sideways, in periods
    cathedral : 0 for straight streaks; else the width in pixels of the arches of a plain-sawn board
    pores : density of the short dark dashes, 0 to 1
    slow : standard deviation of the slow change of brightness over the board
    """
    h, w = shape
    c, s = np.float32(np.cos(np.radians(angle))), np.float32(np.sin(np.radians(angle)))
    y, x = np.mgrid[:h, :w].astype(np.float32)
    x, y = x - w / 2, y - h / 2
    along, across = x * c + y * s, y * c - x * s
    extent = float(np.hypot(h, w))

    wander = 0.8 * smooth_noise(shape, (extent / 4, extent / 4), rng) + 0.12 * smooth_noise(shape, (150, 150), rng)
    depth = across + waviness * period * wander
    if cathedral:
        # A plane cuts the cone of a growth ring: nested arches that run along the board.
        depth = np.hypot(depth - 0.1 * cathedral, 0.55 * cathedral + 0.22 * (along + 0.3 * extent))
    depth -= depth.min()
    profile, per_pixel = _ring_profile(float(depth.max()) + 2, period, rng)
    line = profile[(depth * per_pixel).astype(np.int32)]

    def fibres(length: float, thickness: float) -> FloatArray:
        """Noise drawn out along the grain."""
        noise = rng.standard_normal((2048, 256), dtype=np.float32)
        return cv2.remap(noise, along / length + 128, depth / thickness, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)

    line = np.clip(line * (1 + 0.35 * fibres(90, 2.0)) + 0.13 * fibres(70, 1.7) + 0.05 * fibres(200, 6.0), 0, 1)
    pore = np.clip((fibres(16, 1.5) - (2.3 - 1.5 * pores)) * 1.2, 0, 0.8) if pores else np.zeros(shape, np.float32)
    brightness = 1 + slow * smooth_noise(shape, (extent / 3, extent / 3), rng) + 0.035 * fibres(120, 1.6)
    brightness = np.clip(brightness, 0.6, 1.25)
    return np.stack([(1 - line) * (1 - pore), line * (1 - pore), pore], -1) * brightness[..., None]


def board(tones: Wood, shape: tuple[int, int], rng: np.random.Generator, **figure: float) -> Surface:
    """A board of a wood; `figure` goes to `grain`."""
    return Surface(grain(shape, rng, **figure).astype(np.float32), tones.tones)
