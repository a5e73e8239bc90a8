"""Picture the repair in the photo: the wash applied to every pixel of the damage, with the grain still visible."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from functools import cache

import numpy as np

from colormatch.color.space import encoded_from_linear, lab_from_linear, linear_from_lab
from colormatch.records import BoolArray, ByteArray, FloatArray, Lab

#: Relative brightness of the damage's pixels for which the wash is computed; others are interpolated.
_STOPS = np.array([0.25, 0.5, 0.75, 1.0, 1.35, 1.8, 2.5])
#: Width of the soft edge of the pictured repair, relative to the picture's longest side.
_FEATHER = 0.003
#: Half width of OpenCV's Gaussian kernel for floating-point pictures, standard deviations.
_KERNEL = 4
#: Steps of linear light in the table for the screen: 20 per level of 255 in the dark, where the curve is steepest.
_STEPS = 65535
#: Values per chunk; intermediate results then fit in a core's cache.
_CHUNK = 65536


def picture_repair(
    linear_rgb: FloatArray, damage: BoolArray, ground: Lab, dried: Callable[[FloatArray], FloatArray]
) -> FloatArray:
    """Lay a wash over the damage in a picture.

    Parameters
    ----------
    linear_rgb : (h, w, 3) float; white-balanced linear sRGB
    damage : (h, w) bool
        Mask of the painted pixels.
    ground : Lab
        Mean color of the damage.
    dried : callable
        (n, 3) CIELAB of grounds to (n, 3) CIELAB of the dried wash over them.

    Returns
    -------
    (h, w, 3) float; linear sRGB

    Notes
    -----
    The wash is computed over darker and lighter versions of the mean ground, and interpolated by each pixel's
    brightness. Grain lines stay visible as far as the wash lets them through, and the mean color is that of the
    prediction.
    """
    import cv2

    pictured = np.array(linear_rgb, dtype=np.result_type(linear_rgb, np.float32))
    if not damage.any():
        return pictured
    base = linear_from_lab(np.asarray(ground, dtype=float))
    grounds = np.clip(_STOPS[:, None] * base, 1e-4, 1.0)
    washed = linear_from_lab(dried(lab_from_linear(grounds)))
    gains = washed / grounds
    sigma = max(0.5, _FEATHER * max(damage.shape))
    # Pixels outside the damage don't change; the soft edge depends only on pixels within the blur's kernel.
    near = _around(damage, math.ceil(_KERNEL * sigma) + 1)
    inside = damage[near]
    soft = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), sigma)[inside]
    # Outside the marked shape there is no paint to blend with, so the edge softens only inward.
    soft = np.clip(2 * soft - 1, 0, 1)
    unpainted = pictured[near][inside]
    brightness = unpainted.mean(axis=-1) / base.mean()
    for channel in range(3):
        gain = np.interp(brightness, _STOPS, gains[:, channel]).astype(np.float32)
        unpainted[:, channel] *= 1 + soft * (gain - 1)
    pictured[near][inside] = unpainted
    return pictured


def _around(chosen: BoolArray, margin: int) -> tuple[slice, slice]:
    """Rows and columns around every True, with a margin, clipped to the picture."""
    first_row, last_row = np.flatnonzero(chosen.any(axis=1))[[0, -1]]
    first_column, last_column = np.flatnonzero(chosen.any(axis=0))[[0, -1]]
    return (
        slice(max(0, first_row - margin), last_row + margin + 1),
        slice(max(0, first_column - margin), last_column + margin + 1),
    )


@cache
def _screen_levels() -> ByteArray:
    """Screen level for each of `_STEPS` + 1 even steps of linear light from 0 to 1."""
    levels = np.round(encoded_from_linear(np.linspace(0, 1, _STEPS + 1)) * 255)
    return levels.astype(np.uint8)


def to_screen(linear_rgb: FloatArray) -> ByteArray:
    """(..., 3) uint8; encoded sRGB, clipped to the screen's gamut.

    A table lookup; a value halfway between two levels may round either way.
    """
    levels, screen = _screen_levels(), np.empty(linear_rgb.shape, np.uint8)
    flat, out = linear_rgb.reshape(-1), screen.reshape(-1)
    for start in range(0, flat.size, _CHUNK):
        steps = np.clip(flat[start : start + _CHUNK] * _STEPS + 0.5, 0, _STEPS).astype(np.uint16)
        np.take(levels, steps, out=out[start : start + _CHUNK], mode="clip")
    return screen


def jpeg(encoded_rgb: ByteArray, quality: int = 88) -> bytes:
    """Encode a (h, w, 3) uint8 sRGB picture as JPEG."""
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(encoded_rgb).save(stream, "JPEG", quality=quality)
    return stream.getvalue()


def side_by_side(before: ByteArray, after: ByteArray, gap: int = 12) -> ByteArray:
    """Two pictures of one size side by side on neutral middle gray, without a frame."""
    spacer = np.full((before.shape[0], gap, 3), 119, dtype=np.uint8)  # L* 50
    return np.concatenate([before, spacer, after], axis=1)
