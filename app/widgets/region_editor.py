"""Region editor for photos: the Python side of ``region_editor.js``.

The browser loads the photo once, from its own address; only regions are exchanged in each run. The caller stores the
regions (in a repair in the library); this module stores nothing.
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

#: Texts for a kind of region: its button, its label in the photo, and its name in the help line.
Words = tuple[str, str, str]
#: Names of kinds in the help line that differ from the kind.
_TO_MARK = {
    RegionKind.CARD: "the card",
    RegionKind.SOUND: "a patch of sound wood",
    RegionKind.DAMAGE: "the damage",
    RegionKind.REPAIR: "the dried repair",
    RegionKind.WHITE: "plain white paper",
}
#: Kinds usually marked in a repair's photo, card first; below, the rarer kinds.
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
        Width and height of the upright photo; its shape reserves the space while the picture loads.
    held : Edit
        Stored state. An edit of the browser missing from it is requested again.
    on_edit : callable
        Receives each edit before the page runs again.
    kinds, more : sequence of RegionKind
        Kinds to mark; those in ``more`` are behind a button.
    words : mapping, optional
        This page's texts for some kinds, instead of the usual ones.
    cornered : RegionKind, optional
        A kind with a single region in perspective, whose four corners move separately.
    on_undo : callable
        Ctrl+Z in the photo; ``again=True`` for Ctrl+Y.
    """

    def receive() -> None:
        edit = widget_value(key)["edit"]
        if edit is not None:
            # An edit that was not stored stays in the browser, which sends it again.
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
