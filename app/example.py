"""The shipped example: a simulated photo with its marks."""

from __future__ import annotations

import json

from colormatch.library.starter import bundled
from colormatch.photo.read import open_photo
from colormatch.records import Box, Region, RegionKind


def photo() -> tuple[bytes, str, tuple[Region, ...]]:
    """The file, a name for the repair, and what is marked in it (not the card: finding it is the program's work)."""
    folder = bundled("swatches")
    held = json.loads((folder / "demo.json").read_text(encoding="utf-8"))
    content = (folder / held["photo"]).read_bytes()
    size = open_photo(content).facts
    regions = tuple(
        Region.from_box(kind, Box(*box), size.width, size.height)
        for kind in (RegionKind.SOUND, RegionKind.DAMAGE)
        for box in held[kind.value]
    )
    return content, held["title"], regions
