"""Open a photo: upright pixels, the meaning of its numbers, and what the file says of itself."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np

from colormatch.color.space import encoded_from_linear
from colormatch.errors import PhotoTooLarge, PhotoUnreadable
from colormatch.photo.formats import MOST_BYTES, decode
from colormatch.photo.light import Plane, Sensor
from colormatch.photo.pixels import PixelArray, Pixels
from colormatch.photo.profile import SRGB, Profile
from colormatch.records import BoolArray, Box, ByteArray, FloatArray, Photo, Region


@dataclass(frozen=True, eq=False)
class DecodedPhoto:
    """A photo's pixels, kept in 8 or 16 bits; parts of it become floating point when they are asked for.

    All boxes and regions are those of the upright photo.
    """

    #: What is known besides the pixels.
    facts: Photo
    #: Upright, in 8 or 16 bits.
    pixels: Pixels
    #: What the numbers mean.
    profile: Profile
    #: How the light falls, where it was measured: it is divided out of all linear light.
    plane: Plane | None = None
    #: Of a camera raw that says enough of itself.
    sensor: Sensor | None = None

    def evened(self, plane: Plane | None) -> DecodedPhoto:
        """The same photo as in the light of the plane's origin everywhere."""
        return replace(self, plane=plane)

    def encoded(self, box: Box | None = None) -> FloatArray:
        """Values as the file states them, in its own profile's encoding; the place to look for clipping.

        Parameters
        ----------
        box : Box, optional
            Part of the photo; all of it by default.

        Returns
        -------
        (h, w, 3) float32; 0 to 1. Linear light of a camera raw is encoded with the sRGB curve.
        """
        values = self.pixels.crop(box) * np.float32(1 / (self.pixels.levels - 1))
        return encoded_from_linear(values) if self.facts.raw else values

    def linear(self, box: Box | None = None) -> FloatArray:
        """Linear light with sRGB primaries.

        Parameters
        ----------
        box : Box, optional
            Part of the photo; all of it by default.

        Returns
        -------
        (h, w, 3) float32; unitless. Below 0 or above 1 for colors outside sRGB.
        """
        width, height = self.pixels.size
        return self._in_even_light(
            self._linear_of(self.pixels.crop(box)), box or Box(0, 0, width, height), self.pixels.size
        )

    def preview(self, longest_side: int) -> ByteArray:
        """(h, w, 3) uint8; encoded sRGB for the screen, averaged down; never enlarged."""
        small = self.pixels.shrunk(longest_side)
        if self.profile is SRGB and small.dtype == np.uint8 and self.plane is None:
            return np.array(small)
        height, width = small.shape[:2]
        linear = self._in_even_light(self._linear_of(small), Box(0, 0, width, height), (width, height))
        encoded = encoded_from_linear(linear)
        return np.round(np.clip(encoded, 0, 1) * 255).astype(np.uint8)

    def mask(self, region: Region) -> tuple[Box, BoolArray]:
        """Which pixels a region takes in: those whose center lies inside its corners (even-odd rule).

        Returns
        -------
        (Box, (h, w) bool)
            The box around the region, and the pixels of that box.
        """
        return region.mask(self.facts.width, self.facts.height)

    def _in_even_light(self, linear_rgb: FloatArray, box: Box, size: tuple[int, int]) -> FloatArray:
        """The light divided out of a box of the photo as seen at that width and height."""
        return linear_rgb if self.plane is None else linear_rgb / self.plane.over(box, *size)

    @cached_property
    def _tables(self) -> FloatArray:
        return self.profile.tables(self.pixels.levels)

    def _linear_of(self, values: PixelArray) -> FloatArray:
        linear = np.empty(values.shape, np.float32)
        for channel in range(3):
            np.take(self._tables[channel], values[..., channel], out=linear[..., channel])
        if np.array_equal(self.profile.to_srgb, np.eye(3)):
            return linear
        turned: FloatArray = linear @ self.profile.to_srgb.T.astype(np.float32)
        return turned


def open_photo(source: Path | bytes) -> DecodedPhoto:
    """Open a photo of any kind we read.

    Parameters
    ----------
    source : Path or bytes
        The file, or what is in it.

    Returns
    -------
    DecodedPhoto

    Raises
    ------
    PhotoUnreadable
        Missing, empty, no picture, damaged, or of a kind that can't be decoded.
    PhotoTooLarge
        See :data:`colormatch.photo.formats.MOST_PIXELS`.
    """
    data = source if isinstance(source, bytes) else _bytes_of(Path(source))
    if not data:
        raise PhotoUnreadable("The file is empty.", "Copy it from the phone or camera once more.")
    stored = decode(data)
    width, height = stored.pixels.size
    digest = hashlib.sha256(data).hexdigest()
    name = stored.profile.name
    facts = Photo(width, height, stored.format, stored.camera, name, digest, stored.raw, stored.flags)
    return DecodedPhoto(facts, stored.pixels, stored.profile, sensor=stored.sensor)


def _bytes_of(path: Path) -> bytes:
    try:
        if path.is_dir():
            raise PhotoUnreadable(f"{path} is a folder.", "Choose a photo inside it.")
        if not path.exists():
            raise PhotoUnreadable(f"There is no file {path}.", "Check the name, or choose the photo again.")
        if not path.is_file():
            raise PhotoUnreadable(f"{path} is not a file.", "Choose a photo.")
        if path.stat().st_size > MOST_BYTES:
            raise PhotoTooLarge(
                f"{path.name} is larger than {MOST_BYTES // 1_000_000} MB.", "Save the photo as JPEG and choose that."
            )
        return path.read_bytes()
    except PermissionError:
        raise PhotoUnreadable(
            f"{path} may not be read.", "Change its permissions, or copy it somewhere else."
        ) from None
    except OSError as error:
        raise PhotoUnreadable(
            f"{path} can't be read: {error.strerror}.", "Check the disk or card it is on, then try again."
        ) from None
