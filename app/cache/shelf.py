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
    """The library, opened (and migrated) once."""
    return Library.open(folder)


@st.cache_resource(max_entries=12, show_spinner=False)
def stored(held: LibraryState, kind: type[R]) -> tuple[Stored[R], ...]:
    """All records of a kind."""
    return Library(held.folder).all(kind)


@st.cache_resource(max_entries=2, show_spinner=False)
def spoiled(held: LibraryState) -> tuple[Spoiled, ...]:
    """All damaged records."""
    return Library(held.folder).spoiled()


@st.cache_resource(max_entries=2, show_spinner=False)
def grounds(held: LibraryState) -> list[Ground]:
    """All named woods and cards."""
    return known_grounds(Library(held.folder))


@st.cache_resource(max_entries=2, show_spinner=False)
def cameras(held: LibraryState) -> list[KnownCamera]:
    """What the library knows of cameras."""
    return known_cameras(Library(held.folder).all(CameraPhoto))


class Fitting(Thread):
    """Background thread that fits the shelf's paints."""

    def __init__(self, held: LibraryState) -> None:
        super().__init__(name=f"fits for {held.stamp}", daemon=True)
        self._folder = held.folder
        self._opened: Workshop | Exception | None = None
        #: Number of fitted paints; number of paints with swatches.
        self.done, self.count = 0, 0
        self.start()

    def run(self) -> None:
        try:
            self._opened = open_workshop(self._folder, self._tell)
        except Exception as error:  # reported where the fits are used
            self._opened = error

    def _tell(self, done: int, count: int) -> None:
        self.done, self.count = done, count

    def workshop(self) -> Workshop:
        """The shelf, after waiting for all fits.

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
    """Start fitting the shelf's paints, for example while the user marks a photo."""
    return Fitting(held)


def workshop(held: LibraryState) -> Workshop:
    """The shelf with fitted paints."""
    try:
        return fit_ahead(held).workshop()
    except Exception:
        fit_ahead.clear(held)  # try again: the disk may be back
        raise


@st.cache_data(max_entries=16, show_spinner=False)
def paint_grid(held: LibraryState, paint: str, ground: Lab, uncertainty: float) -> WashGrid:
    """Grid of ratio by coats for one paint over a wood."""
    return grid_over(workshop(held), paint, ground, uncertainty)


@st.cache_data(max_entries=16, show_spinner=False)
def lesson(swatch: Swatch, others: tuple[Swatch, ...], kind: str) -> Lesson:
    """Effect of a swatch on the model of its paint."""
    return learn.lesson(swatch, others, kind)
