"""Woods, shop chips, clear coats and cards: lists, with forms to add and correct."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import streamlit as st

from app.shelf import typed, way_up
from app.state import address, session
from app.state.library import open_library
from app.widgets import chips, look
from app.widgets.reference_form import CARD_KINDS
from app.widgets.states import STATES
from colormatch.library import Stored
from colormatch.library.columns import Record
from colormatch.records import CardKind, ClearCoatPair, Ground, Lab, OwnCard, ShopChip, SurfaceState
from colormatch.reference.card_choice import parse_card_value


@dataclass(frozen=True)
class Field:
    """One field of a form."""

    name: str
    label: str
    #: Parses typed text, given the previous value (None for a new record).
    read: Callable[[Any, Any], Any] = lambda text, before: text.strip()
    #: Formats the value for typing.
    show: Callable[[Any], Any] = str
    #: For a choice instead of typing: values and their labels.
    options: Mapping[Any, str] | None = None


def _color(name: str, label: str) -> Field:
    return Field(name, label, lambda text, before: typed.color(text, "color", before), typed.color_text)


_NAME = Field("name", "Name")
_NOTES = Field("notes", "Notes")
_UNCERTAINTY = Field("uncertainty", "Uncertainty, ΔE (nine times in ten)", typed.radius, lambda value: f"{value:g}")


@dataclass(frozen=True)
class Thing:
    """One kind of record on the page."""

    kind: type[ClearCoatPair | Ground | OwnCard | ShopChip]
    #: Heading of its list; below, name of one record.
    title: str
    one: str
    #: Their purpose.
    use: str
    fields: tuple[Field, ...]
    #: Initial content of a new form.
    blank: ClearCoatPair | Ground | OwnCard | ShopChip

    def colors(self, record: Any) -> tuple[Lab, Lab] | None:
        """Colors of a record's chip: its own and the surrounding one."""
        if isinstance(record, ClearCoatPair):
            return record.sealed_lab, record.bare_lab
        return None if isinstance(record, OwnCard) else (record.lab, record.lab)


_GRAY = Lab(50.0, 0.0, 0.0)
THINGS = {
    "grounds": Thing(
        Ground,
        "Woods",
        "wood",
        "Measure a wood once and name it: you can paint swatches on it, and view the grid of a paint over it.",
        (
            _NAME,
            _color("lab", "Color: L*, a*, b*"),
            _UNCERTAINTY,
            Field("state", "It is", lambda value, before: SurfaceState(value), options=STATES),
            _NOTES,
        ),
        Ground("new", _GRAY),
    ),
    "chips": Thing(
        ShopChip,
        "Shop chips",
        "shop chip",
        "Objects of known color, such as painted offcuts that you keep on the bench. Four of them in a photo beside "
        "the gray card make its colors more reliable, and link photos of different days.",
        (_NAME, _color("lab", "Color: L*, a*, b*"), _UNCERTAINTY, _NOTES),
        ShopChip("new", _GRAY),
    ),
    "clear-coats": Thing(
        ClearCoatPair,
        "Clear coats",
        "clear coat",
        "A clear coat darkens and warms the surface under it. From one spot, measured bare and then sealed, the "
        "program learns what the coat does; a second spot on washed wood helps.",
        (
            _NAME,
            _color("bare_lab", "Color before: L*, a*, b*"),
            _color("sealed_lab", "Color sealed and dry: L*, a*, b*"),
            Field("on", "Applied to, such as bare wood or washed wood"),
            _NOTES,
        ),
        ClearCoatPair("new", _GRAY, _GRAY),
    ),
    "cards": Thing(
        OwnCard,
        "Cards",
        "card",
        "Your gray cards and charts, with the values that their makers state. You choose them by name on the Photo "
        "page.",
        (
            _NAME,
            Field(
                "kind",
                "It is a",
                lambda value, before: CardKind(value),
                options={kind: word for kind, word in CARD_KINDS.items() if kind is not CardKind.NONE},
            ),
            Field("value", "What its maker states: 18%, a Lab, or white/gray/black; empty: the usual one"),
            _NOTES,
        ),
        OwnCard("new", CardKind.GRAY),
    ),
}


