"""Timers of all repairs: each has its own, and every page shows those of the others."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from app.repair.open_repair import OpenRepair, opened
from app.screens.timer import now_ms, timer
from app.state import session
from app.state.library import open_library
from app.widgets import look
from colormatch.errors import ColorMatchError

#: Marker of a timer in a repair's document; other documents need not be parsed.
_TIMED = '"timers": [['
#: How long an ended timer is shown on the pages of other repairs, milliseconds: half a day, our choice.
_TOLD_MS = 12 * 3600 * 1000


def until(ends: int) -> str:
    """End of a timer by the reader's clock."""
    return f"until {clock(datetime.fromtimestamp(ends / 1000, session.time_zone()))}"


def clock(moment: datetime) -> str:
    """A time of day, with the day unless it is today."""
    days = (moment.date() - datetime.now(moment.tzinfo).date()).days
    if not days:
        return f"{moment:%H:%M}"
    return f"{moment:%H:%M} {'tomorrow' if days == 1 else f'on {moment:%A}'}"


def told(repair: OpenRepair) -> str:
    """A repair's timer in words, for the list of jobs; empty if none runs or ended recently."""
    ends = repair.progress.ends
    if ends < now_ms() - _TOLD_MS:
        return ""
    over = ends <= now_ms()
    return f"Step {repair.progress.step + 1}: {'its time is up' if over else f'a timer runs {until(ends)}'}"


def others(here: OpenRepair) -> None:
    """The timers of other repairs, with links."""
    timed = []
    for stored in open_library().repairs():
        if stored.id == here.id or _TIMED not in stored.record.document:
            continue
        try:
            repair = opened(stored)
        except ColorMatchError:  # reported in the list of jobs
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
