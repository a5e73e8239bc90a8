"""Data of a photo: its pixels, its card, its colors."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app.cache.errors_as_values import returns_errors, unwrap
from app.cache.keys import MarkedPhoto, Reference
from colormatch import repair
from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.records import CameraPhoto, Card, CardKind, Development, Photo, Reading
from colormatch.reference.camera import LearnedCamera, Shot
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.known_colors import tie_to_chips, unless_contradicted
from colormatch.reference.neutral import Neutral, find_neutral, locate
from colormatch.reference.teach import learned_camera, shot_of


@st.cache_resource(max_entries=2, show_spinner=False)
def decoded(path: Path) -> DecodedPhoto:
    """A photo's pixels."""
    return open_photo(path)


@st.cache_data(max_entries=64, show_spinner=False)
def facts(path: Path) -> Photo:
    """What is known of a photo besides its pixels."""
    return decoded(path).facts


def size(path: Path) -> tuple[int, int]:
    """Width and height of a photo, upright."""
    return facts(path).width, facts(path).height


@st.cache_data(max_entries=8, show_spinner=False)
@returns_errors
def card_in(path: Path, kind: CardKind = CardKind.GRAY) -> Card:
    """The card of a kind, found automatically."""
    return locate(decoded(path), CardChoice(kind))


@st.cache_resource(max_entries=8, show_spinner=False)
@returns_errors
def neutral(path: Path, reference: Reference) -> Neutral:
    """The correction by the card, white areas and shop chips."""
    photo = decoded(path)
    through = learned(reference.taught) if reference.taught else None
    by_card = find_neutral(photo, reference.card, reference.white, through)
    sure = unless_contradicted(photo, by_card, reference.known)
    return tie_to_chips(photo, sure, reference.chips, reference.settled)


@st.cache_resource(max_entries=8, show_spinner=False)
def learned(taught: tuple[CameraPhoto, ...]) -> LearnedCamera:
    """The camera that photos of it in one light have taught."""
    one = taught[0]
    found = learned_camera(taught, one.camera, one.development is Development.RAW, one.light)
    assert found is not None
    return found


@st.cache_resource(max_entries=4, show_spinner=False)
@returns_errors
def shot(path: Path, card: CardChoice) -> Shot:
    """What a photo teaches of its camera."""
    return shot_of(decoded(path), card)


@st.cache_data(max_entries=32, show_spinner=False)
@returns_errors
def reading(marked: MarkedPhoto) -> Reading:
    """The colors of the marked surfaces."""
    by = unwrap(neutral(marked.path, marked.reference))
    return repair.read_regions(decoded(marked.path), by, marked.regions)
