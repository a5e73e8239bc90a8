"""The only file that touches ``st.session_state``."""

from __future__ import annotations

from typing import Any

import streamlit as st


def widget_value(key: str) -> Any:
    """What the widget of that key holds, for a callback."""
    return st.session_state[key]
