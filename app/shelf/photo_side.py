"""The photo for reading swatches: choose it, show it, mark it, set its card."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import streamlit as st

from app import cache
from app.cache import MarkedPhoto
from app.repair.marks import FOUND
from app.server import pictures
from app.shelf import draft as drafts
from app.shelf import typed
from app.shelf.draft import Draft
from app.state import cameras, session
from app.widgets import look, photo_files, photo_words
from app.widgets.found_card import why_not_found, with_card_looked_for
from app.widgets.reference_form import CARD_KINDS, value_form
from app.widgets.region_editor import Words, region_editor
from colormatch import repair as job
from colormatch.errors import ColorMatchError
from colormatch.records import CardKind, RegionKind, Sample


def choose(use: str, what: str) -> None:
    """Let the user choose a photo."""
    label = f"Choose {what}, or drop it here: {photo_files.FORMS}"
    photo_files.choose(label, f"{use}-file", lambda photo, _: _take(use, photo))
    photo = session.current().photo
    if photo:
        st.button("Use the photo of the open repair", key=f"{use}-of-repair", on_click=_take, args=(use, photo))


def _take(use: str, photo: str) -> None:
    before = drafts.held(use)
    drafts.keep(Draft(use, photo=photo, card_kind=before.card_kind, card_value=before.card_value, words=before.words))


def forget(use: str) -> None:
    """Discard the photo; the card's settings and all input stay for the next one."""
    with session.telling():
        _take(use, "")


def with_card(draft: Draft, path: Path) -> Draft:
    """The draft with the card found by the program, searched once per photo and kind."""
    if draft.searched or draft.has_card:
        return draft
    draft = with_card_looked_for(draft, path, draft.card_kind)
    drafts.keep(draft, undoable=False)
    return draft


def mark(
    draft: Draft,
    path: Path,
    kinds: Sequence[RegionKind],
    words: Mapping[RegionKind, Words],
    cornered: RegionKind | None = None,
) -> None:
    """Show the photo for marking."""
    region_editor(
        pictures.publish(cache.as_taken(path)),
        cache.size(path),
        draft.edit,
        drafts.taker(draft.use),
        key=f"regions-{draft.use}",
        kinds=[kind for kind in kinds if kind is not RegionKind.CARD or draft.card_kind is not CardKind.NONE],
        words=words,
        cornered=cornered,
        on_undo=drafts.undoer(draft.use),
    )


def ask_for_card(draft: Draft, path: Path) -> None:
    """Ask the user to mark the card, with the reason."""
    st.subheader("Mark the card")
    why = look.plain(why_not_found(path, draft.card_kind))
    st.write(f"{why} Choose Card above the photo and drag across it, inside its edges.")


def _change_kind(use: str, key: str) -> None:
    """Change the kind of card; a mark found for the old kind is discarded."""
    with session.telling():
        draft = drafts.held(use)
        regions = [region for region in draft.regions if region.kind is not RegionKind.CARD or region.name != FOUND]
        drafts.keep(replace(draft.with_regions(*regions), card_kind=session.widget_value(key), searched=False))


def samples(draft: Draft, path: Path, words: Mapping[RegionKind, Words]) -> dict[RegionKind, Sample]:
    """Samples of each marked kind of surface, in the kinds' order, with their quality in words."""
    surfaces = tuple(replace(region, name=words[kind][0]) for kind in words for region in draft.of_kind(kind))
    if not draft.has_card or not surfaces:
        return {}
    try:
        with st.spinner("Reading the colors"):
            by_card = replace(draft.reference(), taught=cameras.through(path, draft.through))
            reading = cache.reading(MarkedPhoto(path, by_card, surfaces))
    except ColorMatchError as error:  # the card's value as it was typed
        reading = error
    if isinstance(reading, ColorMatchError):
        st.error(look.plain(str(reading)))
        return {}
    found = {kind: job.surface(reading, kind) for kind in words if draft.of_kind(kind)}
    rows = [
        (
            f"{words[kind][0]}, L* a* b*",
            f"{typed.color_text(typed.told(sample.lab))}. Accurate to ΔE {sample.uncertainty:.1f}, nine times in ten.",
        )
        for kind, sample in found.items()
    ]
    look.cautions(photo_words.doubts(reading, [(words[kind][0], sample) for kind, sample in found.items()]))
    look.facts(rows)
    return found


def card_settings(draft: Draft, kinds: Mapping[CardKind, str] = CARD_KINDS) -> None:
    """What the card is, of some kinds, and another photo."""
    use, key = draft.use, f"{draft.use}-card-kind"
    st.selectbox(
        "Card in the photo",
        list(kinds),
        format_func=kinds.__getitem__,
        key=session.showing(key, draft.card_kind),
        on_change=_change_kind,
        args=(use, key),
    )
    if draft.card_kind is not CardKind.NONE:
        key = f"{use}-card-value"
        value_form(draft.card_kind, draft.card_value, key, drafts.field_changer(use, "card_value", key))
    st.button("Take another photo", key=f"{use}-another", on_click=forget, args=(use,))
