"""What a photo with a chart teaches of its camera, by itself; and the way to teach it where no photo has."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import streamlit as st

from app import cache
from app.repair.open_repair import NOTHING_TAUGHT, OpenRepair
from app.state import cameras, session
from app.state.library import open_library, stored
from app.widgets import look
from colormatch.errors import ColorMatchError
from colormatch.lessons import forget, photos_word, taught_by, teach
from colormatch.library import Stored
from colormatch.records import CameraPhoto, CardKind, LightKind, Photo, Reading
from colormatch.reference.camera import Shot
from colormatch.reference.teach import camera_photo, light_of, of_camera

_UNSAID = ""


def show(repair: OpenRepair, path: Path, reading: Reading) -> None:
    """One sentence of what the photo taught, with its undo, or what there is to ask; nothing where it can't teach."""
    if reading.card.kind is CardKind.GRAY and reading.learned is None:
        to_cameras = {**session.link(), "view": "cameras"}
        st.page_link("shelf/swatches.py", label="**Teach it your phone**", query_params=to_cameras)
    if reading.card.kind is not CardKind.CHART24 or not reading.photo.taken_with:
        return
    if repair.taught == NOTHING_TAUGHT:
        st.button("Learn the camera from this photo after all", key="teach-again", on_click=_start_again)
        return
    shot = cache.shot(path, repair.reference().card)
    if not isinstance(shot, ColorMatchError):
        _taught(repair, path, shot)


def _taught(repair: OpenRepair, path: Path, shot: Shot) -> None:
    """Let it teach where its light is known and it hasn't taught with its card where that lies now."""
    facts = cache.facts(path)
    before = taught_by(stored(CameraPhoto), facts.sha256)
    card = str(repair.card_region and repair.card_region.points)
    if repair.taught != card:
        others = of_camera([one.record for one in stored(CameraPhoto)], facts.taken_with, facts.raw)
        light = before.record.light if before else light_of(cache.decoded(path), shot, others)
        if light is not None:
            teach(open_library(), [camera_photo(facts, shot, facts.taken_with, light)])
            session.keep(replace(repair, taught=card), undoable=False)
            before = taught_by(stored(CameraPhoto), facts.sha256)
    name = look.plain(facts.taken_with)
    if before is None:
        st.write(f"The program can learn {name} from the chart in this photo. What light was it taken in?")
    else:
        rests_on = photos_word(len(cameras.known(path)[before.record.light]))
        light_words = cameras.LIGHTS[before.record.light]
        st.write(f"The program learned {name} in {light_words} from this photo; that lesson now uses {rests_on}.")
    key = f"lesson-{repair.id}"
    options: dict[str, str] = {light.value: words for light, words in cameras.LIGHTS.items()}
    if before is None:
        options = {_UNSAID: "not chosen yet", **options}
    st.selectbox(
        "Light in this photo",
        list(options),
        format_func=lambda one: look.capital(options[one]),
        key=session.showing(key, before.record.light.value if before else _UNSAID),
        on_change=_take_light,
        args=(key, facts, shot),
    )
    if before is not None:
        st.button("Don't learn from this photo", key="teach-not", on_click=_take_back, args=(before,))


def _take_light(key: str, facts: Photo, shot: Shot) -> None:
    with session.telling():
        repair = session.current()
        if session.widget_value(key) != _UNSAID:
            teach(open_library(), [camera_photo(facts, shot, facts.taken_with, LightKind(session.widget_value(key)))])
            session.keep(replace(repair, taught=str(repair.card_region and repair.card_region.points)), undoable=False)


def _take_back(lesson: Stored[CameraPhoto]) -> None:
    with session.telling():
        forget(open_library(), [lesson])
        session.keep(replace(session.current(), taught=NOTHING_TAUGHT), undoable=False)


def _start_again() -> None:
    with session.telling():
        session.keep(replace(session.current(), taught=""), undoable=False)
