"""Link from a view of the shelf to the view above."""

from __future__ import annotations

import streamlit as st

from app.state import address
from app.widgets import look


def show(label: str, to: str = "", record: int | None = None) -> None:
    """Show the link."""
    st.button(f"‹ {look.plain(label)}", key="back", on_click=address.go, args=(to, record))
