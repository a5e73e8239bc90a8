"""Sheet view: print a grid of cells with markers for painting a whole board of swatches."""

from __future__ import annotations

import streamlit as st

from app import cache
from app.server import pictures
from app.shelf import sheets, way_up
from app.state.library import open_library
from app.widgets import look
from colormatch.errors import ColorMatchError
from colormatch.records import Paint
from colormatch.sheet.layout import MOST_COLUMNS, MOST_ROWS, Plan
from colormatch.sheet.swatches import parse_column

PAPERS = {"a4": "A4", "letter": "Letter"}
#: Columns most informative about a paint: strong, thin, and a second coat.
USUAL_COLUMNS = "full, 1:1, 1:3, 1:3x2, 1:7"


def show() -> None:
    """The view."""
    way_up.show("Your paints")
    st.header("Print a sheet for a board")
    st.write(
        "One row for each paint, one column for each wash. Print it and paint the cells on the paper itself, or cut "
        "them out as a window and lay the frame on a board of wood. When everything is dry, lay the gray card in its "
        "place and take one photo: the program reads every cell by its name."
    )
    names = sorted((one.record.name for one in open_library().all(Paint)), key=str.casefold)
    word_side, page_side = st.columns([1, 1], gap="medium")
    with word_side:
        rows = st.multiselect(
            f"Paints, top to bottom; at most {MOST_ROWS}",
            names,
            max_selections=MOST_ROWS,
            accept_new_options=True,
            placeholder="Choose them, or type new names",
            key="sheet-rows",
            persist_state="session",
        )
        columns = st.text_input(
            f"Washes, left to right, with commas; at most {MOST_COLUMNS}. x2 is two coats",
            USUAL_COLUMNS,
            key="sheet-columns",
            persist_state="session",
        )
        paper = st.segmented_control(
            "Paper",
            list(PAPERS),
            default="a4",
            format_func=PAPERS.__getitem__,
            required=True,
            key="sheet-paper",
            persist_state="session",
        )
    if not rows:
        word_side.write("Choose a paint to see the sheet.")
        return
    try:
        plan = planned(paper, rows, columns)
    except ColorMatchError as error:
        word_side.error(look.plain(str(error)))
        return
    with word_side:
        with st.spinner("Drawing the sheet"):
            pdf = cache.sheet(plan)
        st.download_button(
            "Download the PDF",
            pdf,
            file_name=f"swatch-sheet-{paper}.pdf",
            mime="application/pdf",
            key="sheet-pdf",
            type="primary",
            on_click=sheets.remember,
            args=(plan,),
        )
        st.write("Print it at 100 %, not fitted to the page. The line on it is 50 mm long; check it with a ruler.")
    with page_side:
        picture, (width, height) = cache.sheet_preview(plan)
        st.html(f'<div class="paper">{look.picture(pictures.publish(picture), width, height, "The sheet")}</div>')


def planned(paper: str, rows: list[str], columns: str) -> Plan:
    """Make a sheet with these names.

    Raises
    ------
    BadInput
        Too many names, none, or an invalid wash.
    """
    plan = Plan(paper, tuple(row.strip() for row in rows), tuple(part.strip() for part in columns.split(",")))
    for column in plan.columns:
        parse_column(column)
    return plan
