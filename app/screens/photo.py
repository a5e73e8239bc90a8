"""Photo page: choose a photo, mark it, and see how reliable it is."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import streamlit as st

from app import cache
from app.cache.errors_as_values import unwrap
from app.repair.open_repair import OpenRepair, lacking
from app.screens import lesson, start
from app.server import pictures
from app.state import answers, session
from app.state.library import library_state, open_library
from app.widgets import look, reference_form
from app.widgets.found_card import why_not_found, with_card_looked_for
from app.widgets.photo_words import PATCHES, doubts, judged
from app.widgets.region_editor import RARE, USUAL, region_editor
from app.widgets.states import DRY_STATES
from colormatch.errors import ColorMatchError
from colormatch.records import CardKind, RegionKind, SurfaceState

#: Option for a surface that was wet in the photo; its other state doesn't matter yet.
_WET = "wet"
_STATES: dict[SurfaceState | str, str] = dict([*DRY_STATES.items(), (_WET, "Still wet")])
_TAKEN, _BALANCED = "As the camera took it", "White-balanced by the card"
#: Instructions for marking each kind of card, for the help line and the next step.
_MARK = {
    CardKind.GRAY: ("the card", "drag across it, well inside its edges."),
    CardKind.THREE_STEP: ("the whole card", "drag across all three steps, from corner to corner."),
    CardKind.CHART24: (
        "the whole chart",
        "drag across it; then pull each corner of the mark onto the outer corner of a corner patch.",
    ),
    CardKind.PAPER: ("the white paper", "drag across a plain part of it."),
    CardKind.CARDBOARD: ("the white cardboard", "drag across a plain part of it."),
    CardKind.PIECE: ("the second piece", "drag across the part that has the known color."),
}


def show() -> None:
    """The page."""
    repair = session.current()
    if not repair.photo:
        start.show()
        return
    cache.fit_ahead(library_state())
    path = open_library().photos.path(repair.photo)
    with st.spinner("Opening the photo"):
        size = cache.size(path)
        cache.as_taken(path)
    repair = _search_card(repair, path)
    photo_side, word_side = st.columns([5, 3], gap="medium")
    with photo_side:
        _photo(repair, path, size)
    with word_side:
        _next_step(repair, path)
        try:
            _judge(repair, path)
        except ColorMatchError as error:  # perhaps of a card that isn't what the settings say
            st.error(look.plain(str(error)))
        _settings(repair, path)


def _photo(repair: OpenRepair, path: Path, size: tuple[int, int]) -> None:
    """The photo with its marks; shown before anything is read in it, so that it appears soon."""
    source = cache.as_taken(path)
    marked = repair.has_card and repair.card_kind is not CardKind.NONE
    view = st.segmented_control(
        "Show the photo",
        (_TAKEN, _BALANCED),
        default=_TAKEN,
        key="view",
        label_visibility="collapsed",
        disabled=not marked,
    )
    if marked and view == _BALANCED:
        with suppress(ColorMatchError):  # reported beside the photo
            source = cache.balanced(path, answers.reference(repair))
    what = _MARK.get(repair.card_kind, _MARK[CardKind.GRAY])[0]
    region_editor(
        pictures.publish(source),
        size,
        repair.edit,
        session.take_edit,
        kinds=USUAL[1:] if repair.card_kind is CardKind.NONE else USUAL,
        more=RARE,
        words={RegionKind.CARD: ("Card", "Card", what)},
        cornered=RegionKind.CARD if repair.card_kind is CardKind.CHART24 else None,
    )


def _search_card(repair: OpenRepair, path: Path) -> OpenRepair:
    if repair.searched or repair.card_kind is CardKind.NONE:
        return repair
    return session.keep(with_card_looked_for(repair, path, repair.card_kind), undoable=False)


def _judge(repair: OpenRepair, path: Path) -> None:
    """What the photo is good for; nothing while its card isn't marked.

    Raises
    ------
    ColorMatchError
        It can't be read.
    """
    if not repair.has_card:
        return
    with st.spinner("Reading the colors"):
        reading = unwrap(answers.read(repair, repair.surfaces))
    rows = judged(repair, reading)
    st.subheader("What this photo is good for")
    look.cautions(doubts(reading, [(sample.name, sample) for sample in reading.samples]))
    look.facts(rows)
    lesson.show(repair, path, reading)


def _next_step(repair: OpenRepair, path: Path) -> None:
    """The next thing to do."""
    sound = len(repair.of_kind(RegionKind.SOUND))
    if not repair.has_card:
        st.subheader("Mark the card")
        why = look.plain(why_not_found(path, repair.card_kind))
        st.write(
            f"{why} Choose Card above the photo and {_MARK[repair.card_kind][1]} "
            f"If the photo has no card, set Card in the photo to {reference_form.CARD_KINDS[CardKind.NONE]}."
        )
    elif sound < PATCHES and repair.aim.kept is None:
        st.subheader(f"Mark sound wood: {sound} of {PATCHES} patches")
        st.write(
            "Choose Sound wood above the photo and drag across three or more patches around the damage, in the same "
            "light. Wood differs from place to place, so a single patch doesn't show how reliable its color is."
        )
    elif not repair.of_kind(RegionKind.DAMAGE):
        st.subheader("Mark the damage")
        st.write("Choose Damage above the photo and draw around what the wash has to cover, without the sound edges.")
    elif lacking(repair):
        st.subheader("Let it dry first")
        st.write(lacking(repair))
    else:
        st.subheader("Everything is marked")
        with st.container(key="go"):
            st.page_link("screens/match.py", label="Find the wash", query_params=session.link())


def _settings(repair: OpenRepair, path: Path) -> None:
    st.subheader("Card and wood")
    reference_form.card_form(repair)
    reference_form.chip_form(repair)
    reference_form.camera_form(repair, path)
    _state("The sound wood is", repair, "sound")
    _state("The damage is", repair, "damage")
    if repair.sound_state is not repair.damage_state:
        st.warning(
            "The surfaces are in different states. A sealer or a top coat darkens wood, so bring the damage to the "
            "same state as the sound wood before you photograph it."
        )
    st.button("Start another repair", key="another", on_click=session.leave)


def _state(label: str, repair: OpenRepair, surface: str) -> None:
    key = f"{surface}_state-{repair.id}"
    wet = getattr(repair, f"{surface}_wet")
    st.selectbox(
        label,
        list(_STATES),
        format_func=_STATES.__getitem__,
        key=session.showing(key, _WET if wet else getattr(repair, f"{surface}_state")),
        on_change=_take_state,
        args=(key, surface),
    )


def _take_state(key: str, surface: str) -> None:
    chosen = session.widget_value(key)
    if chosen == _WET:
        session.change(**{f"{surface}_wet": True})
    else:
        session.change(**{f"{surface}_wet": False, f"{surface}_state": chosen})


show()
