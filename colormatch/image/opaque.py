"""Composite transparent pictures on white, as browsers do, in place."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from colormatch.errors import PhotoUnreadable
from colormatch.image.pixels import PixelArray
from colormatch.records import Flag, FlagCode

#: Rows processed at once: a few megabytes, so that no step doubles the memory.
_BAND = 256


def opaque_picture(picture: Image.Image) -> tuple[Image.Image, tuple[Flag, ...]]:
    """Load a picture as RGB, gray or Y'CbCr; composite transparent pixels on white, and flag them."""
    picture.load()
    if not picture.has_transparency_data:
        return (picture if picture.mode in ("L", "RGB", "YCbCr") else picture.convert("RGB")), ()
    if picture.mode != "RGBA":
        picture = picture.convert("RGBA")
    alpha = picture.getchannel("A")
    levels = alpha.histogram()
    if levels[255] == sum(levels):
        return picture.convert("RGB"), ()
    on_white = Image.new("RGB", picture.size, "white")
    on_white.paste(picture, mask=alpha)
    return on_white, (_see_through(1 - levels[255] / sum(levels)),)


def opaque_array(values: PixelArray) -> tuple[PixelArray, tuple[Flag, ...]]:
    """Composite an array of 8 or 16 bits with one to four channels; see :func:`opaque_picture`."""
    if values.dtype not in (np.uint8, np.uint16):
        raise PhotoUnreadable("The picture has 32 bits for each color.", "Save it as a 16-bit TIFF.")
    if values.ndim == 2 or values.shape[2] == 3:
        return values, ()
    height, width, channels = values.shape
    values = np.require(values, requirements=("C", "W"))
    full, packed, opaque, at = np.iinfo(values.dtype).max, values.reshape(-1), 0, 0
    for band in bands(values):
        alpha = band[..., -1].astype(np.uint32)  # just wide enough for the product of two 16-bit numbers
        opaque += int(np.count_nonzero(alpha == full))
        color = np.stack([_on_white(band[..., channel], alpha, full) for channel in range(channels - 1)], axis=-1)
        # Written behind the read position, so the result needs no memory of its own.
        packed[at : at + color.size] = color.reshape(-1)
        at += color.size
    shape = (height, width, channels - 1) if channels > 2 else (height, width)
    flags = () if opaque == height * width else (_see_through(1 - opaque / (height * width)),)
    return packed[:at].reshape(shape), flags


def _on_white(values: PixelArray, alpha: NDArray[np.uint32], full: int) -> PixelArray:
    """(h, w); one channel composited on white."""
    darkness = np.subtract(full, values, dtype=np.uint32)
    darkness *= alpha
    darkness //= np.uint32(full)
    return np.subtract(full, darkness, dtype=np.uint32).astype(values.dtype)


def bands(values: PixelArray) -> Iterator[PixelArray]:
    """Views of a picture, a band of rows each."""
    for row in range(0, values.shape[0], _BAND):
        yield values[row : row + _BAND]


def _see_through(share: float) -> Flag:
    text = (
        f"{max(1, round(100 * share))} % of the picture is transparent and shown on white; don't mark a region there."
    )
    return Flag(FlagCode.SEE_THROUGH, text, share)
