"""Form to add a swatch by its numbers, or to correct one."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from app.repair import work
from app.shelf import typed, way_up, woods
from app.state import address, session
from app.state.library import open_library
from app.widgets import look
from app.widgets.states import STATES
from colormatch.errors import BadInput
from colormatch.library import Library
from colormatch.records import Lab, Paint, SurfaceState, Swatch
from colormatch.wash.ratio import Ratio, format_ratio
from colormatch.workshop import ground_named


def show() -> None:
    """The view; its number is the paint's for a new swatch, the swatch's own for an old one."""
    library, number = open_library(), address.number()
    if number is None:
        way_up.show("Your paints")
        return
    if address.view() == "edit-swatch":
        swatch = library.get(Swatch, number)
        owner = next(one.id for one in library.all(Paint) if one.record.name == swatch.paint)
        paint, title = swatch.paint, f"Correct a swatch of {swatch.paint}"
    else:
        swatch, owner = None, number
        paint = library.get(Paint, number).name
        title = f"A swatch of {paint}, by numbers"
    way_up.show(paint, "paint", owner)
    st.header(look.plain(title))
    if swatch is None:
        st.write(
            "For a color that an instrument measured: CIELAB under D65, 2°. You can also use a photo beside your gray "
            "card."
        )
    _form(library, swatch, paint, owner)


def _form(library: Library, swatch: Swatch | None, paint: str, owner: int) -> None:
    names = [wood.name for wood in woods.known()]
    with st.form("swatch-form", border=False):
        left, right = st.columns(2, gap="small")
        with left:
            ratio = "" if swatch is None else format_ratio(swatch.paint_parts, swatch.water_parts)
            st.text_input("Paint to water: full, 1:7, 25% …", ratio, key="swatch-ratio")
            st.number_input("Coats", 1, None, 1 if swatch is None else swatch.coats, key="swatch-coats")
            dried = typed.color_text(swatch.lab if swatch else None)
            st.text_input("Color of the dried wash: L*, a*, b*", dried, key="swatch-lab")
            doubt = Swatch.uncertainty if swatch is None else swatch.uncertainty
            st.text_input("Uncertainty, ΔE (nine times in ten)", f"{doubt:g}", key="swatch-uncertainty")
        with right:
            ground = "" if swatch is None else swatch.ground
            st.text_input("Painted on, such as light wood", ground, key="swatch-ground")
            st.text_input(
                "Color of that wood: L*, a*, b*" + ("; empty: as you kept it" if names else ""),
                typed.color_text(swatch.ground_lab if swatch else None),
                key="swatch-ground-lab",
            )
            state = SurfaceState.BARE if swatch is None else swatch.state
            st.selectbox(
                "The wood was",
                list(STATES),
                list(STATES).index(state),
                format_func=STATES.__getitem__,
                key="swatch-state",
            )
            taken = work.today() if swatch is None else swatch.taken
            st.text_input("Date, year-month-day", taken, key="swatch-taken")
        st.text_area("Notes", "" if swatch is None else swatch.notes, key="swatch-notes")
        st.form_submit_button(
            "Keep the swatch", key="keep-swatch", type="primary", on_click=_keep, args=(address.number(), paint, owner)
        )


def _keep(number: int, paint: str, owner: int) -> None:
    with session.telling():
        library = open_library()
        held = {
            name: session.widget_value(f"swatch-{name}")
            for name in ("ratio", "coats", "lab", "uncertainty", "ground", "ground-lab", "state", "taken", "notes")
        }
        old = library.get(Swatch, number) if address.view() == "edit-swatch" else None
        if not held["ground"].strip():
            raise BadInput("The ground it was painted on is missing.", "Type it, such as light wood.")
        ratio = typed.ratio(held["ratio"], Ratio(old.paint_parts, old.water_parts) if old else None)
        given = {
            "paint_parts": ratio.paint,
            "water_parts": ratio.water,
            "coats": held["coats"],
            "ground": held["ground"].strip(),
            "ground_lab": _ground(library, held["ground"], held["ground-lab"], old.ground_lab if old else None),
            "lab": typed.color(held["lab"], "color of the dried wash", old.lab if old else None),
            "uncertainty": typed.radius(held["uncertainty"], old.uncertainty if old else None),
            "state": held["state"],
            "taken": held["taken"].strip(),
            "notes": held["notes"].strip(),
        }
        if old is None or given["lab"] != old.lab:
            given["measured"] = "typed in"
        if old is None:
            fresh = Swatch(paint=paint, **given)
            if all(
                one.record != fresh for one in library.all(Swatch)
            ):  # otherwise it was pressed twice in quick succession
                library.add(fresh)
        else:
            library.edit(number, replace(old, **given))
        address.go("paint", owner)


def _ground(library: Library, name: str, color: str, before: Lab | None) -> Lab:
    if color.strip():
        return typed.color(color, "color of the wood", before)
    return ground_named(library, name).lab
