"""What dries in which repair: each has a timer of its own, and whoever works on several sees all of them."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from app.repair.open_repair import OpenRepair, opened
from app.screens.timer import now_ms, timer
from app.state import session
from app.state.library import open_library
from app.widgets import look
from colormatch.errors import ColorMatchError

#: How the document of a repair says that there is a timer; the others need not be read for that.
_TIMED = '"timers": [['
#: How long a timer that has ended is told of on the pages of other repairs, milliseconds: half a day, our choice.
_TOLD_MS = 12 * 3600 * 1000


def until(ends: int) -> str:
    """When a timer ends, as its reader's clock shows it."""
    return f"until {clock(datetime.fromtimestamp(ends / 1000, session.time_zone()))}"


def clock(moment: datetime) -> str:
    """A time of day, with its day where that is not today."""
    days = (moment.date() - datetime.now(moment.tzinfo).date()).days
    if not days:
        return f"{moment:%H:%M}"
    return f"{moment:%H:%M} {'tomorrow' if days == 1 else f'on {moment:%A}'}"


def told(repair: OpenRepair) -> str:
    """The timer of a repair in words, for the list of jobs; empty where none runs or has ended lately."""
    ends = repair.progress.ends
    if ends < now_ms() - _TOLD_MS:
        return ""
    over = ends <= now_ms()
    return f"Step {repair.progress.step + 1}: {'its time is up' if over else f'a timer runs {until(ends)}'}"


def others(here: OpenRepair) -> None:
    """The timers of other repairs, with the way to each."""
    timed = []
    for stored in open_library().repairs():
        if stored.id == here.id or _TIMED not in stored.record.document:
            continue
        try:
            repair = opened(stored)
        except ColorMatchError:  # told in its place among the jobs
            continue
        if told(repair):
            timed.append(repair)
    if not timed:
        return
    st.subheader("Drying elsewhere")
    for repair in sorted(timed, key=lambda one: one.progress.ends):
        ends = repair.progress.ends
        with st.container(horizontal=True, vertical_alignment="center", gap="small", key=f"elsewhere-{repair.id}"):
            st.page_link("screens/mix.py", label=look.plain(repair.name), query_params={session.QUERY: str(repair.id)})
            timer(ends, until(ends), f"timer-{repair.id}", small=True)
