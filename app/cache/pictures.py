"""Pictures of a photo, as JPEG."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import streamlit as st

from app.cache.errors_as_values import unwrap
from app.cache.keys import LibraryState, MarkedPhoto, Reference
from app.cache.photos import decoded, neutral
from app.cache.shelf import workshop
from colormatch import repair
from colormatch.image.photo import open_photo
from colormatch.records import FloatArray, Lab, Layer, Region, RegionKind
from colormatch.reference.neutral import balanced as white_balanced
from colormatch.render.preview import jpeg, to_screen

#: Longest side of a photo on the page, pixels: sharp on a laptop, even slightly enlarged.
SCREEN_SIDE = 2000
#: Longest side of a photo in a list, pixels: twice the displayed size, for high-density screens.
THUMBNAIL_SIDE = 320


@st.cache_data(max_entries=8, show_spinner=False)
def as_taken(path: Path) -> bytes:
    """The photo as balanced by the camera."""
    return jpeg(decoded(path).preview(SCREEN_SIDE))


@st.cache_data(max_entries=200, show_spinner=False)
def thumbnail(path: Path) -> tuple[bytes, tuple[int, int]]:
    """A photo for a list, with width and height; not from :func:`decoded`, which keeps only two."""
    small = open_photo(path).preview(THUMBNAIL_SIDE)
    return jpeg(small), (small.shape[1], small.shape[0])


@st.cache_resource(max_entries=2, show_spinner=False)
def _linear(path: Path, reference: Reference) -> FloatArray:
    """(h, w, 3) linear sRGB; the corrected photo at screen size. Read-only."""
    linear_rgb = white_balanced(decoded(path), unwrap(neutral(path, reference)), SCREEN_SIDE)
    linear_rgb.setflags(write=False)
    return linear_rgb


@st.cache_data(max_entries=8, show_spinner=False)
def balanced(path: Path, reference: Reference) -> bytes:
    """The photo corrected by its reference."""
    return jpeg(to_screen(_linear(path, reference)))


@st.cache_data(max_entries=16, show_spinner=False)
def pictured(
    marked: MarkedPhoto, held: LibraryState, ground: Lab, layers: tuple[Layer, ...]
) -> tuple[bytes, bytes, tuple[int, int]]:
    """Crops of the damage before and (simulated) after the wash, with the pictures' width and height."""
    before = _linear(marked.path, marked.reference)
    after = repair.picture(before, marked.regions, ground, layers, workshop(held))
    rows, columns = _around([one for one in marked.regions if one.kind is RegionKind.DAMAGE], before.shape)
    near, washed = (to_screen(linear_rgb[rows, columns]) for linear_rgb in (before, after))
    return jpeg(near), jpeg(washed), (near.shape[1], near.shape[0])


@st.cache_data(max_entries=8, show_spinner=False)
def near(marked: MarkedPhoto) -> tuple[bytes, tuple[int, int]]:
    """Crop around regions of a corrected photo, with the picture's width and height."""
    linear_rgb = _linear(marked.path, marked.reference)
    rows, columns = _around(marked.regions, linear_rgb.shape)
    shown = to_screen(linear_rgb[rows, columns])
    return jpeg(shown), (shown.shape[1], shown.shape[0])


def _around(shown: Sequence[Region], shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Rows and columns of a picture around some regions."""
    height, width = shape[:2]
    boxes = [region.box(width, height) for region in shown]
    left, top = min(box.x for box in boxes), min(box.y for box in boxes)
    right, bottom = max(box.x + box.w for box in boxes), max(box.y + box.h for box in boxes)
    # The same size again on every side, and at least a third of the photo: a repair is judged from a distance.
    aside = max(right - left, (width / 3 - (right - left)) / 2)
    above = max(bottom - top, (height / 3 - (bottom - top)) / 2)
    rows = slice(int(max(0, top - above)), int(min(height, bottom + above)))
    return rows, slice(int(max(0, left - aside)), int(min(width, right + aside)))
