"""Input fields of a draft, stored on every change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from app.shelf import draft as drafts
from app.shelf.draft import Draft
from app.state import session


class WordFields:
    """Widgets for the input of one draft; each key is the draft's purpose and the field's name."""

    def __init__(self, draft: Draft) -> None:
        self._draft = draft

    def text(self, label: str, name: str, default: str = "") -> str:
        """A line of text."""
        return st.text_input(label, key=self._shown(name, default), on_change=self._change(name))

    def pick(self, label: str, name: str, options: Mapping[Any, str]) -> Any:
        """Choose an option; the first by default."""
        return st.selectbox(
            label,
            list(options),
            format_func=options.__getitem__,
            key=self._shown(name, next(iter(options))),
            on_change=self._change(name),
        )

    def pick_or_type(self, label: str, name: str, options: Sequence[str]) -> str | None:
        """Choose a name or type a new one; initially empty."""
        held = self._draft.words.get(name)
        return st.selectbox(
            label,
            [*options, *([held] if held and held not in options else [])],
            index=None,
            accept_new_options=True,
            placeholder="Choose it, or type a new one",
            key=self._shown(name, None),
            on_change=self._change(name),
        )

    def tick(self, label: str, name: str, default: bool) -> bool:
        """A checkbox."""
        return st.checkbox(label, key=self._shown(name, default), on_change=self._change(name))

    def _key(self, name: str) -> str:
        return f"{self._draft.use}-{name}"

    def _shown(self, name: str, default: Any) -> str:
        return session.showing(self._key(name), self._draft.words.get(name, default))

    def _change(self, name: str) -> Any:
        return drafts.changer(self._draft.use, name, self._key(name))
