"""Swatch view: make one swatch from a photo of bare wood and dried wash beside the card."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import streamlit as st

from app import cache
from app.repair import work
from app.shelf import draft as drafts
from app.shelf import photo_side, typed, way_up, woods
from app.shelf.draft import Draft
from app.shelf.word_fields import WordFields
from app.state import address, session
from app.state.library import open_library
from app.widgets import chips, look
from app.widgets.states import STATES
from colormatch.errors import BadInput
from colormatch.library import Library
from colormatch.records import Paint, RegionKind, Sample
from colormatch.sheet.read import keep_swatches
from colormatch.sheet.swatches import PaintedPatch, swatch_of
from colormatch.workshop import ground_named

_USE = "patch"
_WORDS = {
    RegionKind.SOUND: ("Bare wood", "Bare", "a patch of the bare wood"),
    RegionKind.PATCH: ("Dried wash", "Wash", "the dried wash, well inside its edges"),
}


def show() -> None:
    """The view; its number may name the paint."""
    library, number = open_library(), address.number()
    paint = None if number is None else library.get(Paint, number)
    way_up.show(paint.name if paint else "Your paints", "paint" if paint else "", number)
    st.header(f"A swatch of {look.plain(paint.name)} from a photo" if paint else "A swatch from a photo")
    draft = drafts.held(_USE)
    if not draft.photo:
        st.write(
            "Let the wash dry. Lay the gray card beside it, so that the photo shows card, bare wood and dried wash in "
            "one even light without shine, from directly above."
        )
        photo_side.choose(_USE, "the photo")
        return
    path = library.photos.path(draft.photo)
    with st.spinner("Opening the photo"):
        cache.as_taken(path)
    draft = photo_side.with_card(draft, path)
    photo_column, word_column = st.columns([5, 3], gap="medium")
    with photo_column:
        photo_side.mark(draft, path, (RegionKind.CARD, *_WORDS), _WORDS)
    with word_column:
        _next_step(draft, path)
        samples = photo_side.samples(draft, path, _WORDS)
        if len(samples) == len(_WORDS):
            bare, wash = samples.values()
            st.html(look.edge_to_edge(bare.lab, wash.lab, ("Bare wood", "Dried wash")))
        _form(library, draft, paint, samples)
        with st.expander("Card and photo", key="patch-card"):
            photo_side.card_settings(draft)


def _next_step(draft: Draft, path: Path) -> None:
    if not draft.has_card:
        photo_side.ask_for_card(draft, path)
    elif not draft.of_kind(RegionKind.PATCH):
        st.subheader("Mark bare wood and dried wash")
        st.write(
            "Choose each above the photo and drag across it. Several patches of bare wood make the reading more "
            "reliable."
        )
    else:
        st.subheader("What was painted?")


# --- keep ------------------------------------------------------------------------------------------------------------


def _form(library: Library, draft: Draft, paint: Paint | None, samples: Mapping[RegionKind, Sample]) -> None:
    bare, wash = samples.get(RegionKind.SOUND), samples.get(RegionKind.PATCH)

    fields = WordFields(draft)
    if paint is None:
        names = sorted((one.record.name for one in library.all(Paint)), key=str.casefold)
        fields.pick_or_type("Paint", "paint", names)
    fields.text("Paint to water: full, 1:7, 25% …", "ratio")
    fields.pick("Coats", "coats", {count: str(count) for count in (1, 2, 3, 4)})
    fields.pick_or_type("Painted on", "ground", [wood.name for wood in woods.known()])
    fields.pick("That wood was", "state", STATES)
    if wash and not bare:
        st.write(
            "No bare wood is marked, so the program uses its color from the shelf. Marking it in this photo is more "
            "reliable."
        )
    st.button(
        "Keep the swatch",
        key="keep-patch",
        type="primary",
        disabled=wash is None,
        on_click=_keep,
        args=(paint.name if paint else None, bare, wash),
    )


def _keep(paint: str | None, bare: Sample | None, wash: Sample) -> None:
    with session.telling():
        library, draft = open_library(), drafts.held(_USE)
        marked = draft.of_kind(RegionKind.PATCH)
        paint = paint or session.widget_value("patch-paint")
        if not marked:  # pressed twice in quick succession: the swatch is already kept
            address.go("paint", _number(library, paint))
            return
        ground = session.widget_value("patch-ground")
        if not paint:
            raise BadInput("The name of the paint is missing.", "Choose it from your shelf, or type a new name.")
        if not ground:
            raise BadInput(
                "The ground it was painted on is missing.", "Choose a wood, or type a name such as light wood."
            )
        painted = PaintedPatch(
            paint,
            typed.ratio(session.widget_value("patch-ratio"), None),
            session.widget_value("patch-coats"),
            ground.strip(),
            session.widget_value("patch-state"),
            work.today(),
        )
        ground_lab = bare.lab if bare else ground_named(library, ground).lab
        swatch = swatch_of(painted, ground_lab, wash, draft.photo, marked[0])
        keep_swatches(library, [swatch], f"added the swatch of {paint}, {chips.wash_words(swatch)}")
        # The next wash in the same photo has the same card and wood.
        others = (region for region in draft.regions if region.kind is not RegionKind.PATCH)
        drafts.keep(drafts.with_words(draft.with_regions(*others), ratio=""))
        address.go("paint", _number(library, swatch.paint))


def _number(library: Library, paint: str) -> int:
    return next(one.id for one in library.all(Paint) if one.record.name == paint)
