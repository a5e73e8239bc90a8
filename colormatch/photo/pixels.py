"""Where a photo's pixels are kept: in the decoder's own memory, in 8 or 16 bits, with their turn still to be done.

An 8-bit photo stays a Pillow picture, 4 bytes for each pixel. Copying it out to an array as a whole would more than
double the peak of the memory; crops are copied when they are asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from colormatch.records import Box

#: uint8 or uint16
PixelArray = NDArray[np.unsignedinteger[Any]]

#: Pillow first shrinks by a whole number, to no less than this many times the size asked for: six times as quick as
#: averaging at once, the mean stays.
_REDUCING_GAP = 1.0


@dataclass(frozen=True, eq=False)
class Pixels:
    """RGB or gray pixels as they lie in the file, seen upright."""

    #: A loaded picture of mode "RGB" or "L", or an array (h, w, 3) or (h, w) of uint8 or uint16.
    stored: Image.Image | PixelArray
    #: EXIF orientation that turns them upright, 1 to 8.
    orientation: int = 1

    def __post_init__(self) -> None:
        if not isinstance(self.stored, Image.Image):
            self.stored.setflags(write=False)

    @property
    def levels(self) -> int:
        """256 or 65536: number of code values."""
        return 256 if isinstance(self.stored, Image.Image) else int(np.iinfo(self.stored.dtype).max) + 1

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
        """(h, w, 3) uint8 or uint16; a part of the upright photo, or all of it, every so many pixels. Read-only."""
        x, y, w, h = self._box_in_file(box or Box(0, 0, *self.size))
        if not isinstance(self.stored, Image.Image):
            return self._upright(self.stored[y : y + h, x : x + w])[::every, ::every]
        return self._upright(np.asarray(self._picked(x, y, w, h, every)))

    def _picked(self, x: int, y: int, w: int, h: int, every: int) -> Image.Image:
        """Every so many pixels of a box in the file, the first of the upright photo among them."""
        assert isinstance(self.stored, Image.Image)
        if every == 1:
            return self.stored.crop((x, y, x + w, y + h))
        turn = _turn(self.orientation)
        from_right, from_bottom = turn.mirrored_x, turn.mirrored_y
        if turn.transposed:
            from_right, from_bottom = from_bottom, from_right
        left = x + from_right * ((w - 1) % every)
        top = y + from_bottom * ((h - 1) % every)
        # Pillow maps the middle of each pixel and takes the one it falls in: nothing between them is copied.
        steps = (every, 0, left + (1 - every) / 2, 0, every, top + (1 - every) / 2)
        return self.stored.transform((-(-w // every), -(-h // every)), Image.Transform.AFFINE, steps)

    def shrunk(self, longest_side: int, *, averaged: bool = True) -> PixelArray:
        """(h, w, 3) uint8 or uint16; the upright photo averaged down or, at no cost, picked down; never enlarged."""
        width, height = self._stored_size
        scale = longest_side / max(width, height)
        if scale >= 1:
            return self.crop()
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        if isinstance(self.stored, Image.Image):
            if averaged:
                picture = self.stored.resize(size, Image.Resampling.HAMMING, reducing_gap=_REDUCING_GAP)
            else:
                picture = self.stored.resize(size, Image.Resampling.NEAREST)
            return self._upright(np.asarray(picture))
        import cv2

        way = cv2.INTER_AREA if averaged else cv2.INTER_NEAREST
        return self._upright(cv2.resize(self.stored, size, interpolation=way))

    def _box_in_file(self, box: Box) -> Box:
        turn, (width, height) = _turn(self.orientation), self.size
        x = width - box.x - box.w if turn.mirrored_x else box.x
        y = height - box.y - box.h if turn.mirrored_y else box.y
        return Box(y, x, box.h, box.w) if turn.transposed else Box(x, y, box.w, box.h)

    def _upright(self, values: PixelArray) -> PixelArray:
        """View of values from the file, turned, in three channels."""
        turn = _turn(self.orientation)
        if values.ndim == 2:
            values = np.broadcast_to(values[..., None], (*values.shape, 3))
        if turn.transposed:
            values = values.transpose(1, 0, 2)
        turned: PixelArray = values[:: -1 if turn.mirrored_y else 1, :: -1 if turn.mirrored_x else 1]
        return turned


class _Turn(NamedTuple):
    """From the file to upright: first rows and columns are swapped, then each axis of the result is mirrored."""

    transposed: bool
    mirrored_x: bool
    mirrored_y: bool


def _turn(orientation: int) -> _Turn:
    """What an EXIF orientation asks for (EXIF 3.0, tag 0x0112)."""
    return _Turn(orientation >= 5, orientation in (2, 3, 6, 7), orientation in (3, 4, 7, 8))
