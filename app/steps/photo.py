"""Photo: choose one, mark what is in it, and learn what it is good for."""

from __future__ import annotations

from dataclasses import replace
from math import hypot
from pathlib import Path
from typing import Any

import streamlit as st

from app import cached, example, look, photo_files, pictures, session
from app.marks import FOUND
from app.region_editor import RARE, region_editor
from app.session import OpenRepair
from colormatch import repair as job
from colormatch.color.words import describe_off
from colormatch.errors import ColorMatchError
from colormatch.records import CardKind, Lab, Reading, Region, RegionKind, Sample, SurfaceState

#: Patches of sound wood that the page asks for: from three on, their spread tells how far one can be trusted.
PATCHES = 3
#: Repairs offered on the start page.
_RECENT = 6
_CARDS = {
    CardKind.GRAY: "Gray card",
    CardKind.THREE_STEP: "Three-step card: white, gray, black",
    CardKind.CHART24: "24-patch chart",
    CardKind.NONE: "None in the photo",
}
_STATES = {
    SurfaceState.BARE: "Bare and dry",
    SurfaceState.SEALED: "Sealed and dry",
    SurfaceState.WASHED: "Washed and dry",
    SurfaceState.TOP_COATED: "Top-coated and dry",
}
_TAKEN, _BALANCED = "As the camera took it", "White-balanced by the card"


def show() -> None:
    """The page."""
    repair = session.current()
    if not repair.photo:
        _start()
        return
    path = session.open_library().photos.path(repair.photo)
    with st.spinner("Opening the photo"):
        facts = cached.decoded(path).facts
    repair = _search_card(repair, path)
    reading = _read(repair, path)
    good = isinstance(reading, Reading)
    photo_side, word_side = st.columns([5, 3], gap="medium")
    with photo_side:
        source = cached.as_taken(path)
        view = st.segmented_control(
            "Show the photo",
            (_TAKEN, _BALANCED),
            default=_TAKEN,
            key="view",
            label_visibility="collapsed",
            disabled=not good or repair.card_kind is CardKind.NONE,
        )
        if good and view == _BALANCED and repair.card_kind is not CardKind.NONE:
            source = cached.balanced(path, repair.card())
        size = facts.width, facts.height
        region_editor(pictures.publish(source), size, repair.edit, session.take_edit, more=RARE)
    with word_side:
        _next_step(repair, path)
        if isinstance(reading, ColorMatchError):
            st.error(str(reading))
        elif reading is not None:
            _judge(repair, reading)
        _settings(repair)


# --- start -----------------------------------------------------------------------------------------------------------


def _start() -> None:
    st.header("Find the wash that hides a repair")
    st.write(
        "Lay a gray card on the wood beside the damage, in even light without shine. Take one photo of both from "
        "straight above, and choose it here."
    )
    st.file_uploader(
        "Drop the photo here or choose it: JPEG, PNG, TIFF, WebP, HEIC or camera raw, up to 200 MB",
        type=photo_files.ENDINGS,
        key="photo-file",
        on_change=_take_upload,
    )
    st.button("Try the example", key="example", on_click=_take_example)
    recent = session.open_library().repairs()[:_RECENT]
    if recent:
        st.subheader("Go on with a repair")
        for stored in recent:
            # A link to the page that one is on already would not change the address.
            st.button(stored.record.name, key=f"open-{stored.id}", on_click=session.enter, args=(stored.id,))


def _take_upload() -> None:
    """Keep the chosen file at once: a page that is left forgets its upload."""
    upload = session.widget_value("photo-file")
    if upload is not None:
        with session.telling():
            _begin(upload.getvalue(), upload.name, Path(upload.name).stem, ())


def _take_example() -> None:
    with session.telling():
        content, title, regions = example.photo()
        _begin(content, "example.jpg", title, regions)


def _begin(content: bytes, file_name: str, title: str, regions: tuple[Region, ...]) -> None:
    photo = photo_files.keep(content, file_name)
    session.keep(replace(session.current(), name=title, photo=photo, regions=regions))


# --- card ------------------------------------------------------------------------------------------------------------


def _search_card(repair: OpenRepair, path: Path) -> OpenRepair:
    """Look for the card once in each photo; from then on it is the person's to move."""
    if repair.searched:
        return repair
    with st.spinner("Looking for the gray card"):
        card = cached.card_in(path)
    found: tuple[Region, ...] = ()
    if not isinstance(card, ColorMatchError) and card.region is not None:
        found = (Region(RegionKind.CARD, card.region.points, FOUND),)
    marked = replace(repair, regions=found + repair.regions, searched=True, stamp=session.next_stamp(repair))
    return session.keep(marked, undoable=False)


def _read(repair: OpenRepair, path: Path) -> Reading | ColorMatchError | None:
    if not repair.has_card:
        return None
    try:
        with st.spinner("Reading the colors"):
            return cached.reading(path, repair.card(), repair.surfaces)
    except ColorMatchError as error:  # the card's value as it was typed
        return error


# --- words -----------------------------------------------------------------------------------------------------------


