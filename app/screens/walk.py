"""Guidance on each page of the example: what to look at and where to go next."""

from __future__ import annotations

import streamlit as st

from app.repair.open_repair import OpenRepair
from app.state import session
from app.state.library import open_library
from colormatch.library.starter import remove_example

#: Texts by the page's address.
_LINES = {
    "": "The program has found the gray card. Four patches of sound wood and the damage are marked: drag one and "
    "watch the words beside the photo change. Then press **Find the wash**.",
    "match": "Sound wood and dried wash touch without a gap: the less you see the seam, the better. Try another "
    "wash, look at the picture, then press **Mix this wash**.",
    "mix": "This page shows what goes into the cup, and when. Type 30x40cm as the size of the damage and watch the "
    "amounts change. **Check** comes once the paint is dry.",
    "check": "Use the example's photo of the dried repair: the wash came out too thin. See what is still visible and "
    "what to apply over it, and keep it as a swatch. That is the whole process; photos and paints are invented.",
}


def show(repair: OpenRepair, place: str) -> None:
    """The text of a page, and a button to leave the example."""
    with st.container(horizontal=True, vertical_alignment="center", gap="small", key="guide"):
        st.markdown(f"**Example, {list(_LINES).index(place) + 1} of {len(_LINES)}.** {_LINES[place]}")
        st.button("Remove the example", key="remove-example", type="tertiary", on_click=_remove, args=(repair.id,))


def lent() -> None:
    """The notice above a user's own repair while the shelf is empty and the example lends its paints."""
    with st.container(horizontal=True, vertical_alignment="center", gap="small", key="guide"):
        st.markdown(
            "**These paints are invented.** Your shelf is empty, so the example uses its own: try it out, but don't "
            "mix from it. Add a paint that you own, and a swatch or two of it."
        )
        st.page_link("shelf/swatches.py", label="To my paints", query_params=session.link())


def _remove(number: int) -> None:
    with session.telling():
        remove_example(open_library(), number)
        session.leave()
