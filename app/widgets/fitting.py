"""Fit the shelf's paints, with a progress bar, since the first fit of a large shelf takes long."""

from __future__ import annotations

import streamlit as st

from app import cache
from app.state.library import library_state
from colormatch.workshop import Workshop

#: Interval between updates of the bar, seconds.
_LOOK_S = 0.2


def workshop() -> Workshop:
    """The current shelf, ready for matching.

    Raises
    ------
    ColorMatchError
        The library is unreadable.
    """
    held = library_state()
    fitting = cache.fit_ahead(held)
    fitting.join(_LOOK_S)
    if fitting.is_alive():
        bar = st.progress(0.0)
        while fitting.is_alive():
            done, count = fitting.done, max(1, fitting.count)
            bar.progress(done / count, f"Fitting your paints: {done} of {count}")
            fitting.join(_LOOK_S)
        bar.empty()
    return cache.workshop(held)