def show() -> None:
    """The view; its name gives the kind, its number the record to correct."""
    view, number = address.view(), address.number()
    thing = THINGS[view]
    way_up.show("Your paints")
    tabs(view)
    st.header(thing.title)
    st.write(thing.use)
    library = open_library()
    if number is not None:
        record = library.get(thing.kind, number)
        st.subheader(f"Correct {look.plain(record.name)}")
        _form(thing, record, number)
        return
    stored = sorted(library.all(thing.kind), key=lambda one: one.record.name.casefold())
    for one in stored:
        _row(thing, view, one)
    with st.expander(
        f"**Add a {thing.one}{' by its numbers' * (thing.kind is not OwnCard)}**",
        expanded=not stored,
        key=f"add-{view}",
    ):
        _form(thing, None, None)
    if thing.kind is not OwnCard:
        st.button(f"Read a {thing.one} from a photo", key="color", on_click=address.go, args=("color",))


def tabs(view: str) -> None:
    """The way from one list to the others."""
    with st.container(horizontal=True, gap=None, key="things"):
        for name, title in ({name: thing.title for name, thing in THINGS.items()} | {"cameras": "Cameras"}).items():
            st.button(f"**{title}**" if name == view else title, key=f"to-{name}", on_click=address.go, args=(name,))


# --- list ------------------------------------------------------------------------------------------------------------


def _row(thing: Thing, view: str, stored: Stored[Any]) -> None:
    record, number = stored.record, stored.id
    with st.container(horizontal=True, gap="small", vertical_alignment="center", key=f"swatch-row-{number}"):
        colors = thing.colors(record)
        if colors:
            st.html(chips.swatch_chip(*colors, record.name), width=96)
        st.markdown(f"**{look.plain(record.name)}**  \n{look.plain(_told(thing, record))}")
        with st.popover("Change", key=f"thing-{number}"):
            st.button("Edit", key=f"edit-{number}", width="stretch", on_click=address.go, args=(view, number))
            st.button(
                "Duplicate", key=f"duplicate-{number}", width="stretch", on_click=_duplicate, args=(thing.kind, number)
            )
            st.button("Delete", key=f"delete-{number}", width="stretch", on_click=_delete, args=(thing.kind, number))


def _told(thing: Thing, record: Any) -> str:
    """Other fields of a record in one line."""
    said = []
    for field in thing.fields[1:]:
        value = getattr(record, field.name)
        if field.options is not None:
            said.append(field.options[value])
        elif isinstance(value, Lab):
            said.append(f"{field.label.partition(':')[0].lower()} {typed.color_text(typed.told(value))}")
        elif field is _UNCERTAINTY:
            said.append(f"± {value:g} ΔE")
        elif value:
            said.append(str(value))
    return " · ".join(said)


def _duplicate(kind: type[Record], number: int) -> None:
    with session.telling():
        open_library().duplicate(kind, number)


def _delete(kind: type[Record], number: int) -> None:
    with session.telling():
        open_library().remove(kind, number)


# --- form ------------------------------------------------------------------------------------------------------------


def _form(thing: Thing, record: Any, number: int | None) -> None:
    keys = _keys(thing, number)
    with st.form(f"form-{address.view()}", border=False, clear_on_submit=False):
        for field in thing.fields:
            value = getattr(record or thing.blank, field.name)
            if field.options is not None:
                options = list(field.options)
                st.selectbox(
                    field.label,
                    options,
                    options.index(value),
                    format_func=field.options.__getitem__,
                    key=keys[field.name],
                )
            else:
                text = _blank(thing, field) if record is None else field.show(value)
                st.text_input(field.label, text, key=keys[field.name])
        st.form_submit_button(
            f"Keep the {thing.one}", key="keep-thing", type="primary", on_click=_keep, args=(thing, number)
        )


def _keys(thing: Thing, number: int | None) -> dict[str, str]:
    """Keys of a form's widgets, by field; forms for new and existing records have different keys."""
    which = "thing" if number is None else f"thing-{number}"
    return {field.name: f"{which}-{field.name}" for field in thing.fields}


def _blank(thing: Thing, field: Field) -> Any:
    """Initial value in a new form; empty if there is no usual one."""
    value = getattr(thing.blank, field.name)
    if field.options is not None:
        return value
    return "" if field is _NAME or isinstance(value, Lab) else field.show(value)


def _keep(thing: Thing, number: int | None) -> None:
    with session.telling():
        library, keys = open_library(), _keys(thing, number)
        before = None if number is None else library.get(thing.kind, number)
        given = {
            field.name: field.read(session.widget_value(keys[field.name]), before and getattr(before, field.name))
            for field in thing.fields
        }
        record: Any = replace(before or thing.blank, **given)
        if isinstance(record, OwnCard):
            parse_card_value(record.value, record.kind)
        if number is None:
            library.add(record)
            for field in thing.fields:
                session.showing(keys[field.name], _blank(thing, field))
        else:
            library.edit(number, record)
            address.go(address.view())
