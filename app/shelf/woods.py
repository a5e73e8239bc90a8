"""Choose a color to view the shelf on: from the open repair, a named ground, or typed."""

from __future__ import annotations

import math
from typing import NamedTuple

import streamlit as st

from app import cache
from app.repair.open_repair import SURFACES, lacking
from app.shelf import typed
from app.state import answers, session
from app.state.library import library_state
from app.widgets import look
from colormatch import repair as job
from colormatch.errors import ColorMatchError
from colormatch.records import Lab, Reading, RegionKind

#: Suffix of the name of a surface of the open repair.
OPEN = " of the open repair"
_TYPED = "A color typed as L*, a*, b*"
#: Start of typing when no wood is known: the middle of the scale.
_MIDDLE = Lab(50.0, 0.0, 0.0)


class Wood(NamedTuple):
    """A color with its name."""

    name: str
    lab: Lab
    #: ΔE00, 90 % radius.
    uncertainty: float


def of_repair(kind: RegionKind) -> Wood | None:
    """A surface of the open repair, if readable."""
    reading = repair_reading()
    if reading is None:
        return None
    try:
        sample = job.surface(reading, kind)
        other = job.surface(reading, RegionKind.DAMAGE if kind is RegionKind.SOUND else RegionKind.SOUND)
    except ColorMatchError:
        return None
    # The wash is compared with the other surface of the same photo, so their common error doesn't count.
    return Wood(
        f"{SURFACES[kind]}{OPEN}",
        sample.lab,
        math.hypot(sample.random, job.difference_error(reading, sample.lab, other.lab)),
    )


def repair_reading() -> Reading | None:
    """Reading of the open repair, if possible."""
    try:
        repair = session.current()
        if lacking(repair):
            return None
        with st.spinner("Reading the open repair"):
            found = answers.read(repair, repair.surfaces)
    except ColorMatchError:
        return None
    return found if isinstance(found, Reading) else None


def known() -> list[Wood]:
    """All named woods, in alphabetical order."""
    grounds = cache.grounds(library_state())
    return [Wood(ground.name, ground.lab, ground.uncertainty) for ground in grounds]


def choose(label: str, key: str, woods: list[Wood], first: str = "") -> Wood | None:
    """Let the user choose one, starting with the named one; None, with a message, if typed text is not a color."""
    names = [*(wood.name for wood in woods), _TYPED]
    place = names.index(first) if first in names else 0
    name = st.selectbox(label, names, place, key=key, persist_state="session")
    if name != _TYPED:
        return next(wood for wood in woods if wood.name == name)
    start = typed.color_text(woods[0].lab if woods else _MIDDLE)
    text = st.text_input("L*, a*, b* (D65)", start, key=f"{key}-lab", persist_state="session")
    try:
        return Wood("the typed color", typed.color(text, "color"), 0.0)
    except ColorMatchError as error:
        st.error(look.plain(str(error)))
        return None
