"""Color view: read a wood, a shop chip, or a clear coat before and after, from a photo."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app import cache
from app.shelf import draft as drafts
from app.shelf import photo_side, way_up
from app.shelf.draft import Draft
from app.shelf.word_fields import WordFields
from app.state import address, session
from app.state.library import open_library
from app.widgets import look
from app.widgets.states import STATES
from colormatch.records import ClearCoatPair, Ground, RegionKind, Sample, ShopChip, SurfaceState
from colormatch.sheet.swatches import no_lighter_than_white

_USE = "color"
_AS = {"grounds": "A wood", "chips": "A shop chip", "clear-coats": "A clear coat, before and after"}
_ONE = {RegionKind.PATCH: ("Color", "Color", "the color to read, well inside its edges")}
_PAIR = {
    RegionKind.SOUND: ("Before", "Before", "the spot without clear coat"),
    RegionKind.PATCH: ("Sealed", "Sealed", "the spot with clear coat, dry and without shine"),
}


def show() -> None:
    """The view."""
    way_up.show("Woods, shop chips, clear coats", "grounds")
    st.header("A color from a photo")
    draft = drafts.held(_USE)
    if not draft.photo:
        st.write("Take one photo of it beside the gray card, in even light without shine, from directly above.")
        photo_side.choose(_USE, "the photo")
        return
    path = open_library().photos.path(draft.photo)
    with st.spinner("Opening the photo"):
        cache.decoded(path)
    draft = photo_side.with_card(draft, path)
    photo_column, word_column = st.columns([5, 3], gap="medium")
    with word_column:
        kept_as = WordFields(draft).pick("What is it?", "as", _AS)
        words = _PAIR if kept_as == "clear-coats" else _ONE
        if not draft.has_card:
            photo_side.ask_for_card(draft, path)
        _form(draft, path, kept_as, words)
        with st.expander("Card and photo", key="color-card"):
            photo_side.card_settings(draft)
    with photo_column:
        photo_side.mark(draft, path, (RegionKind.CARD, *words), words)


def _form(draft: Draft, path: Path, kept_as: str, words: dict[RegionKind, tuple[str, str, str]]) -> None:
    samples = photo_side.samples(draft, path, words)
    if len(samples) == 2:
        before, after = samples.values()
        st.html(look.edge_to_edge(before.lab, after.lab, ("Before", "Sealed")))
    fields = WordFields(draft)
    fields.text("Name", "name")
    if kept_as == "grounds":
        fields.pick("It is", "state", STATES)
    if kept_as == "clear-coats":
        fields.text("Applied to, such as bare wood or washed wood", "on", "bare wood")
    st.button(
        "Keep it",
        key="keep-color",
        type="primary",
        disabled=len(samples) < len(words),
        on_click=_keep,
        args=(kept_as, tuple(samples.values())),
    )


def _keep(kept_as: str, samples: tuple[Sample, ...]) -> None:
    with session.telling():
        words = drafts.held(_USE).words
        name, last = session.widget_value("color-name").strip(), samples[-1]
        radius = round(last.uncertainty, 2)
        record: Ground | ShopChip | ClearCoatPair
        if kept_as == "clear-coats":
            on = session.widget_value("color-on").strip()
            record = ClearCoatPair(name, no_lighter_than_white(samples[0].lab), no_lighter_than_white(last.lab), on)
        elif kept_as == "chips":
            record = ShopChip(name, no_lighter_than_white(last.lab), radius)
        else:
            state = SurfaceState(words.get("state", SurfaceState.BARE))
            record = Ground(name, no_lighter_than_white(last.lab), radius, state)
        open_library().add(record)
        photo_side.forget(_USE)
        address.go(kept_as)
