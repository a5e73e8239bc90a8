"""The library and its shelf."""

from __future__ import annotations

from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

import streamlit as st

from app.cache.keys import LibraryState
from colormatch.check import learn
from colormatch.lessons import KnownCamera, known_cameras
from colormatch.library import Library, Stored
from colormatch.library.columns import R
from colormatch.library.rows import Spoiled
from colormatch.records import CameraPhoto, Ground, Lab, Swatch
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


@st.cache_resource(max_entries=2, show_spinner=False)
def cameras(held: LibraryState) -> list[KnownCamera]:
    """What the library knows of cameras."""
    return known_cameras(Library(held.folder).all(CameraPhoto))


class Fitting(Thread):
    """The shelf's paints as they are fitted."""

    def __init__(self, held: LibraryState) -> None:
        super().__init__(name=f"fits for {held.stamp}", daemon=True)
        self._folder = held.folder
        self._opened: Workshop | Exception | None = None
        #: Paints that are fitted, and all that have swatches.
        self.done, self.count = 0, 0
        self.start()

    def run(self) -> None:
        try:
            self._opened = open_workshop(self._folder, self._tell)
        except Exception as error:  # told where the fits are asked for
            self._opened = error

    def _tell(self, done: int, count: int) -> None:
        self.done, self.count = done, count

    def workshop(self) -> Workshop:
        """The shelf, once all are fitted.

        Raises
        ------
        ColorMatchError
            See `open_workshop`.
        """
        self.join()
        assert self._opened is not None
        if isinstance(self._opened, Exception):
            raise self._opened
        return self._opened


@st.cache_resource(max_entries=1, show_spinner=False)
def fit_ahead(held: LibraryState) -> Fitting:
    """Begin to fit the shelf's paints, for example while somebody marks a photo."""
    return Fitting(held)


def workshop(held: LibraryState) -> Workshop:
    """The shelf with its paints fitted."""
    try:
        return fit_ahead(held).workshop()
    except Exception:
        fit_ahead.clear(held)  # it is tried again: the disk may be back by then
        raise


@st.cache_data(max_entries=16, show_spinner=False)
def paint_grid(held: LibraryState, paint: str, ground: Lab, uncertainty: float) -> WashGrid:
    """The washes of one paint over a wood, ratio by coats."""
    return grid_over(workshop(held), paint, ground, uncertainty)


@st.cache_data(max_entries=16, show_spinner=False)
def lesson(swatch: Swatch, others: tuple[Swatch, ...], kind: str) -> Lesson:
    """What a swatch teaches about its paint, of a kind."""
    return learn.lesson(swatch, others, kind)
