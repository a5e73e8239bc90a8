"""Store a photo's pixels in the decoder's own memory, in 8 or 16 bits, and turn them upright on access.

An 8-bit photo stays a Pillow picture, 4 bytes per pixel; copying all of it to an array would more than double the peak
memory, so crops are copied on request. A JPEG stays in Y'CbCr, and becomes 16-bit RGB where its color counts: the
decoder's rounding to 8-bit RGB would be off by 0.1 ΔE00.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from colormatch.records import Box, FloatArray

#: uint8 or uint16
PixelArray = NDArray[np.unsignedinteger[Any]]

T = TypeVar("T", bound="np.number[Any]")

#: Pillow first shrinks by a whole number, down to this multiple of the requested size: six times as fast as averaging
#: at once, with the same mean.
_REDUCING_GAP = 1.0

#: R, G, B of Y, Cb, Cr with chroma around 0 (ITU-T T.871, 7; the constants of BT.601: Kr 0.299, Kb 0.114).
_YCBCR_TO_RGB = np.array([[1, 0, 1.402], [1, -0.114 * 1.772 / 0.587, -0.299 * 1.402 / 0.587], [1, 1.772, 0]])


@dataclass(frozen=True, eq=False)
class Pixels:
    """RGB, gray or Y'CbCr pixels as stored in the file, presented upright and as RGB."""

    #: A loaded picture of mode "RGB", "L" or "YCbCr", or an array (h, w, 3) or (h, w) of uint8 or uint16.
    stored: Image.Image | PixelArray
    #: EXIF orientation that turns them upright, 1 to 8.
    orientation: int = 1

    def __post_init__(self) -> None:
        if not isinstance(self.stored, Image.Image):
            self.stored.setflags(write=False)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the upright photo."""
        width, height = self._stored_size
        return (height, width) if _turn(self.orientation).transposed else (width, height)

    @property
    def _stored_size(self) -> tuple[int, int]:
        if isinstance(self.stored, Image.Image):
            return self.stored.size
        height, width = self.stored.shape[:2]
        return width, height

    def crop(self, box: Box | None = None, every: int = 1) -> PixelArray:
        """(h, w, 3) uint8 or uint16; all or a box of the upright photo, strided by `every`. Read-only."""
        x, y, w, h = self._box_in_file(box or Box(0, 0, *self.size))
        if not isinstance(self.stored, Image.Image):
            return self._upright(self.stored[y : y + h, x : x + w])[::every, ::every]
        values = self._upright(np.asarray(self._picked(self.stored, x, y, w, h, every)))
        return _rgb(values, np.uint16) if self.stored.mode == "YCbCr" else values

    def _first(self, x: int, y: int, w: int, h: int, every: int) -> tuple[int, int]:
        """File coordinates of the first sample when the upright photo is strided by `every`."""
        turn = _turn(self.orientation)
        from_right, from_bottom = turn.mirrored_x, turn.mirrored_y
        if turn.transposed:
            from_right, from_bottom = from_bottom, from_right
        return x + from_right * ((w - 1) % every), y + from_bottom * ((h - 1) % every)

    def _picked(self, stored: Image.Image, x: int, y: int, w: int, h: int, every: int) -> Image.Image:
        """A box of the file, strided by `every`."""
        if every == 1:
            return stored.crop(_corners(Box(x, y, w, h)))
        left, top = self._first(x, y, w, h, every)
        # Pillow maps the center of each pixel and takes the pixel it falls in, without intermediate copies.
        steps = (every, 0, left + (1 - every) / 2, 0, every, top + (1 - every) / 2)
        return stored.transform((-(-w // every), -(-h // every)), Image.Transform.AFFINE, steps)

    def shrunk(self, longest_side: int, *, averaged: bool = True) -> PixelArray:
        """(h, w, 3) uint8 or uint16; the upright photo, averaged down or (faster) subsampled; never enlarged.

        Y'CbCr is returned in 8 bits, which is faster and enough for viewing.
        """
        width, height = self._stored_size
        scale = min(1.0, longest_side / max(width, height))
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        if isinstance(self.stored, Image.Image):
            way = Image.Resampling.HAMMING if averaged else Image.Resampling.NEAREST
            picture = self.stored.resize(size, way, reducing_gap=_REDUCING_GAP if averaged else None)
            values = self._upright(np.asarray(picture))
            return _rgb(values, np.uint8) if self.stored.mode == "YCbCr" else values
        if scale == 1:
            return self.crop()
        import cv2

        by = cv2.INTER_AREA if averaged else cv2.INTER_NEAREST
        return self._upright(cv2.resize(self.stored, size, interpolation=by))

    def _box_in_file(self, box: Box) -> Box:
        turn, (width, height) = _turn(self.orientation), self.size
        x = width - box.x - box.w if turn.mirrored_x else box.x
        y = height - box.y - box.h if turn.mirrored_y else box.y
        return Box(y, x, box.h, box.w) if turn.transposed else Box(x, y, box.w, box.h)

    def _upright(self, values: NDArray[T]) -> NDArray[T]:
        """View of stored values: upright, with three channels."""
        turn = _turn(self.orientation)
        if values.ndim == 2:
            values = np.broadcast_to(values[..., None], (*values.shape, 3))
        if turn.transposed:
            values = values.transpose(1, 0, 2)
        turned: NDArray[T] = values[:: -1 if turn.mirrored_y else 1, :: -1 if turn.mirrored_x else 1]
        return turned


def _corners(box: Box) -> tuple[int, int, int, int]:
    """The box in Pillow's form: left, top, right, bottom."""
    return box.x, box.y, box.x + box.w, box.y + box.h


def _rgb(ycbcr: NDArray[np.number[Any]], kind: type[np.uint8 | np.uint16]) -> PixelArray:
    """RGB codes of Y'CbCr, clipped to their range as decoders do."""
    import cv2

    to_rgb = np.column_stack([_YCBCR_TO_RGB, _YCBCR_TO_RGB @ (0, -128, -128)])
    ycbcr = np.ascontiguousarray(ycbcr)
    if kind is np.uint8:
        rgb: PixelArray = cv2.transform(ycbcr, to_rgb)
    else:
        rgb = _sixteen_bit(cv2.transform(ycbcr.astype(np.float32), to_rgb))
    rgb.setflags(write=False)
    return rgb


def _sixteen_bit(codes: FloatArray) -> PixelArray:
    """16-bit codes of fractional 8-bit codes, clipped to the range."""
    scaled = codes * np.float32(65535 / 255)
    return np.clip(scaled, 0, 65535, out=scaled).round(out=scaled).astype(np.uint16)


class _Turn(NamedTuple):
    """Turn from stored to upright: first swap rows and columns, then mirror each axis of the result."""

    transposed: bool
    mirrored_x: bool
    mirrored_y: bool


def _turn(orientation: int) -> _Turn:
    """Turn for an EXIF orientation (EXIF 3.0, tag 0x0112)."""
    return _Turn(orientation >= 5, orientation in (2, 3, 6, 7), orientation in (3, 4, 7, 8))
