"""Open a photo: upright pixels, the meaning of its numbers, and what the file says of itself."""

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

#: Pixels of the box around a region above which not all of them are read: several hundred each way tell its color, its
#: grain and its light as well as all of them, and a card may cover ten million of a large photo.
MOST_READ = 100_000
#: Pixels of a region below which it is read in finer steps: enough for a median and for quarters of it. Our choice.
_THIN = 100


@dataclass(frozen=True, eq=False)
class RegionPixels:
    """What lies in a region; where that is a great many pixels, every so many of them each way."""

    #: Around the region, in pixels of the photo.
    box: Box
    #: (h, w) bool; which of the pixels that were read belong to the region.
    inside: BoolArray
    #: (h, w, 3) float32; linear sRGB.
    linear_rgb: FloatArray
    #: Steps from one pixel that was read to the next, 1 for all.
    every: int

    @property
    def pixels(self) -> int:
        """How many pixels of the photo the region holds, to the nearest that is known."""
        return int(self.inside.sum()) * self.every**2

    @property
    def mean(self) -> FloatArray:
        """(3,) float; mean linear sRGB inside."""
        import cv2

        return np.array(cv2.mean(self.linear_rgb, self.inside.view(np.uint8))[:3])


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
    plane: FlatField | None = None
    #: Of a camera raw that says enough of itself.
    sensor: Sensor | None = None

    def __repr__(self) -> str:
        facts = self.facts
        return f"DecodedPhoto({facts.width} x {facts.height} {facts.format}, {facts.profile})"

    def evened(self, plane: FlatField | None) -> DecodedPhoto:
        """The same photo as in the light of the plane's origin everywhere."""
        return replace(self, plane=plane)

    def encoded(self, box: Box | None = None, every: int = 1) -> FloatArray:
        """Values as the file states them, in its own profile's encoding; the place to look for clipping.

        Parameters
        ----------
        box : Box, optional
            Part of the photo; all of it by default.
        every : int
            Only every so many pixels each way.

        Returns
        -------
        (h, w, 3) float32; 0 to 1. Linear light of a camera raw is encoded with the sRGB curve.
        """
        codes = self.pixels.crop(box, every)
        values = codes * np.float32(1 / np.iinfo(codes.dtype).max)
        return encoded_from_linear(values) if self.facts.raw else values

    def part(self, region: Region) -> RegionPixels:
        """The pixels of a region."""
        box, every = region.box(self.facts.width, self.facts.height), self.step(region, MOST_READ)
        _, inside = region.mask(self.facts.width, self.facts.height, every)
        return RegionPixels(box, inside, self.linear(box, every), every)

    def step(self, region: Region, most: int) -> int:
        """Every how many pixels each way a region is read, so that its box gives about ``most`` of them.

        Fewer are left out where a thin region would slip through between them.
        """
        width, height = self.facts.width, self.facts.height
        box = region.box(width, height)
        every = max(1, math.ceil(math.sqrt(box.w * box.h / most)))
        while every > 1 and region.mask(width, height, every)[1].sum() < _THIN:
            every //= 2
        return every

    def linear(self, box: Box | None = None, every: int = 1) -> FloatArray:
        """Linear light with sRGB primaries.

        Parameters
        ----------
        box : Box, optional
            Part of the photo; all of it by default.
        every : int
            Only every so many pixels each way.

        Returns
        -------
        (h, w, 3) float32; unitless. Below 0 or above 1 for colors outside sRGB.
        """
        linear = self._linear_of(self.pixels.crop(box, every))
        if self.plane is None:
            return linear
        return linear / self.plane.over(box or Box(0, 0, *self.pixels.size), *self.pixels.size, every)

    def preview(self, longest_side: int, *, averaged: bool = True) -> ByteArray:
        """(h, w, 3) uint8; encoded sRGB for the screen, averaged down, or single pixels; never enlarged."""
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
        """Which pixels a region takes in: those whose center lies inside its corners (even-odd rule).

        Returns
        -------
        (Box, (h, w) bool)
            The box around the region, and the pixels of that box.
        """
        return region.mask(self.facts.width, self.facts.height)

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
    """(1, levels, 3) float32; a profile's tables as OpenCV takes them."""
    return np.ascontiguousarray(profile.tables(levels).T)[None]


def open_photo(source: Path | str | bytes | PixelArray) -> DecodedPhoto:
    """Open a photo of any kind we read.

    Parameters
    ----------
    source : Path, str, bytes, or (h, w, 3) or (h, w) array of uint8 or uint16
        The file, what is in it, or its upright pixels as encoded sRGB.

    Returns
    -------
    DecodedPhoto

    Raises
    ------
    PhotoUnreadable
        Missing, empty, no picture, damaged, or of a kind that can't be decoded.
    PhotoTooLarge
        See :mod:`colormatch.image.limits`.
    WrongType, BadInput
        None of these, or an array of another shape or kind of number.
    """
    if isinstance(source, np.ndarray):
        return _from_array(source)
    check_type(source, (Path, str, bytes), "photo")
    data = source if isinstance(source, bytes) else bytes_of(Path(source))
    if not data:
        raise PhotoUnreadable("The file is empty.", "Copy it from the phone or camera once more.")
    stored = decode(data)
    width, height = stored.pixels.size
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
        raise BadInput("The array holds no pixels.", "Pass a picture of at least one pixel.")
    height, width = pixels.shape[:2]
    digest = hashlib.sha256(np.ascontiguousarray(pixels).tobytes()).hexdigest()
    # A copy: the photo's pixels never change, the caller's may.
    return DecodedPhoto(Photo(width, height, "array", "", SRGB.name, digest), Pixels(pixels.copy()), SRGB)
