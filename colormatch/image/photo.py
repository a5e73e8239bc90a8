"""Open a photo: upright pixels, their encoding, and the file's metadata."""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from colormatch.color.space import encoded_from_linear
from colormatch.errors import BadInput, PhotoUnreadable, check_type
from colormatch.image.file import bytes_of
from colormatch.image.flat_field import FlatField
from colormatch.image.focus import FOCUS_SIDE, blur_flags
from colormatch.image.formats import decode
from colormatch.image.icc import SRGB, Profile
from colormatch.image.pixels import PixelArray, Pixels
from colormatch.image.sensor import Sensor
from colormatch.records import BoolArray, Box, ByteArray, FloatArray, Photo, Region

#: Most pixels of the box around a region that are read before subsampling. Several hundred each way give color, grain
#: and light as well as all of them; a card may cover ten million pixels of a large photo.
MOST_READ = 100_000
#: Fewest pixels of a region before it is read at a finer step: enough for a median and quartiles. Our choice.
_THIN = 100


@dataclass(frozen=True, eq=False)
class RegionPixels:
    """Pixels of a region; subsampled if the region is large."""

    #: Box around the region, in pixels of the photo.
    box: Box
    #: (h, w) bool; which of the pixels read belong to the region.
    inside: BoolArray
    #: (h, w, 3) float32; linear sRGB.
    linear_rgb: FloatArray
    #: Step between pixels read, 1 for all.
    every: int

    @property
    def pixels(self) -> int:
        """Estimated number of the photo's pixels inside the region."""
        return int(self.inside.sum()) * self.every**2

    @property
    def mean(self) -> FloatArray:
        """(3,) float; mean linear sRGB inside."""
        import cv2

        return np.array(cv2.mean(self.linear_rgb, self.inside.view(np.uint8))[:3])


@dataclass(frozen=True, eq=False)
class DecodedPhoto:
    """A photo's pixels, kept in 8 or 16 bits; parts of it are converted to floating point on request.

    All boxes and regions refer to the upright photo, boxes to the pixels that were decoded.
    """

    #: Facts about the photo.
    facts: Photo
    #: Upright, in 8 or 16 bits.
    pixels: Pixels
    #: Meaning of the values.
    profile: Profile
    #: Illumination, if measured; it is divided out of all linear light.
    plane: FlatField | None = None
    #: Sensor of a camera raw, if the file describes it fully.
    sensor: Sensor | None = None

    def __repr__(self) -> str:
        facts = self.facts
        return f"DecodedPhoto({facts.width} x {facts.height} {facts.format}, {facts.profile})"

    def evened(self, plane: FlatField | None) -> DecodedPhoto:
        """The same photo with illumination divided out, relative to the plane's origin."""
        return replace(self, plane=plane)

    def encoded(self, box: Box | None = None, every: int = 1) -> FloatArray:
        """Stored values, in the encoding of the file's profile; use them to find clipping.

        Parameters
        ----------
        box : Box, optional
            Part of the photo; all of it by default.
        every : int
            Step between pixels, each way.

        Returns
        -------
        (h, w, 3) float32; 0 to 1. A camera raw's linear light is encoded with the sRGB curve.
        """
        codes = self.pixels.crop(box, every)
        values = codes * np.float32(1 / np.iinfo(codes.dtype).max)
        return encoded_from_linear(values) if self.facts.raw else values

    def part(self, region: Region) -> RegionPixels:
        """Pixels of a region, for reading it."""
        box, every = region.box(*self.pixels.size), self.step(region, MOST_READ)
        _, inside = region.mask(*self.pixels.size, every)
        return RegionPixels(box, inside, self.linear(box, every), every)

    def step(self, region: Region, most: int) -> int:
        """Step between the pixels of a region, each way, that reads about ``most`` pixels of its box.

        Smaller for a thin region, which would otherwise fall between the steps.
        """
        box = region.box(*self.pixels.size)
        every = max(1, math.ceil(math.sqrt(box.w * box.h / most)))
        while every > 1 and region.mask(*self.pixels.size, every)[1].sum() < _THIN:
            every //= 2
        return every

    def linear(self, box: Box | None = None, every: int = 1) -> FloatArray:
        """Linear light with sRGB primaries.

        Parameters
        ----------
        box : Box, optional
            Part of the photo; all of it by default.
        every : int
            Step between pixels, each way.

        Returns
        -------
        (h, w, 3) float32; unitless. Below 0 or above 1 for colors outside sRGB.
        """
        linear = self._linear_of(self.pixels.crop(box, every))
        if self.plane is None:
            return linear
        return linear / self.plane.over(box or Box(0, 0, *self.pixels.size), *self.pixels.size, every)

    def preview(self, longest_side: int, *, averaged: bool = True) -> ByteArray:
        """(h, w, 3) uint8; encoded sRGB for the screen, averaged or subsampled; never enlarged."""
        small = self.pixels.shrunk(longest_side, averaged=averaged)
        if self.profile is SRGB and small.dtype == np.uint8 and self.plane is None:
            return np.array(small)
        linear = self._linear_of(small)
        if self.plane is not None:
            height, width = small.shape[:2]
            linear /= self.plane.over(Box(0, 0, width, height), width, height)
        encoded = encoded_from_linear(linear)
        return np.round(np.clip(encoded, 0, 1) * 255).astype(np.uint8)

    def mask(self, region: Region) -> tuple[Box, BoolArray]:
        """Mask of the pixels whose centers lie inside a region's corners (even-odd rule).

        Returns
        -------
        (Box, (h, w) bool)
            The box around the region, and the mask of its pixels.
        """
        return region.mask(*self.pixels.size)

    def _linear_of(self, values: PixelArray) -> FloatArray:
        import cv2

        tables = _tables(self.profile, np.iinfo(values.dtype).max + 1)
        linear: FloatArray = cv2.LUT(np.ascontiguousarray(values), tables)
        if np.array_equal(self.profile.to_srgb, np.eye(3)):
            return linear
        turned: FloatArray = linear @ self.profile.to_srgb.T.astype(np.float32)
        return turned


