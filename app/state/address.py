"""The view of the shelf, stored in the page's address, so that a reload and the Back button restore it."""

from __future__ import annotations

import streamlit as st

from app.state import session

#: Query parameters for the view of the shelf, and for the record in it.
_VIEW, _NUMBER = "view", "number"


def view() -> str:
    """The open view; empty for the shelf itself."""
    return st.query_params.get(_VIEW, "")


def number() -> int | None:
    """Number of the record in the view, if any."""
    text = st.query_params.get(_NUMBER, "")
    return int(text) if session.is_number(text) else None


def go(to: str = "", record: int | None = None) -> None:
    """Open a view; a button's callback."""
    here = {_VIEW: to, _NUMBER: "" if record is None else str(record)}
    # All at once: each separate change would be a step of the Back button.
    st.query_params.from_dict({name: value for name, value in (st.query_params.to_dict() | here).items() if value})
