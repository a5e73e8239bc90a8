"""Boards of swatches, and printed sheets."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import streamlit as st

from app.cache.errors_as_values import returns_errors
from app.cache.photos import decoded
from app.cache.pictures import SCREEN_SIDE
from colormatch.records import Region
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.neutral import Neutral
from colormatch.render.outlines import outlined
from colormatch.render.preview import jpeg
from colormatch.sheet import read
from colormatch.sheet.cells import BoardReading
from colormatch.sheet.layout import Plan

#: Resolution of a sheet on the page, dots per inch; its letters are legible.
SHEET_DPI = 96


@st.cache_data(max_entries=8, show_spinner=False)
@returns_errors
def sheet_in(path: Path, plans: tuple[Plan, ...]) -> Plan | None:
    """Find which printed sheet is in a photo; None for another sheet."""
    return read.plan_in(decoded(path), plans)


@st.cache_resource(max_entries=8, show_spinner=False)
@returns_errors
def board(
    path: Path, card: CardChoice, plan: Plan, corners: tuple[tuple[float, float], ...]
) -> tuple[BoardReading, Neutral]:
    """Read a board's cells; ``corners`` in pixels unless it is a printed sheet."""
    photo = decoded(path)
    return read.read_board(photo, plan, corners, card) if corners else read.read_sheet(photo, plan, card)


@st.cache_data(max_entries=8, show_spinner=False)
def cells(path: Path, regions: tuple[Region, ...]) -> bytes:
    """A photo with its cells outlined, as JPEG."""
    return jpeg(outlined(decoded(path).preview(SCREEN_SIDE), regions))


@st.cache_data(max_entries=4, show_spinner=False)
def sheet(plan: Plan) -> bytes:
    """A sheet to print, as PDF."""
    from colormatch.sheet.pdf import sheet_pdf

    return sheet_pdf(plan)


@st.cache_data(max_entries=8, show_spinner=False)
def sheet_preview(plan: Plan) -> tuple[bytes, tuple[int, int]]:
    """A small picture of that sheet, as JPEG, with width and height."""
    from colormatch.sheet.pdf import sheet_picture

    picture = sheet_picture(plan, SHEET_DPI).convert("RGB")
    return jpeg(np.asarray(picture)), picture.size
