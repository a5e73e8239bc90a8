"""Color encoding of a decoded file, and conversion of pixels that need a color engine."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from PIL import Image

from colormatch.image import metadata
from colormatch.image.icc import SRGB, NotMatrix, Profile, ProfileBroken
from colormatch.image.metadata import Exif
from colormatch.image.pixels import PixelArray
from colormatch.records import Flag, FlagCode


def meaning(
    icc: bytes | None, code_points: tuple[int, int] | None, info: Mapping[Any, Any], exif: Exif
) -> tuple[Profile | None, tuple[Flag, ...]]:
    """Profile found by :func:`colormatch.image.metadata.profile_of`, with flags for doubts about it.

    Returns
    -------
    (Profile or None, flags)
        None unless the profile is curves and a matrix: such pixels go through :func:`by_color_engine`.
    """
    try:
        return metadata.profile_of(icc, code_points, info, exif), ()
    except NotMatrix:
        return None, ()
    except ProfileBroken:
        return SRGB, (_UNUSABLE_PROFILE,)


def by_color_engine(
    stored: Image.Image | PixelArray, icc: bytes | None
) -> tuple[Image.Image | PixelArray, Profile, tuple[Flag, ...]]:
    """Convert pixels to sRGB, with flags; if the profile doesn't fit the pixels, leave them unchanged."""
    from PIL import ImageCms

    try:
        return _srgb_by_color_engine(stored, icc or b""), SRGB, (_CONVERTED,)
    except ImageCms.PyCMSError:
        return stored, SRGB, (_UNUSABLE_PROFILE,)


_CONVERTED = Flag(
    FlagCode.PROFILE_CONVERTED,
    "The photo's color profile uses tables; its colors were converted to 8-bit sRGB, and saturated ones were clipped.",
)
_UNUSABLE_PROFILE = Flag(
    FlagCode.PROFILE_UNUSABLE,
    "The photo's color profile is damaged or of an unknown kind, so its colors are read as sRGB.",
)


def _srgb_by_color_engine(stored: Image.Image | PixelArray, icc: bytes) -> Image.Image:
    from PIL import ImageCms

    if not isinstance(stored, Image.Image):
        eight_bit = stored if stored.dtype == np.uint8 else np.round(stored / np.float32(257)).astype(np.uint8)
        stored = Image.fromarray(eight_bit)
    engine = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(icc)),
        ImageCms.createProfile("sRGB"),
        stored.mode,
        "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    return engine.apply(stored)