def _next_step(repair: OpenRepair, path: Path) -> None:
    """The one thing to do now."""
    sound = len(repair.of_kind(RegionKind.SOUND))
    if not repair.has_card:
        card = cached.card_in(path)
        why = str(card) if isinstance(card, ColorMatchError) else "No card is marked."
        st.subheader("Mark the card")
        st.write(f"{why} Choose Card above the photo and drag across it, well inside its edges.")
    elif sound < PATCHES:
        st.subheader(f"Mark sound wood: {sound} of {PATCHES} patches")
        st.write(
            "Wood differs from place to place. Three or more patches around the damage, in the same light, tell how "
            "far their color can be trusted; a single patch can't."
        )
    elif not repair.of_kind(RegionKind.DAMAGE):
        st.subheader("Mark the damage")
        st.write("Choose Damage above the photo and draw around what the wash has to cover, sound edges left out.")
    else:
        st.subheader("All is marked")
        with st.container(key="go"):
            st.page_link("steps/match.py", label="Find the wash", query_params=session.link())


def _judge(repair: OpenRepair, reading: Reading) -> None:
    """What the photo is good for."""
    rows = [("Card", _card_words(repair, reading)), ("Light", _light_words(reading))]
    for kind, name in session.SURFACES.items():
        marked = len(repair.of_kind(kind))
        if marked:
            patches = f"{marked} patch" + ("es" if marked > 1 else "")
            rows.append(
                (f"{name}, {patches}", _color_words(job.surface(reading, repair.surfaces, kind), reading.difference))
            )
    holders: tuple[Any, ...] = (reading.photo, reading.card, reading.light, *reading.samples)
    doubts = dict.fromkeys(flag.text for holder in holders for flag in holder.flags)
    rows += [("Take care", doubt) for doubt in doubts]
    rows.append(("What would make it surer", _surer(repair, reading)))
    st.subheader("What this photo is good for")
    look.facts(rows)


def _card_words(repair: OpenRepair, reading: Reading) -> str:
    if reading.card.region is None:
        return "None: the colors are the camera's guess. Only differences within this photo mean something."
    if any(region.name == FOUND for region in repair.of_kind(RegionKind.CARD)):
        return "Found by the program. Look whether the outline lies inside the card; drag it where it doesn't."
    return "Marked by you."


def _light_words(reading: Reading) -> str:
    light, words = reading.light, []
    if light.cast is not None:
        off = describe_off(Lab(50, *light.cast), Lab(50, 0, 0))
        words.append(
            "The camera left no cast worth naming."
            if off == "nothing to see"
            else f"The camera left the photo {off}; the card takes that out."
        )
    if light.cct_k is not None:
        words.append(f"The lamp is at about {light.cct_k:.0f} K.")
    if light.evenness is not None:
        words.append(f"Across the card it changes by {100 * (light.evenness - 1):.0f} %.")
    return " ".join(words) or "Nothing can be said of it without a card."


def _color_words(sample: Sample, difference: float) -> str:
    beside = hypot(sample.random, difference)
    return (
        f"L* {sample.lab.L:.1f}, a* {sample.lab.a:.1f}, b* {sample.lab.b:.1f}. True to ΔE {sample.uncertainty:.1f} "
        f"by itself, and to ΔE {beside:.1f} beside the other surface of this photo (nine times in ten)."
    )


def _surer(repair: OpenRepair, reading: Reading) -> str:
    if reading.card.region is None:
        return "A gray card in the photo, before all else."
    if len(repair.of_kind(RegionKind.SOUND)) < PATCHES:
        return "More patches of sound wood."
    better = (
        "A three-step card or a 24-patch chart instead of the gray card" if reading.card.kind is CardKind.GRAY else ""
    )
    raw = "" if reading.photo.raw else "camera raw instead of JPEG"
    strips = "test strips of the wash in the same photo, which need no such trust at all"
    parts = [part for part in (better, raw, strips) if part]
    text = "; ".join(parts)
    return text[0].upper() + text[1:] + "."


# --- settings --------------------------------------------------------------------------------------------------------


def _settings(repair: OpenRepair) -> None:
    st.subheader("Card and wood")
    _choice("Card", _CARDS, repair, "card_kind")
    if repair.card_kind is not CardKind.NONE:
        key = f"card_value-{repair.id}"
        st.text_input(
            "Reflectance or Lab that the card's maker states; empty: the usual 18 % gray",
            key=session.showing(key, repair.card_value),
            on_change=session.changer("card_value", key, str.strip),
        )
    _choice("The sound wood is", _STATES, repair, "sound_state")
    _choice("The damage is", _STATES, repair, "damage_state")
    if repair.sound_state is not repair.damage_state:
        st.warning(
            "The surfaces are in different states. A sealer or a top coat darkens wood, so compare like with like: "
            "bring the damage into the state of the sound wood before you photograph it."
        )
    st.button("Start another repair", key="another", on_click=session.leave)


def _choice(label: str, words: dict[Any, str], repair: OpenRepair, field: str) -> None:
    key = f"{field}-{repair.id}"
    st.selectbox(
        label,
        list(words),
        format_func=words.__getitem__,
        key=session.showing(key, getattr(repair, field)),
        on_change=session.changer(field, key),
    )


show()
