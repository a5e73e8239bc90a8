"""Check page: photos of the dried paint, the remaining difference, the next step, swatches to keep."""

from __future__ import annotations

from functools import partial

import streamlit as st

from app import cache
from app.repair.dried import PAINTED, REPAIR, STRIPS, DriedPhoto, PaintedWash
from app.repair.open_repair import OpenRepair, lacking
from app.screens import example, keeping, outcome
from app.server import pictures
from app.state import answers, session
from app.state.library import open_library
from app.widgets import look, photo_files, photo_words
from app.widgets.found_card import with_card_looked_for
from app.widgets.region_editor import region_editor
from app.widgets.states import DRY_STATES
from colormatch.check.compare import unlike
from colormatch.errors import ColorMatchError
from colormatch.records import CardKind, Reading, RegionKind, SurfaceState

_MODES = {REPAIR: "The dried repair", STRIPS: "Test strips"}
_LIGHTS = {1: "First light", 2: "Second light"}
#: Possible states of dried paint.
_STATES = {state: DRY_STATES[state] for state in (SurfaceState.WASHED, SurfaceState.SEALED, SurfaceState.TOP_COATED)}
#: Option next to the states.
_DAMP = "Still damp in places"
#: Instructions for the photo; common practice, no source.
_HOW = {
    REPAIR: (
        "Let the repair dry as long as the paint's maker says: damp paint has a different color.",
        "Place the same card beside it, and keep sound wood in the picture.",
        "Take the photo in the light where the piece will stand, without shine or flash.",
    ),
    STRIPS: (
        "Paint the strips on wood like the damage, in the same state, and let them dry.",
        "Place them beside the sound wood with the same card, in one picture.",
        "If the picture also shows bare wood of the strips, you can keep a strip as a swatch later.",
    ),
}


def show() -> None:
    """The page."""
    repair = session.current()
    missing = lacking(repair)
    if missing:
        look.not_yet("Nothing to check yet", missing, session.link())
        return
    key = f"check-mode-{repair.id}"
    st.segmented_control(
        "What to check",
        list(_MODES),
        format_func=_MODES.__getitem__,
        required=True,
        key=session.showing(key, repair.check.mode),
        on_change=lambda: session.change_check(mode=session.widget_value(key)),
        label_visibility="collapsed",
    )
    if repair.check.shown(1) is None:
        _choose(repair)
    else:
        _check(repair)


# --- photos ----------------------------------------------------------------------------------------------------------


def _choose(repair: OpenRepair) -> None:
    strips = repair.check.mode == STRIPS
    choose, how = st.columns(2, gap="large")
    with choose:
        st.header("Photograph the strips once they are dry" if strips else "Photograph the repair once it is dry")
        _uploader(repair, 1, "Choose the photo, or drop it here")
        if not strips and example.is_shown(repair.photo):
            st.button("Use the example's photo of the dried repair", key="example-dried", on_click=_take_example)
    with how:
        st.subheader("How to photograph")
        look.sentences(_HOW[repair.check.mode])


def _uploader(repair: OpenRepair, light: int, label: str) -> None:
    key = f"dried-{repair.check.mode}-{light}-{repair.id}"
    mode = repair.check.mode
    photo_files.choose(label, key, lambda photo, _: session.put_dried(DriedPhoto(mode, light, photo=photo)))


def _take_example() -> None:
    with session.telling():
        content, regions, painted = example.dried()
        photo = photo_files.keep(content, "example-dried.jpg")
        session.put_dried(DriedPhoto(REPAIR, 1, photo=photo, regions=regions))
        as_picked = outcome.picked_layers(session.current()) == (painted,)
        session.change_check(other=None if as_picked else PaintedWash.of(painted))


def _search_card(repair: OpenRepair, light: int) -> None:
    shown = repair.check.shown(light)
    if shown is None or shown.searched or repair.card_kind is CardKind.NONE:
        return
    path = open_library().photos.path(shown.photo)
    session.put_dried(with_card_looked_for(shown, path, repair.card_kind))


# --- check -----------------------------------------------------------------------------------------------------------


