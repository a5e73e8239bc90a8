"""Undo and redo: on every view of the shelf, with the words of what they would take back."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from app.pieces import look
from app.repair import session
from app.shelf import place, things

#: Views that change one record: after an undo the record may be another or gone, so they are left.
_FORMS = {"add-paint": "", "edit-paint": "paint", "add-swatch": "paint", "edit-swatch": ""}


def bar() -> None:
    """The two buttons."""
    library = session.open_library()
    with st.container(horizontal=True, gap="small", key="undo-bar"):
        for key, word, next_words, act in (
            ("undo", "Undo", library.next_undo(), library.undo),
            ("redo", "Redo", library.next_redo(), library.redo),
        ):
            label = f"**{word}:** {look.plain(next_words)}" if next_words else f"Nothing to {word.lower()}"
            st.button(label, key=key, disabled=not next_words, on_click=_swap, args=(act,))


def _swap(act: Callable[[], str | None]) -> None:
    with session.telling():
        act()
        if place.view() in things.THINGS:
            place.go(place.view())
        elif place.view() in _FORMS:
            parent = _FORMS[place.view()]
            place.go(parent, place.number() if parent == "paint" else None)
