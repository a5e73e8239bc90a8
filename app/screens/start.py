"""Start page, without an open repair: how to photograph, choosing a photo, the example, and earlier repairs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import streamlit as st

from app.screens import example
from app.state import session
from app.state.library import open_library
from app.widgets import look, photo_files
from colormatch.records import Region

#: Repairs offered for continuing.
_RECENT = 6
_DRAWING = (Path(__file__).parents[1] / "widgets" / "photographing.svg").read_text(encoding="utf-8")
_DRAWN = (
    "Two sketches. From the side: the phone looks straight down on the wood, soft window light comes from one side. "
    "From above: the damage in the middle, a gray card beside it, sound wood around both."
)
#: Common practice, no source.
_HOW = (
    "Lay a gray card flat on the wood, beside the damage and in the same light.",
    "Use soft daylight from a window: no sun, no lamp beside it, no flash, no shine on wood or card.",
    "Hold the phone directly above, so that the damage, the card and sound wood around them are sharp and fill the "
    "picture. No filter, no portrait mode.",
    "Photograph dry wood only: wet wood and wet paint have a different color.",
)


def show() -> None:
    """The page."""
    st.header("Find the wash that hides a repair")
    choose, how = st.columns([1, 1], gap="large")
    with choose:
        photo_files.choose(f"Choose the photo, or drop it here: {photo_files.FORMS}", "photo-file", _take_photo)
        st.button("Try the example", key="example", on_click=_take_example)
        recent = open_library().repairs()[:_RECENT]
        if recent:
            st.subheader("Continue a repair")
            for stored in recent:
                # A link to the current page would not change the address.
                st.button(
                    look.plain(stored.record.name), key=f"open-{stored.id}", on_click=session.enter, args=(stored.id,)
                )
    with how:
        st.subheader("How to photograph")
        st.html(look.drawing(_DRAWING, _DRAWN))
        look.sentences(_HOW)


def _take_photo(photo: str, name: str) -> None:
    _begin(photo, session.free_name(Path(name).stem))


def _take_example() -> None:
    with session.telling():
        content, title, regions = example.photo()
        _begin(photo_files.keep(content, "example.jpg"), title, regions, guided=True)


def _begin(photo: str, title: str, regions: tuple[Region, ...] = (), *, guided: bool = False) -> None:
    begun = replace(session.current(), name=title, photo=photo, regions=regions, guided=guided)
    # The example may use its own paints, whatever else is on the shelf.
    session.keep(replace(begun, limits=replace(begun.limits, invented=guided)))
