"""Where in the shelf's pages somebody is. The address says it, so a reload and the Back button find it again."""

from __future__ import annotations

import streamlit as st

from app.state import session

#: Names in the address: which view of the shelf, and of which record.
_VIEW, _NUMBER = "view", "number"


def view() -> str:
    """Which view is open; empty for the shelf itself."""
    return st.query_params.get(_VIEW, "")


def number() -> int | None:
    """The record that the view shows, if it shows one."""
    text = st.query_params.get(_NUMBER, "")
    return int(text) if session.is_number(text) else None


def go(to: str = "", record: int | None = None) -> None:
    """Open a view: the callback of a button."""
    here = {_VIEW: to, _NUMBER: "" if record is None else str(record)}
    # In one go: each change by itself would be a step of the Back button.
    st.query_params.from_dict({name: value for name, value in (st.query_params.to_dict() | here).items() if value})
