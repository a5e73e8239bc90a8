"""The shelf with its paints fitted; a bar tells how far that is, which takes long once for a large shelf."""

from __future__ import annotations

import streamlit as st

from app import cache
from app.state.library import library_state
from colormatch.workshop import Workshop

#: How often the bar moves, seconds.
_LOOK_S = 0.2


def workshop() -> Workshop:
    """The shelf in use, made ready for matching.

    Raises
    ------
    ColorMatchError
        The library can't be read.
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
