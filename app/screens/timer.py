"""A countdown on the page: the Python side of ``timer.js``. The repair stores its end, so a reload changes nothing."""

from __future__ import annotations

import time
from pathlib import Path

import streamlit as st

_HERE = Path(__file__).parent

_component = st.components.v2.component(
    "colormatch_timer",
    html='<div class="timer" role="timer"><span class="left"></span><span class="until"></span></div>',
    css=(_HERE / "timer.css").read_text(encoding="utf-8"),
    js=(_HERE / "timer.js").read_text(encoding="utf-8"),
)


def now_ms() -> int:
    """The current time, milliseconds since 1970."""
    return int(time.time() * 1000)


def timer(ends: int, until: str, key: str, *, small: bool = False) -> None:
    """Count down to a moment.

    Parameters
    ----------
    ends : int
        Milliseconds since 1970, by this machine's clock.
    until : str
        What to show beside it, such as "until 16:40".
    key : str
    small : bool
        For a timer of another repair.
    """
    # The browser gets the remaining time, not only the end: a phone's clock may differ from this one.
    _component(key=key, data={"ends": ends, "now": now_ms(), "until": until, "small": small})
