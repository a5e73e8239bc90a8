"""The open repair of a session; the only module that accesses ``st.session_state``.

The page's address names the open repair (``?repair=7``) and the library stores it, so that a reload, a second window
and the browser's Back button find the same state. No user input exists only in the session.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from threading import RLock
from typing import Any, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import streamlit as st

from app.repair import dried, history
from app.repair.document import plain
from app.repair.dried import DriedPhoto
from app.repair.marks import Edit, Marked, overtaken, stamp_after
from app.repair.open_repair import APART, OpenRepair, document_of, opened
from app.server.phone import Door
from app.state.library import open_library
from colormatch.errors import ColorMatchError
from colormatch.library import SavedRepair, Stored

M = TypeVar("M", bound=Marked)

#: Query parameter for the repair's number.
QUERY = "repair"
_NOTE, _WORD, _SEEN, _TOKEN = "note", "word", "seen", "phone-token"
#: Interval between checks for changes on another device, seconds.
FOLLOW_S = 2.0


def current() -> OpenRepair:
    """The repair named in the page's address, or an empty one.

    Raises
    ------
    BadInput
        No repair has that number.
    """
    number = st.query_params.get(QUERY, "")
    if not is_number(number):
        return OpenRepair()
    saved = open_library().repair(int(number))
    st.session_state[_SEEN] = saved
    return opened(Stored(int(number), saved))


def is_number(text: str) -> bool:
    """Whether it may be a record number: ASCII digits, within SQLite's range."""
    return text.isascii() and text.isdecimal() and len(text) < 19


#: Serializes changes: the state read by a page must still be current when it is written.
_writing = RLock()


def keep(repair: OpenRepair, *, undoable: bool = True, apart: frozenset[str] = APART) -> OpenRepair:
    """Save a repair and open it; the change can be undone unless the program made it.

    ``apart`` are the fields excluded from undo.
    """
    with _writing:
        document = document_of(repair)
        if repair.id is not None:
            before = _held(repair.id)
            document = history.recorded(before, document, apart=apart if undoable else frozenset(document))
            if dried.photos_gone(before.get("check", {}), document["check"]):
                document = history.without(document, "check")
        number = _save(document, repair.id)
    if repair.id is None:
        enter(number)
    return replace(repair, id=number)


def _held(id: int) -> history.Document:
    saved = open_library().repair(id)
    return {**json.loads(saved.document), "name": saved.name}


def _save(document: history.Document, id: int | None) -> int:
    plain = {name: value for name, value in document.items() if name != "name"}
    checked = [one["photo"] for one in document.get("check", {}).get("photos", ())]
    photos = tuple(photo for photo in (document["photo"], *checked) if photo)
    number = open_library().save_repair(SavedRepair(document["name"], json.dumps(plain), photos=photos), id)
    st.session_state[_SEEN] = open_library().repair(number)
    return number


def undo(*, again: bool = False, of: str = "") -> None:
    """Undo (or redo) the last change of the open repair; a callback.

    With ``of``, only a change of that field: a page undoes only what it shows.
    """
    with telling(), _writing:
        repair = current()
        if repair.id is None or not next_undo(again=again, of=of):
            return
        document = history.taken_back(_held(repair.id), again=again)
        if document is not None:
            check = plain(repair.check.with_marks_of(document.get("check", {})))
            _save({**document, "check": check, "stamp": stamp_after(repair.stamp)}, repair.id)


def next_undo(*, again: bool = False, of: str = "") -> str:
    """Description of what :func:`undo` would change; empty: nothing."""
    repair = current()
    return "" if repair.id is None else history.next_change(_held(repair.id), again=again, of=of)


def change(**what: Any) -> None:
    """Change the open repair; a widget's callback. Errors are shown at the top of the page."""
    with telling(), _writing:
        keep(replace(current(), **what))


def free_name(name: str) -> str:
    """A name unused by other repairs, numbered from the second on; phones reuse file names."""
    names = {one.record.name for one in open_library().repairs()}
    plain = re.sub(r" \(\d+\)$", "", name)
    numbered = (f"{plain} ({n})" for n in range(2, len(names) + 3))
    return next(one for one in (name, *numbered) if one not in names)


def enter(number: int) -> None:
    """Open a repair of the library."""
    st.query_params[QUERY] = str(number)


def leave() -> None:
    """Close the open repair; it stays in the library."""
    st.query_params.pop(QUERY, None)


def take_edit(edit: Edit) -> None:
    """Store regions from the editor."""
    with _writing:
        taken = with_edit(current(), edit)
        if taken is not None:
            keep(taken)


