"""The shipped example: a simulated photo with its marks."""

from __future__ import annotations

from dataclasses import replace

from colormatch.library import starter
from colormatch.records import Region, RegionKind


def photo() -> tuple[bytes, str, tuple[Region, ...]]:
    """The file, a name for the repair, and what is marked in it (not the card: finding it is the program's work)."""
    shown = starter.example()
    sound = [region for region in shown.regions if region.kind is RegionKind.SOUND]
    return shown.photo.read_bytes(), shown.title, tuple(replace(region, name="") for region in (*sound, shown.outline))
