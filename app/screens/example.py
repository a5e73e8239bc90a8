"""The shipped example: a simulated photo with its marks."""

from __future__ import annotations

from dataclasses import replace

from colormatch.library import starter
from colormatch.records import Layer, Region, RegionKind


def is_shown(photo: str) -> bool:
    """Whether a photo of the library is the example's."""
    return starter.example().photo.stem == photo


def dried() -> tuple[bytes, tuple[Region, ...], Layer]:
    """The simulated photo of the dried repair, its marks, and the painted wash."""
    shown = starter.example()
    return shown.dried.read_bytes(), tuple(replace(region, name="") for region in shown.dried_regions), shown.painted


def photo() -> tuple[bytes, str, tuple[Region, ...]]:
    """The file, a name for the repair, and its marks (without the card, which the program finds)."""
    shown = starter.example()
    sound = [region for region in shown.regions if region.kind is RegionKind.SOUND]
    return shown.photo.read_bytes(), shown.title, tuple(replace(region, name="") for region in (*sound, shown.outline))
