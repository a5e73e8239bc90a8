"""Form to add or change a paint."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from app.shelf import typed, way_up
from app.state import address, session
from app.state.library import open_library
from app.widgets import look, photo_files
from colormatch.records import Paint


def show() -> None:
    """The view; the address names the paint, or none for a new one."""
    number = address.number()
    library = open_library()
    paint = None if number is None else library.get(Paint, number)
    if paint is None:
        way_up.show("Your paints")
    else:
        way_up.show(paint.name, "paint", number)
    st.header("A new paint" if paint is None else f"Change {look.plain(paint.name)}")

    def value(field: str) -> str:
        held = "" if paint is None else getattr(paint, field)
        return "" if held is None else f"{held:g}" if isinstance(held, float) else str(held)

    def key(field: str) -> str:
        return f"paint-{field}"

    if paint is None:
        st.write("Only the name is required; you can add the rest later.")
    with st.form("paint-form", border=False):
        st.text_input("Name on the tin", value("name"), key=key("name"))
        left, right = st.columns(2, gap="small")
        with left:
            st.text_input("Maker", value("maker"), key=key("maker"))
            st.text_input("Thinned with", value("thinner") or Paint.thinner, key=key("thinner"))
            st.text_input("Price of one tin, in your currency", value("price"), key=key("price"))
        with right:
            st.text_input("Kind, such as milk paint, stain, glaze", value("kind"), key=key("kind"))
            st.text_input("Size of the tin, such as 250 ml or 1 pint", value("size_ml"), key=key("size_ml"))
            st.text_input("Amount left, such as 100 ml or 1 cup", value("on_hand_ml"), key=key("on_hand_ml"))
        st.text_area("Notes", value("notes"), key=key("notes"))
        another = "Photo" if paint is None or not paint.photo else "Another photo"
        photo_files.uploader(f"{another} of the tin", key("photo"))
        st.form_submit_button("Keep the paint", key="keep-paint", type="primary", on_click=_keep, args=(number,))


def _keep(number: int | None) -> None:
    with session.telling():
        library = open_library()
        before = Paint("new") if number is None else library.get(Paint, number)
        given: dict[str, Any] = {
            field: session.widget_value(f"paint-{field}").strip()
            for field in ("name", "maker", "kind", "thinner", "notes")
        }
        given |= {field: typed.volume(session.widget_value(f"paint-{field}")) for field in ("size_ml", "on_hand_ml")}
        price = typed.number(session.widget_value("paint-price"), "price")
        photo = before.photo
        if (upload := session.widget_value("paint-photo")) is not None:
            photo = photo_files.keep(upload.getvalue(), upload.name)
        paint = replace(before, **given, price=price, photo=photo)
        if number is None:
            # Pressed twice in quick succession: it already exists.
            twin = next((one.id for one in library.all(Paint) if one.record == paint), None)
            number = library.add(paint) if twin is None else twin
        else:
            library.edit(number, paint)
        address.go("paint", number)
