"""Exchange view: import paints and swatches from files, and export the shelf as one file."""

from __future__ import annotations

import tempfile
from datetime import date
from pathlib import Path
from typing import Any

import streamlit as st

from app.shelf import typed, way_up
from app.state import address, session
from app.state.library import open_library
from app.widgets import chips, files, look
from colormatch.errors import ColorMatchError
from colormatch.library.export import Shared, export_exchange, to_share
from colormatch.library.merge import PLURALS, Conflicts, Fate, ImportPlan, Incoming, counted, import_exchange
from colormatch.library.rows import describe
from colormatch.library.store import SavedRepair
from colormatch.library.uploads import ENDINGS, lay_out
from colormatch.records import FlagCode, Lab, Swatch

_FILES = "exchange-files"
_FATES = {
    Fate.NEW: ("New", "added"),
    Fate.CHANGED: ("More complete than yours", "your gaps will be filled"),
    Fate.CONFLICT: ("Different from yours", "as you choose below"),
    Fate.SAME: ("Already there", "left alone"),
}
_CONFLICTS = {
    Conflicts.MINE: "Keep mine",
    Conflicts.THEIRS: "Take theirs",
    Conflicts.BOTH: "Keep both, as another measurement",
}
#: Records listed by name for each result; others are counted.
_NAMED = 30
#: Characters of a field that are shown.
_LONG = 60


def show() -> None:
    """The view."""
    way_up.show("Your paints")
    st.header("Import and export")
    take_side, bring_side = st.columns(2, gap="large")
    with bring_side:
        _bring_in()
    with take_side:
        _take_out()


# --- out -------------------------------------------------------------------------------------------------------------


def _take_out() -> None:
    st.subheader("Export")
    st.write(
        "Your shelf for somebody else, as one .zip file with tables that any spreadsheet opens. For another computer "
        "of your own, save everything under Backups."
    )
    repairs = st.checkbox("Also your repairs", key="share-repairs")
    photos = st.checkbox("Also the photos", key="share-photos")
    look.sentences(_going(to_share(open_library(), repairs=repairs, photos=photos)))
    shared: list[Shared] = []
    files.offer(
        "Download the shelf",
        f"swatches-{date.today()}.zip",
        lambda path, tell: shared.append(export_exchange(open_library(), path, tell, repairs=repairs, photos=photos)),
        "export",
        first=True,
    )
    for one in shared:
        look.sentences([flag.text for flag in one.flags])


def _going(shared: Shared) -> list[str]:
    """What is exported and what is not, in sentences."""
    counts = [(len(rows), PLURALS[kind]) for kind, rows in shared.records.items()]
    counts += [(len(shared.repairs), "repairs"), (len(shared.photos), "photos")]
    going = ", ".join(counted(number, name) for number, name in counts if number)
    lines = [f"Included: {going or 'nothing, because the shelf is empty'}."]
    if shared.photos:
        lines.append(
            "The pictures stay the same; location, owner, serial numbers, dates and thumbnails are removed from their "
            "files. A photo from which the program doesn't know how to remove them safely, such as most camera raw "
            "files, is not exported."
        )
    if shared.repairs:
        lines.append("Repairs contain everything that you typed in them: names, notes, amounts and times.")
    left = [(shared.repairs_left, "repairs"), (shared.photos_left, "photos")]
    if any(number for number, _ in left):
        lines.append(f"Not included: {', '.join(counted(number, name) for number, name in left if number)}.")
    return lines + [flag.text for flag in shared.flags]


# --- in --------------------------------------------------------------------------------------------------------------


def _bring_in() -> None:
    st.subheader("Import")
    chosen = files.choose(
        "A shelf's .zip file, its .csv tables, or an instrument's file (CxF, CGATS), whose samples become woods. "
        "Nothing changes until you have seen a preview",
        ENDINGS,
        _FILES,
        several=True,
    )
    if not chosen:
        return
    try:
        with st.spinner("Reading the files"):
            plan = _import(chosen, preview=True)
    except ColorMatchError as error:
        st.error(look.plain(str(error)))
        return
    _preview(plan, chosen)


def _import(chosen: list[Path], *, preview: bool, conflicts: Conflicts = Conflicts.MINE) -> ImportPlan:
    with tempfile.TemporaryDirectory() as folder:
        source = lay_out(chosen, Path(folder))
        return import_exchange(open_library(), source, preview=preview, conflicts=conflicts)


def _preview(plan: ImportPlan, chosen: list[Path]) -> None:
    # A user who chooses single tables knows that it is not the whole folder.
    look.sentences([flag.text for flag in plan.flags if flag.code is not FlagCode.MANIFEST_MISSING])
    by_fate = {fate: [item for item in plan.items if item.fate is fate] for fate in Fate}
    for fate, (word, does) in _FATES.items():
        items = by_fate[fate]
        if items:
            with st.expander(f"**{word}: {len(items)}**, {does}", expanded=fate is Fate.CONFLICT, key=f"fate-{fate}"):
                _list(items)
    if all(item.fate is Fate.SAME for item in plan.items):
        st.write("You already have everything in it.")
        return
    if by_fate[Fate.CONFLICT]:
        st.segmented_control(
            "Where yours and theirs differ",
            list(_CONFLICTS),
            default=Conflicts.MINE,
            format_func=_CONFLICTS.__getitem__,
            required=True,
            key="conflicts",
        )
    st.button("Import it", key="import", type="primary", on_click=_bring, args=(chosen, bool(by_fate[Fate.CONFLICT])))


def _list(items: list[Incoming]) -> None:
    for item in items[:_NAMED]:
        if isinstance(item.theirs, Swatch):
            st.html(_pair(item, item.theirs))
        st.write(look.plain(_told(item)))
    if len(items) > _NAMED:
        st.write(f"And {len(items) - _NAMED} more.")


def _pair(item: Incoming, theirs: Swatch) -> str:
    """The incoming swatch on its wood; in a conflict, with the user's beside it."""
    sides = [theirs]
    if item.fate is Fate.CONFLICT and item.mine is not None and isinstance(item.mine.record, Swatch):
        sides.append(item.mine.record)
    return (
        '<div class="sides">'
        + "".join(chips.swatch_chip(s.lab, s.ground_lab, chips.wash_words(s)) for s in sides)
        + "</div>"
    )


def _told(item: Incoming) -> str:
    theirs = item.theirs
    words = f"repair {theirs.name}" if isinstance(theirs, SavedRepair) else describe(theirs)
    if item.fate is not Fate.CONFLICT or item.mine is None:
        return words
    return f"{words}: {'; '.join(_differences(theirs, item.mine.record))}"


def _differences(theirs: Any, mine: Any) -> list[str]:
    """Differences field by field."""
    return [
        f"{name.replace('_', ' ')} is {_shown(value)}, yours {_shown(getattr(mine, name))}"
        for name, value in vars(theirs).items()
        if value != getattr(mine, name)
    ]


def _shown(value: Any) -> str:
    if isinstance(value, Lab):
        return typed.color_text(typed.told(value))
    text = f"{value:g}" if isinstance(value, float) else str(value or "")
    return text if len(text) <= _LONG else f"{text[:_LONG]} ..."


def _bring(chosen: list[Path], asked: bool) -> None:
    with session.telling():
        conflicts = session.widget_value("conflicts") if asked else Conflicts.MINE
        plan = _import(chosen, preview=False, conflicts=conflicts)
        session.say(" ".join(flag.text for flag in plan.flags if flag.code is FlagCode.PHOTOS_LEFT_OUT))
        files.done_with(_FILES)
        address.go()
