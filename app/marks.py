"""Marked regions as they travel between the library, the page and the browser."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from colormatch.records import Region, RegionKind


@dataclass(frozen=True)
class Edit:
    """What the person has marked, and when."""

    #: SHA-256 of the photo it belongs to.
    photo: str
    #: Grows with every edit: milliseconds since 1970, or one more than the stamp before.
    stamp: int
    regions: tuple[Region, ...]


#: Name of a region that the program found and nobody has corrected.
FOUND = "found"


def as_document(regions: Sequence[Region]) -> list[dict[str, Any]]:
    """The regions as the browser and the library's repairs hold them."""
    return [
        {"kind": region.kind.value, "points": [list(point) for point in region.points]}
        | ({"auto": True} if region.name == FOUND else {})
        for region in regions
    ]


def from_document(document: Sequence[dict[str, Any]]) -> tuple[Region, ...]:
    """Inverse of :func:`as_document`.

    Raises
    ------
    RegionError
        A shape has fewer than three corners or reaches outside the photo.
    """
    return tuple(
        Region(
            RegionKind(one["kind"]),
            tuple((float(x), float(y)) for x, y in one["points"]),
            FOUND if one.get("auto") else "",
        )
        for one in document
    )
