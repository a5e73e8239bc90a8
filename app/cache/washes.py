"""Rankings of washes for a photo, with the paints of the shelf."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from app.cache.errors_as_values import returns_errors, unwrap
from app.cache.keys import Aim, LibraryState, MarkedPhoto
from app.cache.photos import reading
from app.cache.shelf import workshop
from colormatch import repair
from colormatch.check import judge
from colormatch.records import Lab, Layer, Limits, Match

if TYPE_CHECKING:
    from colormatch.check.next_step import NextStep
    from colormatch.match.spots import SpotsMatch


@st.cache_data(max_entries=32, show_spinner=False)
@returns_errors
def ranking(marked: MarkedPhoto, held: LibraryState, limits: Limits, aim: Aim, states: repair.States) -> Match:
    """The washes for a repair, best first."""
    read, shelf = unwrap(reading(marked)), workshop(held)
    if aim.kept is None:
        return repair.match_repair(read, shelf, limits, aim.shift, states)
    return repair.match_kept(aim.kept, read, shelf, limits, aim.shift, aim.uncertainty, states)


@st.cache_data(max_entries=8, show_spinner=False)
@returns_errors
def spots(
    marked: MarkedPhoto, held: LibraryState, limits: Limits, shift: tuple[str, float] | None, states: repair.States
) -> SpotsMatch:
    """Washes for several damaged spots: for each alone, and for all of them."""
    return repair.match_spots(unwrap(reading(marked)), workshop(held), limits, shift, states)


@st.cache_data(max_entries=16, show_spinner=False)
@returns_errors
def grain(
    marked: MarkedPhoto, held: LibraryState, limits: Limits, layers: tuple[Layer, ...], states: repair.States
) -> Match | None:
    """Washes for drawing grain lines over a wash; None if the sound wood shows no lines."""
    return repair.match_grain(unwrap(reading(marked)), layers, workshop(held), limits, states)


@st.cache_data(max_entries=16, show_spinner=False)
@returns_errors
def what_next(
    marked: MarkedPhoto, held: LibraryState, limits: Limits, painted: tuple[Layer, ...], before: Lab | None
) -> tuple[NextStep, ...]:
    """All options for a dried repair, best first."""
    return judge.what_next(unwrap(reading(marked)), workshop(held), limits, painted, before)
