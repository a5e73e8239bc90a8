"""Undo and redo buttons for every view of the shelf, with descriptions."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from app.shelf import things
from app.state import address, session
from app.state.library import open_library
from app.widgets import look

#: Views for one record, which are left after an undo, since the record may be another or gone.
_FORMS = {"add-paint": "", "edit-paint": "paint", "add-swatch": "paint", "edit-swatch": ""}


def bar() -> None:
    """The two buttons."""
    library = open_library()
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
        if address.view() in things.THINGS:
            address.go(address.view())
        elif address.view() in _FORMS:
            parent = _FORMS[address.view()]
            address.go(parent, address.number() if parent == "paint" else None)
