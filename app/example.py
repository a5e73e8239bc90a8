"""The shipped example: a simulated photo with its marks."""

from __future__ import annotations

from colormatch.library import starter
from colormatch.records import Region, RegionKind


def photo() -> tuple[bytes, str, tuple[Region, ...]]:
    """The file, a name for the repair, and what is marked in it (not the card: finding it is the program's work)."""
    shown = starter.example()
    sound = tuple(region for region in shown.regions if region.kind is RegionKind.SOUND)
    return shown.photo.read_bytes(), shown.title, (*sound, shown.outline)
