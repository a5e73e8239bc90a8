"""Swatches page: the shelf and its views; the address names the open view."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import streamlit as st

from app.shelf import (
    backups,
    board,
    cameras,
    color,
    exchange,
    paint,
    paint_form,
    paints,
    patch,
    sheet,
    swatch_form,
    things,
    undo,
)
from app.state import address
from app.widgets import chips, look
from colormatch.errors import LibraryDamaged

_CSS = Path(__file__).with_name("shelf.css").read_text(encoding="utf-8")
#: Views by their names in the address.
VIEWS: dict[str, Callable[[], None]] = {
    "": paints.show,
    "paint": paint.show,
    "add-paint": paint_form.show,
    "edit-paint": paint_form.show,
    "add-swatch": swatch_form.show,
    "edit-swatch": swatch_form.show,
    "patch": patch.show,
    "board": board.show,
    "sheet": sheet.show,
    "color": color.show,
    **dict.fromkeys(things.THINGS, things.show),
    "cameras": cameras.show,
    "exchange": exchange.show,
    "backups": backups.show,
}

chips.dress()
st.html(f"<style>{_CSS}</style>")
try:
    undo.bar()
    VIEWS.get(address.view(), paints.show)()
except LibraryDamaged as error:
    st.error(look.plain(error.what))
    backups.ways_back()
