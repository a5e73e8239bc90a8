"""The way up from a view of the shelf."""

from __future__ import annotations

import streamlit as st

from app.state import address
from app.widgets import look


def show(label: str, to: str = "", record: int | None = None) -> None:
    """The way up."""
    st.button(f"‹ {look.plain(label)}", key="back", on_click=address.go, args=(to, record))
