"""The repair that somebody is at work on, and the only file that touches ``st.session_state``.

The address of the page says which repair is open (``?repair=7``) and the library holds it, so a reload, a second window
and the browser's Back button all find the same thing. Nothing that a person entered lives in the session alone.
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

#: Name of the repair's number in the address.
QUERY = "repair"
_NOTE, _WORD, _SEEN, _TOKEN = "note", "word", "seen", "phone-token"
#: How often a page looks whether the repair was changed on another device, seconds.
FOLLOW_S = 2.0


def current() -> OpenRepair:
    """The repair that the page's address names; an empty one where it names none.

    Raises
    ------
    BadInput
        There is none of that number.
    """
    number = st.query_params.get(QUERY, "")
    if not is_number(number):
        return OpenRepair()
    saved = open_library().repair(int(number))
    st.session_state[_SEEN] = saved
    return opened(Stored(int(number), saved))


def is_number(text: str) -> bool:
    """Whether it may be the number of a record: digits of ours, and no more than SQLite counts to."""
    return text.isascii() and text.isdecimal() and len(text) < 19


#: One change at a time: what a page read must still hold when it is written.
_writing = RLock()


def keep(repair: OpenRepair, *, undoable: bool = True, apart: frozenset[str] = APART) -> OpenRepair:
    """Save a repair and open it; what it changes can be undone unless the program itself changed it.

    ``apart`` are the fields that undo leaves alone.
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
    """Take back the last change of the open repair, or make it again: a callback.

    Nothing where that change is not ``of`` a field, if one is named: a page takes back only what it shows.
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
    """What :func:`undo` would change, in words; empty: nothing."""
    repair = current()
    return "" if repair.id is None else history.next_change(_held(repair.id), again=again, of=of)


def change(**what: Any) -> None:
    """Change the open repair: the callback of a widget. A refusal is told at the top of the page."""
    with telling(), _writing:
        keep(replace(current(), **what))


def free_name(name: str) -> str:
    """A name that no other repair bears, numbered from the second on: phones begin anew with theirs."""
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
    """Take regions from the editor."""
    with _writing:
        taken = with_edit(current(), edit)
        if taken is not None:
            keep(taken)


def with_edit(held: M, edit: Edit) -> M | None:
    """What is marked once an edit has come in, None where that changes nothing; said where it overtakes another's."""
    if overtaken(held.edit, edit):
        st.session_state[_WORD] = (
            "The mark that you moved had just been moved in another window too. Your move counts, as the later one; "
            "Undo brings the other back."
        )
    return held.with_edit(edit)


def change_check(**what: Any) -> None:
    """Change what the open repair holds of its checks: the callback of a widget."""
    with telling(), _writing:
        repair = current()
        keep(replace(repair, check=replace(repair.check, **what)))


def put_dried(photo: DriedPhoto) -> None:
    """Put a photo of dried paint in the place of the one that it follows."""
    with _writing:
        repair = current()
        keep(replace(repair, check=repair.check.with_photo(photo)))


def take_dried_edit(light: int, edit: Edit) -> None:
    """Take regions of a photo of dried paint from the editor."""
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
    """What the widget of that key holds, for a callback."""
    return st.session_state[key]


def is_done_with(key: str, file: str) -> bool:
    """Whether the upload that a chooser still holds has been taken, or refused."""
    return st.session_state.get(f"{key}-done") == file


def done_with(key: str, file: str) -> None:
    """Remember that it has."""
    st.session_state[f"{key}-done"] = file


def held(key: str) -> list[str]:
    """What :func:`hold` was given for a key; empty where nothing was."""
    return list(st.session_state.get(f"{key}-held", ()))


def hold(key: str, what: list[str]) -> None:
    """Keep names of files on their way for as long as the page is open in a browser."""
    st.session_state[f"{key}-held"] = what


def time_zone() -> ZoneInfo | None:
    """The time zone of whoever looks; None, this machine's, where the browser tells none that is known here."""
    name = st.context.timezone
    try:
        return ZoneInfo(name) if name else None
    except (ZoneInfoNotFoundError, ValueError, OSError):  # a newer zone than this machine's, or no zone's name
        return None


def showing(key: str, value: Any) -> str:
    """Key of a widget that shows a value of the open repair, even where undo or another window has changed it."""
    if key not in st.session_state or st.session_state[key] != value:  # setting it would undo what is being typed
        st.session_state[key] = value
    return key


def changer(name: str, key: str, read: Callable[[Any], Any] = lambda value: value) -> Callable[[], None]:
    """Callback that puts a widget's value into a field of the open repair."""
    return lambda: change(**{name: read(widget_value(key))})


def part_changer(
    name: str, part: str, key: str, read: Callable[[Any], Any] = lambda value: value
) -> Callable[[], None]:
    """Callback that puts a widget's value into one part of a field of the open repair that has several."""

    def change_part() -> None:
        with telling():
            change(**{name: replace(getattr(current(), name), **{part: read(widget_value(key))})})

    return change_part


@st.fragment(run_every=FOLLOW_S)
def follow() -> None:
    """Run the page anew when the open repair was changed in another window or on another device."""
    number = st.query_params.get(QUERY, "")
    if not is_number(number):
        return
    try:
        changed = open_library().repair(int(number)) != st.session_state.get(_SEEN)
    except ColorMatchError:  # it is gone, which the page will say
        changed = st.session_state.get(_SEEN) is not None
    if changed:
        st.session_state[_SEEN] = None
        st.rerun()


def phone_link(door: Door) -> str:
    """One-time link to the open repair: the same until it is used or too old."""
    token = st.session_state.get(_TOKEN, "")
    if not door.links.waits(token):
        token = st.session_state[_TOKEN] = door.links.mint()
    return door.address(token, **link())


@contextmanager
def telling() -> Iterator[None]:
    """Context of a callback: an error of ours is told at the top of the next run instead of ending it."""
    try:
        yield
    except ColorMatchError as error:
        st.session_state[_NOTE] = str(error)


def take_note() -> str:
    """What a callback had to refuse; told once."""
    return str(st.session_state.pop(_NOTE, ""))


def say(word: str) -> None:
    """Tell something at the top of the next run; an empty word tells nothing."""
    st.session_state[_WORD] = word


def take_word() -> str:
    """What a callback had to say besides; told once."""
    return str(st.session_state.pop(_WORD, ""))
