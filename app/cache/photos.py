"""What a photo holds: its pixels, its card, its colors."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app.cache.errors_as_values import returns_errors, unwrap
from app.cache.keys import MarkedPhoto, Reference
from colormatch import repair
from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.records import Card, CardKind, Reading
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.known_colors import tie_to_chips
from colormatch.reference.neutral import Neutral, find_neutral, locate


@st.cache_resource(max_entries=2, show_spinner=False)
def decoded(path: Path) -> DecodedPhoto:
    """A photo's pixels."""
    return open_photo(path)


@st.cache_data(max_entries=64, show_spinner=False)
def size(path: Path) -> tuple[int, int]:
    """Width and height of a photo, upright."""
    facts = decoded(path).facts
    return facts.width, facts.height


@st.cache_data(max_entries=8, show_spinner=False)
@returns_errors
def card_in(path: Path, kind: CardKind = CardKind.GRAY) -> Card:
    """The card of a kind as the program finds it."""
    return locate(decoded(path), CardChoice(kind))


@st.cache_resource(max_entries=8, show_spinner=False)
@returns_errors
def neutral(path: Path, reference: Reference) -> Neutral:
    """The correction that follows from the card, white places and shop chips."""
    photo = decoded(path)
    by_card = find_neutral(photo, reference.card, reference.white)
    return tie_to_chips(photo, by_card, reference.chips, reference.settled)


@st.cache_data(max_entries=32, show_spinner=False)
@returns_errors
def reading(marked: MarkedPhoto) -> Reading:
    """The colors of the marked surfaces."""
    by = unwrap(neutral(marked.path, marked.reference))
    return repair.read_regions(decoded(marked.path), by, marked.regions)
