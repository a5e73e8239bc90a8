"""The library and its shelf."""

from __future__ import annotations

import contextlib
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

import streamlit as st

from app.cache.keys import LibraryState
from colormatch.check import learn
from colormatch.errors import ColorMatchError
from colormatch.library import Library, Stored
from colormatch.library.columns import R
from colormatch.library.rows import Spoiled
from colormatch.records import Ground, Lab, Swatch
from colormatch.workshop import Workshop, grid_over, known_grounds, open_workshop

if TYPE_CHECKING:
    from colormatch.check.learn import Lesson
    from colormatch.match.grid import WashGrid


@st.cache_resource(show_spinner=False)
def library(folder: Path) -> Library:
    """The library, opened (and brought up to date) once."""
    return Library.open(folder)


@st.cache_resource(max_entries=12, show_spinner=False)
def stored(held: LibraryState, kind: type[R]) -> tuple[Stored[R], ...]:
    """Every record of a kind."""
    return Library(held.folder).all(kind)


@st.cache_resource(max_entries=2, show_spinner=False)
def spoiled(held: LibraryState) -> tuple[Spoiled, ...]:
    """Every damaged record."""
    return Library(held.folder).spoiled()


@st.cache_resource(max_entries=2, show_spinner=False)
def grounds(held: LibraryState) -> list[Ground]:
    """Every wood or card with a name."""
    return known_grounds(Library(held.folder))


@st.cache_resource(max_entries=1, show_spinner=False)
def workshop(held: LibraryState) -> Workshop:
    """The shelf with its paints fitted."""
    return open_workshop(held.folder)


@st.cache_resource(max_entries=1, show_spinner=False)
def fit_ahead(held: LibraryState) -> Thread:
    """Fit the shelf's paints while somebody marks a photo; the library remembers the fits for :func:`workshop`."""

    def fit() -> None:
        with contextlib.suppress(ColorMatchError):  # told where the fits are asked for
            open_workshop(held.folder)

    thread = Thread(target=fit, name=f"fits for {held.stamp}", daemon=True)
    thread.start()
    return thread


@st.cache_data(max_entries=16, show_spinner=False)
def paint_grid(held: LibraryState, paint: str, ground: Lab, uncertainty: float) -> WashGrid:
    """The washes of one paint over a wood, ratio by coats."""
    return grid_over(workshop(held), paint, ground, uncertainty)


@st.cache_data(max_entries=16, show_spinner=False)
def lesson(swatch: Swatch, others: tuple[Swatch, ...], kind: str) -> Lesson:
    """What a swatch teaches about its paint, of a kind."""
    return learn.lesson(swatch, others, kind)