@lru_cache(maxsize=8)
def _tables(profile: Profile, levels: int) -> FloatArray:
    """(1, levels, 3) float32; a profile's tables in OpenCV's layout."""
    return np.ascontiguousarray(profile.tables(levels).T)[None]


def open_photo(source: Path | str | bytes | PixelArray) -> DecodedPhoto:
    """Open a photo of any supported kind.

    Parameters
    ----------
    source : Path, str, bytes, or (h, w, 3) or (h, w) array of uint8 or uint16
        The file, its bytes, or upright pixels as encoded sRGB.

    Returns
    -------
    DecodedPhoto

    Raises
    ------
    PhotoUnreadable
        Missing, empty, not a picture, damaged, or of an unsupported kind.
    PhotoTooLarge
        See :mod:`colormatch.image.limits`.
    WrongType, BadInput
        Another type, or an array of another shape or number type.
    """
    if isinstance(source, np.ndarray):
        return _from_array(source)
    check_type(source, (Path, str, bytes), "photo")
    data = source if isinstance(source, bytes) else bytes_of(Path(source))
    if not data:
        raise PhotoUnreadable("The file is empty.", "Copy it from the phone or camera again.")
    stored = decode(data)
    width, height = stored.halved_from or stored.pixels.size
    digest = hashlib.sha256(data).hexdigest()
    name = stored.profile.name
    exif = stored.exif
    facts = Photo(width, height, stored.format, exif.camera, name, digest, stored.raw, stored.flags, exif.lens)
    photo = DecodedPhoto(facts, stored.pixels, stored.profile, sensor=stored.sensor)
    blurred = blur_flags(photo.preview(FOCUS_SIDE, averaged=False))
    return replace(photo, facts=replace(facts, flags=(*facts.flags, *blurred))) if blurred else photo


def _from_array(pixels: PixelArray) -> DecodedPhoto:
    if pixels.dtype not in (np.uint8, np.uint16) or not (
        pixels.ndim == 2 or (pixels.ndim == 3 and pixels.shape[2] == 3)
    ):
        raise BadInput(
            f"An array of shape {pixels.shape} and type {pixels.dtype} is not a photo.",
            "Pass encoded sRGB as (height, width, 3) or (height, width) of uint8 or uint16.",
        )
    if not pixels.size:
        raise BadInput("The array has no pixels.", "Pass a picture of at least one pixel.")
    height, width = pixels.shape[:2]
    digest = hashlib.sha256(np.ascontiguousarray(pixels).tobytes()).hexdigest()
    # A copy: the caller's array may change, the photo's pixels must not.
    return DecodedPhoto(Photo(width, height, "array", "", SRGB.name, digest), Pixels(pixels.copy()), SRGB)
