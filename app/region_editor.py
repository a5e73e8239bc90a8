"""Marks regions on a photo: the door to ``region_editor.js``.

The photo goes to the browser once, by its own address; only the regions travel with each run. The caller holds the
regions (they belong to a repair in the library); this module keeps nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import streamlit as st

from app.session import widget_value
from colormatch.records import Region, RegionKind

_HERE = Path(__file__).parent
_HTML = """
<div class="editor">
  <div class="bar" role="toolbar" aria-label="Mark the photo">
    <div class="group" role="group" aria-label="What to mark">
      <button type="button" data-kind="card">Card</button>
      <button type="button" data-kind="sound">Sound wood</button>
      <button type="button" data-kind="damage">Damage</button>
    </div>
    <div class="group" role="group" aria-label="How">
      <button type="button" data-shape="box">Box</button>
      <button type="button" data-shape="free">Free shape</button>
      <button type="button" data-shape="move">Move</button>
    </div>
    <div class="group" role="group" aria-label="Zoom">
      <button type="button" class="out" aria-label="Zoom out">&minus;</button>
      <button type="button" class="in" aria-label="Zoom in">+</button>
      <button type="button" class="whole">Whole</button>
    </div>
    <button type="button" class="delete">Delete</button>
  </div>
  <div class="stage">
    <svg class="photo" tabindex="0" role="application"
      aria-label="The photo. Enter adds a box in the middle, Tab goes from shape to shape.">
      <image preserveAspectRatio="none"/><g class="layer"></g></svg>
    <svg class="loupe" hidden><image preserveAspectRatio="none"/><g></g></svg>
  </div>
  <p class="help" aria-live="polite"></p>
</div>
"""

_component = st.components.v2.component(
    "colormatch_region_editor",
    html=_HTML,
    css=(_HERE / "region_editor.css").read_text(encoding="utf-8"),
    js=(_HERE / "region_editor.js").read_text(encoding="utf-8"),
)


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


def region_editor(
    source: str,
    size: tuple[int, int],
    held: Edit,
    on_edit: Callable[[Edit], None],
    key: str = "regions",
) -> None:
    """Show the photo with its regions.

    Parameters
    ----------
    source : str
        Address of the picture to show.
    size : (int, int)
        Width and height of the upright photo; its shape keeps the place while the picture loads.
    held : Edit
        What the program holds. A newer edit of the browser is asked for again.
    on_edit : callable
        Receives each edit before the page runs again.
    """

    def receive() -> None:
        edit = widget_value(key)["edit"]
        if edit is not None:
            on_edit(Edit(edit["photo"], int(edit["stamp"]), from_document(edit["regions"])))

    width, height = size
    _component(
        key=key,
        data={
            "photo": held.photo,
            "source": source,
            "width": width,
            "height": height,
            "stamp": held.stamp,
            "regions": as_document(held.regions),
        },
        default={"edit": None},
        on_edit_change=receive,
    )
