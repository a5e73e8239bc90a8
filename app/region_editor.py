"""Marks regions on a photo: the door to ``region_editor.js``.

The photo goes to the browser once, by its own address; only the regions travel with each run. The caller holds the
regions (they belong to a repair in the library); this module keeps nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import streamlit as st

from app.marks import Edit, as_document, from_document
from app.session import telling, widget_value

_HERE = Path(__file__).parent
_HTML = """
<div class="editor">
  <div class="bar" role="toolbar" aria-label="Mark the photo">
    <div class="group" role="group" aria-label="What to mark">
      <button type="button" data-kind="card">Card</button>
      <button type="button" data-kind="sound">Sound wood</button>
      <button type="button" data-kind="damage">Damage</button>
    </div>
    <button type="button" class="delete">Delete</button>
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
            # An edit that could not be kept stays in the browser, which offers it again.
            with telling():
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
