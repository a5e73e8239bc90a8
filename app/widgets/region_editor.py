"""Marks regions on a photo: the door to ``region_editor.js``.

The photo goes to the browser once, by its own address; only the regions travel with each run. The caller holds the
regions (they belong to a repair in the library); this module keeps nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import streamlit as st

from app.repair.document import plain
from app.repair.marks import Edit, from_document
from app.state.session import telling, undo, widget_value
from colormatch.records import RegionKind

_HERE = Path(__file__).parent
_HTML = """
<div class="editor">
  <div class="bar" role="toolbar" aria-label="Mark the photo">
    <div class="group kinds" role="group" aria-label="What to mark"></div>
    <button type="button" class="more" aria-expanded="false">More</button>
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
    <svg class="loupe" hidden aria-hidden="true"><image preserveAspectRatio="none"/><g></g></svg>
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

#: Of a kind: its button, its label in the photo, and what the help line calls it.
Words = tuple[str, str, str]
#: What the help line calls a kind, where that is not just one of it.
_TO_MARK = {
    RegionKind.CARD: "the card",
    RegionKind.SOUND: "a patch of sound wood",
    RegionKind.DAMAGE: "the damage",
    RegionKind.REPAIR: "the dried repair",
    RegionKind.WHITE: "plain white paper",
}
#: What a repair's photo is marked with, the card first, and what only some photos hold.
USUAL = (RegionKind.CARD, RegionKind.SOUND, RegionKind.DAMAGE)
RARE = (RegionKind.WHITE, RegionKind.CHIP)


def region_editor(
    source: str,
    size: tuple[int, int],
    held: Edit,
    on_edit: Callable[[Edit], None],
    key: str = "regions",
    *,
    kinds: Sequence[RegionKind] = USUAL,
    more: Sequence[RegionKind] = (),
    words: Mapping[RegionKind, Words] | None = None,
    cornered: RegionKind | None = None,
    on_undo: Callable[..., None] = undo,
) -> None:
    """Show the photo with its regions.

    Parameters
    ----------
    source : str
        Address of the picture to show.
    size : (int, int)
        Width and height of the upright photo; its shape keeps the place while the picture loads.
    held : Edit
        What the program holds. An edit of the browser that is not in it is asked for again.
    on_edit : callable
        Receives each edit before the page runs again.
    kinds, more : sequence of RegionKind
        What can be marked, and what behind a button of its own.
    words : mapping, optional
        What this page calls some of them, instead of the usual words.
    cornered : RegionKind, optional
        One of which a photo holds one, seen at a slant: each of its four corners moves by itself.
    on_undo : callable
        Ctrl+Z in the photo; ``again=True`` for Ctrl+Y.
    """

    def receive() -> None:
        edit = widget_value(key)["edit"]
        if edit is not None:
            # An edit that could not be kept stays in the browser, which offers it again.
            with telling():
                regions, was = from_document(edit["regions"]), from_document(edit["was"])
                bases, seen = tuple(map(int, edit["bases"])), int(edit.get("seen", 0))
                on_edit(Edit(edit["photo"], int(edit["stamp"]), regions, bases, was, seen))

    def take_back() -> None:
        on_undo(again=widget_value(key)["undo"] == "again")

    width, height = size
    said = words or {}
    _component(
        key=key,
        data={
            "photo": held.photo,
            "source": source,
            "width": width,
            "height": height,
            "stamp": held.stamp,
            "regions": plain(held.regions),
            "kinds": [kind.value for kind in kinds],
            "more": [kind.value for kind in more],
            "words": {kind.value: said.get(kind, _usual_words(kind)) for kind in (*kinds, *more)},
            "cornered": cornered and cornered.value,
        },
        default={"edit": None},
        on_edit_change=receive,
        on_undo_change=take_back,
    )


def _usual_words(kind: RegionKind) -> Words:
    return kind.words.capitalize(), kind.capitalize(), _TO_MARK.get(kind, f"a {kind.words}")