def with_edit(held: M, edit: Edit) -> M | None:
    """Marks after an edit; None if nothing changes. Shows a notice if the edit overrides another window's."""
    if overtaken(held.edit, edit):
        st.session_state[_WORD] = (
            "Another window had just moved the mark that you moved. Your later move counts; Undo restores the other "
            "one."
        )
    return held.with_edit(edit)


def change_check(**what: Any) -> None:
    """Change the checks of the open repair; a widget's callback."""
    with telling(), _writing:
        repair = current()
        keep(replace(repair, check=replace(repair.check, **what)))


def put_dried(photo: DriedPhoto) -> None:
    """Replace the photo of dried paint of the same subject and light."""
    with _writing:
        repair = current()
        keep(replace(repair, check=repair.check.with_photo(photo)))


def take_dried_edit(light: int, edit: Edit) -> None:
    """Store regions of a photo of dried paint from the editor."""
    with _writing:
        repair = current()
        held = repair.check.shown(light)
        taken = with_edit(held, edit) if held else None
        if taken is not None:
            keep(replace(repair, check=repair.check.with_photo(taken)), apart=APART - {"check"})


def link() -> dict[str, str]:
    """Query of a link to another page of the same repair."""
    number = st.query_params.get(QUERY)
    return {QUERY: number} if number else {}


# --- what Streamlit holds --------------------------------------------------------------------------------------------


def widget_value(key: str) -> Any:
    """Value of the widget with that key, for a callback."""
    return st.session_state[key]


def is_done_with(key: str, file: str) -> bool:
    """Whether the upload still shown by a chooser was already accepted or refused."""
    return st.session_state.get(f"{key}-done") == file


def done_with(key: str, file: str) -> None:
    """Record that it was."""
    st.session_state[f"{key}-done"] = file


def held(key: str) -> list[str]:
    """List stored by :func:`hold` for a key; empty if none."""
    return list(st.session_state.get(f"{key}-held", ()))


def hold(key: str, what: list[str]) -> None:
    """Store names of files in transit for as long as the page is open in a browser."""
    st.session_state[f"{key}-held"] = what


def time_zone() -> ZoneInfo | None:
    """The user's time zone; None (this machine's) if the browser states none, or an unknown one."""
    name = st.context.timezone
    try:
        return ZoneInfo(name) if name else None
    except (ZoneInfoNotFoundError, ValueError, OSError):  # a newer zone than this machine's, or not a zone
        return None


def showing(key: str, value: Any) -> str:
    """Key of a widget for a value of the open repair, updated after undo or a change in another window."""
    if (
        key not in st.session_state or st.session_state[key] != value
    ):  # setting it always would discard what is being typed
        st.session_state[key] = value
    return key


def changer(name: str, key: str, read: Callable[[Any], Any] = lambda value: value) -> Callable[[], None]:
    """Callback that stores a widget's value in a field of the open repair."""
    return lambda: change(**{name: read(widget_value(key))})


def part_changer(
    name: str, part: str, key: str, read: Callable[[Any], Any] = lambda value: value
) -> Callable[[], None]:
    """Callback that stores a widget's value in one part of a compound field of the open repair."""

    def change_part() -> None:
        with telling():
            change(**{name: replace(getattr(current(), name), **{part: read(widget_value(key))})})

    return change_part


@st.fragment(run_every=FOLLOW_S)
def follow() -> None:
    """Rerun the page after a change of the open repair in another window or on another device."""
    number = st.query_params.get(QUERY, "")
    if not is_number(number):
        return
    try:
        changed = open_library().repair(int(number)) != st.session_state.get(_SEEN)
    except ColorMatchError:  # it was deleted; the page reports that
        changed = st.session_state.get(_SEEN) is not None
    if changed:
        st.session_state[_SEEN] = None
        st.rerun()


def phone_link(door: Door) -> str:
    """One-time link to the open repair: the same until it is used or expires."""
    token = st.session_state.get(_TOKEN, "")
    if not door.links.waits(token):
        token = st.session_state[_TOKEN] = door.links.mint()
    return door.address(token, **link())


@contextmanager
def telling() -> Iterator[None]:
    """Context for callbacks: shows our errors at the top of the next run instead of ending it."""
    try:
        yield
    except ColorMatchError as error:
        st.session_state[_NOTE] = str(error)


def take_note() -> str:
    """Error of the last callback, returned once."""
    return str(st.session_state.pop(_NOTE, ""))


def say(word: str) -> None:
    """Show a notice at the top of the next run, unless it is empty."""
    st.session_state[_WORD] = word


def take_word() -> str:
    """Notice of the last callback, returned once."""
    return str(st.session_state.pop(_WORD, ""))