def _check(repair: OpenRepair) -> None:
    for light in _LIGHTS:
        _search_card(repair, light)
    repair = session.current()
    photo_side, word_side = st.columns([5, 3], gap="medium")
    with photo_side:
        light = _light(repair)
        shown = repair.check.shown(light)
        assert shown is not None
        _photo(repair, shown)
        st.button(
            "Take another photo instead",
            key=f"other-{light}-{repair.id}",
            on_click=lambda: session.change_check(photos=session.current().check.without(shown).photos),
        )
    with word_side:
        _surface(repair)
        photos = _photographed(repair)
        if photos is None:
            return
        judged = outcome.show(repair, photos)
        for light, reading in enumerate(photos, 1):
            doubts = photo_words.doubts(reading, [(sample.name, sample) for sample in reading.samples])
            if doubts and len(photos) > 1:
                st.markdown(f"**{_LIGHTS[light]}**")
            look.cautions(doubts)
    if judged is not None:
        with photo_side:
            outcome.before_and_now(repair, shown)
        outcome.advise(repair, judged)
    if judged is not None or repair.check.mode == STRIPS:
        keeping.show(repair, photos[0])
    if repair.check.shown(2) is None:
        st.subheader("Another light")
        st.write("A match in daylight may be visible under a warm bulb. Check with a second photo in the other light.")
        _uploader(repair, 2, "Photo of the same place in the second light")


def _light(repair: OpenRepair) -> int:
    """The photo to show, if there are two."""
    second = repair.check.shown(2)
    if second is None:
        return 1
    return st.segmented_control(
        "Photo",
        list(_LIGHTS),
        format_func=_LIGHTS.__getitem__,
        default=2 if _lacking(repair, second) else 1,
        required=True,
        key=f"light-{repair.check.mode}-{repair.id}",
        label_visibility="collapsed",
    )


def _photo(repair: OpenRepair, shown: DriedPhoto) -> None:
    path = open_library().photos.path(shown.photo)
    with st.spinner("Opening the photo"):
        size, taken = cache.size(path), cache.as_taken(path)
    card = () if repair.card_kind is CardKind.NONE else (RegionKind.CARD,)
    kinds = (*card, RegionKind.SOUND, PAINTED[shown.mode])
    region_editor(
        pictures.publish(taken),
        size,
        shown.edit,
        lambda edit: session.take_dried_edit(shown.light, edit),
        key=f"dried-regions-{shown.mode}-{shown.light}",
        kinds=(*kinds, RegionKind.DAMAGE) if shown.mode == STRIPS else kinds,
        words={RegionKind.DAMAGE: ("Bare wood", "Bare", "bare wood of the strips")},
        cornered=RegionKind.CARD if repair.card_kind is CardKind.CHART24 else None,
        on_undo=partial(session.undo, of="check"),
    )


def _surface(repair: OpenRepair) -> None:
    """Ask for the state of the painted wood, and warn if it isn't comparable with the sound wood."""
    key = f"check-state-{repair.id}"
    st.selectbox(
        "The strips are" if repair.check.mode == STRIPS else "The repair is",
        [*_STATES, _DAMP],
        format_func=lambda state: _STATES.get(state, state),
        key=session.showing(key, _DAMP if repair.check.wet else repair.check.state),
        on_change=_take_state,
        args=(key,),
    )
    warning = unlike(repair.sound_state, repair.check.state)
    if warning and not repair.check.wet:
        st.warning(warning)
    if repair.check.mode == REPAIR:
        outcome.ask_painted(repair)


def _take_state(key: str) -> None:
    chosen = session.widget_value(key)
    session.change_check(**{"wet": True} if chosen == _DAMP else {"wet": False, "state": chosen})


def _photographed(repair: OpenRepair) -> list[Reading] | None:
    """Read the photos; None, with a message, if something is missing."""
    if repair.check.wet:
        st.subheader("Let it dry first")
        st.write("Paint changes color as it dries. Photograph it again when all of it is dry, then choose that photo.")
        return None
    found: list[Reading] = []
    for light in _LIGHTS:
        shown = repair.check.shown(light)
        if shown is None:
            continue
        lacking = _lacking(repair, shown)
        if lacking:
            st.subheader(lacking[0])
            of = f" in the photo of the {_LIGHTS[light].lower()}" if repair.check.shown(2) else ""
            st.write(f"{lacking[1]}{of}.")
            return None
        with st.spinner("Reading the colors"):
            reading = answers.read_dried(repair, shown)
        assert reading is not None  # its card is marked
        if isinstance(reading, ColorMatchError):
            st.error(look.plain(str(reading)))
            return None
        found.append(reading)
    return found


def _lacking(repair: OpenRepair, shown: DriedPhoto) -> tuple[str, str] | None:
    """The next thing to mark, as a heading and an instruction."""
    if repair.card_kind is not CardKind.NONE and shown.card_region is None:
        return "Mark the card", "The program did not find the card. Choose Card above the photo and drag across it"
    if not shown.of_kind(RegionKind.SOUND):
        return "Mark sound wood", "Choose Sound wood and drag across three or more patches near the painted wood"
    if not shown.of_kind(PAINTED[shown.mode]):
        if shown.mode == STRIPS:
            return (
                "Mark the test strips",
                "Choose Test strip and drag across each strip, in the same order in every photo",
            )
        return "Mark the repair", "Choose Repair and drag across the painted wood, inside its edges"
    return None


show()
