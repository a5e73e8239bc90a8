"""Jobs page: every repair with picture, recipe, check and cost; open, rename, copy, delete and print them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import streamlit as st

from app import cache
from app.repair.open_repair import OpenRepair, opened
from app.screens import drying, papers
from app.server import pictures
from app.state import session
from app.state.library import damage, open_library
from app.widgets import look
from colormatch.errors import ColorMatchError
from colormatch.library import SavedRepair, Stored
from colormatch.wash.ratio import format_layers

#: Jobs per page: few enough for a phone to load and a person to scan.
_ON_A_PAGE = 6
#: The library's description of a removal that can be undone.
_REMOVED = "removed the repair"


def show() -> None:
    """The page."""
    library = open_library()
    st.header("Jobs")
    undo = library.next_undo() or ""
    if undo.startswith(_REMOVED):
        st.button(f"Bring back{look.plain(undo.removeprefix(_REMOVED))}", key="undo-job", on_click=_undo)
    look.sentences(damage("repair"))
    stored = library.repairs()
    if not stored:
        st.write("Every repair is saved here from its first photo. There are no repairs yet.")
        st.page_link("screens/photo.py", label="**Start with a photo**")
        return
    wanted = st.text_input("Search names, paints and dates", key="jobs-search").casefold().split()
    found = [one for one in stored if all(word in _words(one) for word in wanted)]
    if not found:
        st.write("No job contains all of these words. Try fewer words, or part of one.")
        return
    pages = -(-len(found) // _ON_A_PAGE)
    page = 1
    if pages > 1:
        chosen = st.segmented_control("Page", range(1, pages + 1), default=1, required=True, key="jobs-page")
        page = min(chosen, pages)
    for one in found[(page - 1) * _ON_A_PAGE : page * _ON_A_PAGE]:
        _job(one)


def _words(stored: Stored[SavedRepair]) -> str:
    """Searchable text of a job."""
    parts = [stored.record.name, stored.record.created[:10], stored.record.changed[:10]]
    try:
        recipe = opened(stored).recipe
    except ColorMatchError:  # reported in the list
        recipe = None
    if recipe is not None:
        parts += [format_layers(recipe.wash.layers), recipe.made]
    return " ".join(parts).casefold()


def _job(stored: Stored[SavedRepair]) -> None:
    try:
        repair = opened(stored)
    except ColorMatchError:
        # Written by another version of the program, or by another program; it stays unchanged.
        repair = None
    with st.container(key=f"job-{stored.id}"):
        st.html(_entry(stored, repair))
        with st.container(horizontal=True, vertical_alignment="center", gap="small"):
            if repair is not None:
                query = {session.QUERY: str(stored.id)}
                st.page_link("screens/photo.py", label="**Open**", query_params=query)
                with st.popover("Rename", key=f"rename-menu-{stored.id}"):
                    key = f"rename-{stored.id}"
                    st.text_input(
                        "New name", key=session.showing(key, repair.name), on_change=_rename, args=(stored.id,)
                    )
            st.button("Copy", key=f"copy-{stored.id}", on_click=_copy, args=(stored.id,))
            st.button("Delete", key=f"delete-{stored.id}", on_click=_delete, args=(stored.id,))
            if repair is not None and repair.recipe is not None and repair.recipe.wash.layers:
                papers.offer(repair)


def _moment(text: str) -> str:
    """A date and time in the reader's form; an invalid one unchanged."""
    try:
        return f"{datetime.fromisoformat(text).astimezone(session.time_zone()):%Y-%m-%d, %H:%M}"
    except (ValueError, OverflowError):
        return f"at '{text[:40]}', which is not a date"


def _entry(stored: Stored[SavedRepair], repair: OpenRepair | None) -> str:
    lines = [f"Last changed {_moment(stored.record.changed)}"]
    if repair is None:
        return look.job(
            "", (0, 0), stored.record.name, ["This version of the program can't open it, but it is safe.", *lines]
        )
    address, size = "", (0, 0)
    try:
        with st.spinner("Opening the photo"):
            jpeg, size = cache.thumbnail(open_library().photos.path(repair.photo))
        address = pictures.publish(jpeg)
    except ColorMatchError as error:
        lines.insert(0, str(error))
    return look.job(address, size, repair.name, [*_told(repair), *lines])


def _told(repair: OpenRepair) -> list[str]:
    """Recipe, prediction, results of checks, and cost."""
    recipe = repair.recipe
    if recipe is None:
        return ["No wash picked yet."]
    wash = recipe.wash
    dries = drying.told(repair)
    told = [dries] if dries else []
    told += [
        f"{format_layers(wash.layers)}, picked on {recipe.made}",
        f"Expected ΔE {wash.expected_delta_e:.1f} ({wash.low:.1f} to {wash.high:.1f})",
    ]
    with st.spinner("Reading the checks"):
        told += [f"{when}: {words}" for when, words in papers.checked(repair)]
    if recipe.cost is not None:
        told.append(f"Paint: {recipe.cost:.2f}, in the currency of your prices")
    return told


# --- what the buttons do ---------------------------------------------------------------------------------------------


def _rename(number: int) -> None:
    with session.telling():
        name = str(session.widget_value(f"rename-{number}")).strip()
        library = open_library()
        if name:
            library.save_repair(replace(library.repair(number), name=name), number)


def _copy(number: int) -> None:
    with session.telling():
        library = open_library()
        record = library.repair(number)
        library.save_repair(replace(record, name=session.free_name(record.name)))


def _delete(number: int) -> None:
    with session.telling():
        open_library().remove_repair(number)
        if session.link().get(session.QUERY) == str(number):
            session.leave()


def _undo() -> None:
    with session.telling():
        open_library().undo()


show()
