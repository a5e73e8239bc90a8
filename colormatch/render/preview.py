"""The repair pictured in the photo: what the wash would do to every pixel of the damage, grain showing through."""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np

from colormatch.color.space import encoded_from_linear, lab_from_linear, linear_from_lab
from colormatch.records import BoolArray, ByteArray, FloatArray, Lab

#: Brightness of the damage's pixels over their mean for which the wash is worked out; others lie in between.
_STOPS = np.array([0.25, 0.5, 0.75, 1.0, 1.35, 1.8, 2.5])
#: Width of the soft edge of the pictured repair, as a share of the picture's longest side.
_FEATHER = 0.003


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

    base = linear_from_lab(np.asarray(ground, dtype=float))
    grounds = np.clip(_STOPS[:, None] * base, 1e-4, 1.0)
    washed = linear_from_lab(dried(lab_from_linear(grounds)))
    gains = washed / grounds
    brightness = linear_rgb[damage].mean(axis=-1) / base.mean()
    painted = linear_rgb.astype(np.float32).copy()
    for channel in range(3):
        painted[..., channel][damage] *= np.interp(brightness, _STOPS, gains[:, channel])
    sigma = max(0.5, _FEATHER * max(damage.shape))
    soft = cv2.GaussianBlur(damage.astype(np.float32), (0, 0), sigma)[..., None]
    # Outside the marked shape there is nothing painted to blend toward: the edge softens inward only.
    soft = np.clip(2 * soft - 1, 0, 1) * damage[..., None]
    pictured: FloatArray = linear_rgb + soft * (painted - linear_rgb)
    return pictured


def to_screen(linear_rgb: FloatArray) -> ByteArray:
    """(..., 3) uint8; encoded sRGB, clipped to what a screen can show."""
    screen: ByteArray = np.round(np.clip(encoded_from_linear(np.clip(linear_rgb, 0, 1)), 0, 1) * 255).astype(np.uint8)
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
