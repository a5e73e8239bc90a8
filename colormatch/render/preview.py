"""The repair pictured in the photo: what the wash would do to every pixel of the damage, grain showing through."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from functools import cache

import numpy as np

from colormatch.color.space import encoded_from_linear, lab_from_linear, linear_from_lab
from colormatch.records import BoolArray, ByteArray, FloatArray, Lab

#: Brightness of the damage's pixels over their mean for which the wash is worked out; others lie in between.
_STOPS = np.array([0.25, 0.5, 0.75, 1.0, 1.35, 1.8, 2.5])
#: Width of the soft edge of the pictured repair, as a share of the picture's longest side.
_FEATHER = 0.003
#: Standard deviations that OpenCV's Gaussian kernel reaches to each side, for pictures of floats.
_KERNEL = 4
#: Steps of linear light in the table for the screen: in the dark, where the curve is steepest, 20 to one level of 255.
_STEPS = 65535
#: Values handled at a time, so that the steps between stay inside a core's cache.
_CHUNK = 65536


def picture_repair(
    linear_rgb: FloatArray, damage: BoolArray, ground: Lab, dried: Callable[[FloatArray], FloatArray]
) -> FloatArray:
    """Lay a wash over the damage in a picture.

    Parameters
    ----------
    linear_rgb : (h, w, 3) float; white-balanced linear sRGB
    damage : (h, w) bool
        The pixels that are painted.
    ground : Lab
        Mean color of the damage.
    dried : callable
        (n, 3) CIELAB of grounds to (n, 3) CIELAB of the dried wash over them.

    Returns
    -------
    (h, w, 3) float; linear sRGB

    Notes
    -----
    The wash is computed over the mean ground made darker and lighter, and interpolated for each pixel by its own
    brightness. So grain lines stay visible as far as the wash lets them through, while the wash's own color stays that
    of the prediction.
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
    # Nothing changes outside the damage; what the soft edge reaches over lies within the blur's kernel around it.
    near = _around(damage, math.ceil(_KERNEL * sigma) + 1)
    inside = damage[near]
    soft = cv2.GaussianBlur(inside.astype(np.float32), (0, 0), sigma)[inside]
    # Outside the marked shape there is nothing painted to blend toward: the edge softens inward only.
    soft = np.clip(2 * soft - 1, 0, 1)
    unpainted = pictured[near][inside]
    brightness = unpainted.mean(axis=-1) / base.mean()
    for channel in range(3):
        gain = np.interp(brightness, _STOPS, gains[:, channel]).astype(np.float32)
        unpainted[:, channel] *= 1 + soft * (gain - 1)
    pictured[near][inside] = unpainted
    return pictured


def _around(chosen: BoolArray, margin: int) -> tuple[slice, slice]:
    """Rows and columns that hold every True and as many pixels more on each side as there are."""
    first_row, last_row = np.flatnonzero(chosen.any(axis=1))[[0, -1]]
    first_column, last_column = np.flatnonzero(chosen.any(axis=0))[[0, -1]]
    return (
        slice(max(0, first_row - margin), last_row + margin + 1),
        slice(max(0, first_column - margin), last_column + margin + 1),
    )


@cache
def _screen_levels() -> ByteArray:
    """The level that a screen shows for each of `_STEPS` + 1 even steps of linear light from 0 to 1."""
    levels = np.round(encoded_from_linear(np.linspace(0, 1, _STEPS + 1)) * 255)
    return levels.astype(np.uint8)


def to_screen(linear_rgb: FloatArray) -> ByteArray:
    """(..., 3) uint8; encoded sRGB, clipped to what a screen can show.

    By a table, which rounds a value that lies on the border of two levels to either.
    """
    levels, screen = _screen_levels(), np.empty(linear_rgb.shape, np.uint8)
    flat, out = linear_rgb.reshape(-1), screen.reshape(-1)
    for start in range(0, flat.size, _CHUNK):
        steps = np.clip(flat[start : start + _CHUNK] * _STEPS + 0.5, 0, _STEPS).astype(np.uint16)
        np.take(levels, steps, out=out[start : start + _CHUNK], mode="clip")
    return screen


def jpeg(encoded_rgb: ByteArray, quality: int = 88) -> bytes:
    """A (h, w, 3) uint8 picture in encoded sRGB as a JPEG file."""
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(encoded_rgb).save(stream, "JPEG", quality=quality)
    return stream.getvalue()


def side_by_side(before: ByteArray, after: ByteArray, gap: int = 12) -> ByteArray:
    """Two pictures of one size on neutral middle gray, without a frame around them."""
    spacer = np.full((before.shape[0], gap, 3), 119, dtype=np.uint8)  # L* 50
    return np.concatenate([before, spacer, after], axis=1)
