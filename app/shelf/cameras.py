"""Teach it your phone: one photo of a chart, and what is known of each camera."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import streamlit as st

from app import cache
from app.shelf import draft as drafts
from app.shelf import photo_side, things, way_up
from app.shelf.draft import Draft
from app.shelf.word_fields import WordFields
from app.state import cameras, session
from app.state.library import library_state, open_library
from app.widgets import look
from app.widgets.reference_form import CARD_KINDS
from colormatch.errors import ColorMatchError
from colormatch.lessons import KnownCamera, forget, photos_word, teach
from colormatch.records import CameraPhoto, CardKind, Development, LightKind, RegionKind
from colormatch.reference.camera import LearnedCamera
from colormatch.reference.teach import camera_photo

_USE = "camera"
_KINDS = {kind: CARD_KINDS[kind] for kind in (CardKind.CHART24, CardKind.THREE_STEP)}
_WORDS = {
    CardKind.CHART24: ("Chart", "Chart", "the whole chart; then pull each corner of the mark onto a corner patch"),
    CardKind.THREE_STEP: ("Card", "Card", "all three steps, from corner to corner"),
}
_TAKEN_AS = {Development.DEVELOPED: "developed by the camera", Development.RAW: "camera raw"}


def show() -> None:
    """The view."""
    way_up.show("Your paints")
    things.tabs("cameras")
    st.header("Teach it your phone")
    known = cache.cameras(library_state())
    draft = _draft()
    if draft.photo:
        _lesson(draft)
    else:
        st.write(
            "Every phone changes colors in its own way. From one photo of a 24-patch chart, in the light that you "
            "work in, the program learns how yours does, and corrects later photos from that phone that have only a "
            "gray card. From a three-step card it learns only the tones."
        )
        photo_side.choose(_USE, "the photo of the chart")
    if known:
        st.subheader("What it has learned")
        for number, one in enumerate(known):
            _row(number, one)


def _draft() -> Draft:
    """What is held, with a card that can teach."""
    draft = drafts.held(_USE)
    return draft if draft.card_kind in _KINDS else replace(draft, card_kind=CardKind.CHART24)


# --- one photo -------------------------------------------------------------------------------------------------------


def _lesson(draft: Draft) -> None:
    path = open_library().photos.path(draft.photo)
    with st.spinner("Opening the photo"):
        cache.as_taken(path)
    draft = photo_side.with_card(draft, path)
    photo_column, word_column = st.columns([5, 3], gap="medium")
    with photo_column:
        cornered = RegionKind.CARD if draft.card_kind is CardKind.CHART24 else None
        words = {RegionKind.CARD: _WORDS[draft.card_kind]}
        photo_side.mark(draft, path, (RegionKind.CARD,), words, cornered)
    with word_column:
        if not draft.has_card:
            photo_side.ask_for_card(draft, path)
        else:
            _teach(draft, path)
        with st.expander("Card and photo", key="camera-card", expanded=not draft.has_card):
            photo_side.card_settings(draft, _KINDS)


def _teach(draft: Draft, path: Path) -> None:
    facts = cache.facts(path)
    if not facts.taken_with:
        st.error(
            "The file doesn't name its camera, so the program could not recognize its later photos. Copy the photo as "
            "the phone stored it, not through a messaging app."
        )
        return
    try:
        with st.spinner("Reading the card"):
            shot = cache.shot(path, draft.reference().card)
    except ColorMatchError as error:  # the card's value as it was typed
        shot = error
    if isinstance(shot, ColorMatchError):
        st.error(look.plain(str(shot)))
        return
    options = {light: look.capital(words) for light, words in cameras.LIGHTS.items()}
    light = LightKind(WordFields(draft).pick("It was taken in", "light", options))
    lesson = camera_photo(facts, shot, facts.taken_with, light)
    try:
        alone = cache.learned((lesson,))
    except ColorMatchError as error:
        st.error(look.plain(str(error)))
        return
    look.facts(
        [("Camera", f"{facts.taken_with}, {_TAKEN_AS[lesson.development]}."), ("From this photo", _worth(alone))]
    )
    st.button("Learn from this photo", key="learn-camera", type="primary", on_click=_learn, args=(lesson,))


def _learn(lesson: CameraPhoto) -> None:
    with session.telling():
        new = teach(open_library(), [lesson])
        photo_side.forget(_USE)
        said = f"Learned: photos of {lesson.camera} in {cameras.LIGHTS[lesson.light]}"
        session.say(
            look.plain(f"{said}. Undo takes it back." if new else "The program had already learned from that photo.")
        )


# --- what is known ---------------------------------------------------------------------------------------------------


def _worth(learned: LearnedCamera) -> str:
    """What a learned camera does for a later photo with a gray card."""
    if not learned.helps:
        return (
            f"A gray card alone works as well: it leaves ΔE {learned.one_gray:.1f} on average, and "
            f"{learned.expected:.1f} with this camera. The lesson is kept but not used."
        )
    return (
        f"A photo with only the gray card will be off by ΔE {learned.expected:.1f} on average instead of "
        f"{learned.one_gray:.1f}, as tested on patches that it hadn't learned from."
    )


def _row(number: int, known: KnownCamera) -> None:
    with st.container(horizontal=True, gap="small", vertical_alignment="center", key=f"camera-row-{number}"):
        taken = f"{look.capital(cameras.LIGHTS[known.light])}, {_TAKEN_AS[known.development]}"
        told = f"{taken}, {photos_word(len(known.photos))}. {_worth(known.learned)}"
        st.markdown(f"**{look.plain(known.camera)}**  \n{look.plain(told)}")
        st.button("Forget", key=f"forget-camera-{number}", on_click=_forget, args=(known,))


def _forget(known: KnownCamera) -> None:
    with session.telling():
        forget(open_library(), known.photos)
