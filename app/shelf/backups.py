"""Backups view: times and reasons, restoring, and the check of everything."""

from __future__ import annotations

from datetime import date
from functools import partial
from pathlib import Path

import streamlit as st

from app.shelf import way_up
from app.state import address, session
from app.state.library import open_library
from app.widgets import files, look
from colormatch.library import backup
from colormatch.library.aside import set_aside
from colormatch.library.backup import Backup
from colormatch.library.rescue import restore, trust_warning
from colormatch.library.saved import save_archive
from colormatch.library.store import DATABASE_NAME, default_folder
from colormatch.library.verify import verify

_WHY = {
    "daily": "automatic, once a day",
    "before-import": "before an import",
    "before-update": "before the program's update",
    "before-restore": "before another backup was restored",
    "asked": "asked for",
}
_FILE = "restore-file"


def show() -> None:
    """The view."""
    way_up.show("Your paints")
    st.header("Backups")
    keep_side, back_side = st.columns(2, gap="large")
    with keep_side:
        _keep()
    with back_side:
        ways_back()


def _keep() -> None:
    st.subheader("Keep it safe")
    st.write(
        "The program backs up your library once a day, and before anything large. These copies are on the same disk, "
        "so now and then save everything as one file on another disk or a USB stick."
    )
    st.button("Back up now", key="back-up", type="primary", on_click=_back_up)
    name = f"colormatch-library-{date.today()}.zip"
    files.offer("Save everything as one file", name, partial(save_archive, open_library()), "archive")
    st.subheader("Check everything")
    if st.button("Check every record and photo", key="verify"):
        with files.telling_how_far("Checking every record and photo") as tell:
            found = verify(open_library(), tell)
        if found.problems:
            st.error("Something is wrong. Below is each problem and what to do about it.")
            look.sentences([str(one) for one in found.problems])
            if any(one.aside for one in found.problems):
                st.button("Set the damaged records aside", key="set-aside", on_click=_set_aside)
        else:
            st.success(f"All is well: {found.records} records and {found.photos} photos.")
        look.sentences(found.remarks)


def _set_aside() -> None:
    with session.telling():
        set_aside(open_library())


def _back_up() -> None:
    with session.telling():
        backup.back_up(open_library().database, "asked")


def ways_back() -> None:
    """All backups with their buttons; works for a library that can't be opened."""
    st.subheader("Go back to a backup")
    found = backup.backups(default_folder() / DATABASE_NAME)
    if not found:
        st.write("There are none yet.")
    for number, one in enumerate(found):
        with st.container(horizontal=True, gap="small", vertical_alignment="center", key=f"backup-row-{number}"):
            made = one.made.astimezone()
            st.markdown(f"**{made:%A, %d %B %Y, %H:%M}**  \n{_WHY.get(one.reason, one.reason)}")
            with st.popover("Go back", key=f"backup-{number}"):
                _confirm(one, number)
    chosen = files.choose("Or choose a file that you saved here, or drop it here", ["zip", "sqlite3"], _FILE)
    for path in chosen:
        st.write(look.plain(trust_warning(path, default_folder())))
        if st.button("Restore this file", key="restore-file-go", type="primary"):
            with session.telling(), files.telling_how_far("Looking at the file") as tell:
                taken = restore(default_folder(), path, tell)
                session.say(" ".join(flag.text for flag in taken.flags))
                files.done_with(_FILE)
                address.go()
            st.rerun()


def _confirm(one: Backup, number: int) -> None:
    st.write(
        f"Your library returns to its state of {one.made.astimezone():%d %B %Y, %H:%M}. The current library is backed "
        "up first."
    )
    st.button("Yes, go back", key=f"restore-{number}", type="primary", on_click=_restore, args=(one.path,))


def _restore(path: Path) -> None:
    with session.telling():
        taken = restore(default_folder(), path)
        session.say(" ".join(flag.text for flag in taken.flags))
        address.go()
