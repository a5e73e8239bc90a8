"""The shelf: paints as cards with their measured colors; search, filter, sort."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import streamlit as st

from app.shelf import woods
from app.state import address, session
from app.state.library import damage, open_library, stored
from app.widgets import chips, look
from colormatch.library import Library, Stored
from colormatch.library.find import FindResult, Sort, find
from colormatch.library.starter import install_starter
from colormatch.records import Paint, RegionKind, Swatch

_NAME, _RECENT, _NEAR = "Name", "Added last", "Nearest to a color"
_ALL_KINDS = "Every kind"
#: Cards shown at first: few enough to scroll through on a phone.
_FIRST = 48
#: Settings here persist after a visit to one paint.
_STAYS: dict[str, Any] = {"persist_state": "session"}


def show() -> None:
    """The view."""
    library = open_library()
    st.header("Your paints")
    _actions()
    look.sentences(damage())
    if not stored(Paint):
        _empty(library)
        return
    every = [one.record for one in stored(Swatch)]
    paints, compared = _listed(every)
    swatches: defaultdict[str, list[Swatch]] = defaultdict(list)
    for swatch in every:
        swatches[swatch.paint].append(swatch)
    if not paints:
        st.write("No paint on the shelf matches. Remove a word from the search, or clear a filter.")
    all_of_them = len(paints) <= _FIRST or st.checkbox(f"Show all {len(paints)}", key="all-paints", **_STAYS)
    shown = paints if all_of_them else paints[:_FIRST]
    with st.container(horizontal=True, gap="small", key="paint-cards"):
        for found in shown:
            _card(found, swatches[found.stored.record.name], compared)


def _actions() -> None:
    with st.container(horizontal=True, gap="small", key="shelf-actions"):
        st.button("Add a paint", key="add-paint", type="primary", on_click=address.go, args=("add-paint",))
        st.button("Swatch from a photo", key="patch", on_click=address.go, args=("patch",))
        st.button("Board from a photo", key="board", on_click=address.go, args=("board",))
        with st.popover("More", key="more"):
            for label, to in (
                ("Print a sheet for a board", "sheet"),
                ("Teach it your phone", "cameras"),
                ("Woods, shop chips, clear coats, cards", "grounds"),
                ("Import and export", "exchange"),
                ("Backups", "backups"),
            ):
                st.button(label, key=to, width="stretch", on_click=address.go, args=(to,))


def _empty(library: Library) -> None:
    st.write(
        "Your shelf is empty. Add the paints that you own, then for each at least one swatch: painted on wood, "
        "dried, and photographed beside your gray card. With two swatches, full strength and 1:7, the program "
        "predicts every other dilution of the paint fairly well."
    )
    st.write("Or look around with invented paints first; Undo removes them.")
    st.button("Put the example's paints on the shelf", key="starter", on_click=_install, args=(library,))


def _install(library: Library) -> None:
    with session.telling():
        install_starter(library)


# --- find ------------------------------------------------------------------------------------------------------------


def _wanted(stored: tuple[Stored[Paint], ...]) -> tuple[list[Stored[Paint]], str]:
    """The filtered paints, and the search words."""
    kinds = sorted({one.record.kind for one in stored if one.record.kind}, key=str.casefold)
    with st.container(horizontal=True, gap="small", vertical_alignment="bottom", key="shelf-filters"):
        words = st.text_input("Search", key="search", **_STAYS)
        kind = st.selectbox("Kind", [_ALL_KINDS, *kinds], key="kind", **_STAYS) if kinds else _ALL_KINDS
        on_hand = st.checkbox("Only paints with some left in the tin", key="on-hand", **_STAYS)
    # As for a match: an amount that nobody entered is taken as some.
    kept = [
        one for one in stored if kind in (_ALL_KINDS, one.record.kind) and not (on_hand and one.record.on_hand_ml == 0)
    ]
    return kept, words


def _listed(swatches: list[Swatch]) -> tuple[tuple[FindResult[Paint], ...], str]:
    """The paints in the chosen order, and the color they are compared with, if any."""
    paints, words = _wanted(stored(Paint))
    order = st.segmented_control("Sort by", (_NAME, _RECENT, _NEAR), default=_NAME, required=True, key="sort", **_STAYS)
    by_name = find(paints, words, sort=Sort.NAME)
    if order == _RECENT:
        return find(paints, words, sort=Sort.NEWEST), ""
    if order == _NAME:
        return by_name, ""
    surfaces = [wood for kind in (RegionKind.SOUND, RegionKind.DAMAGE) if (wood := woods.of_repair(kind))]
    wood = woods.choose("Which color?", "near", [*surfaces, *woods.known()])
    if wood is None:
        return by_name, ""
    st.write("Paints are sorted by their closest swatch, whatever wood it was painted on.")
    return find(paints, words, near=wood.lab, swatches=swatches, sort=Sort.NAME), wood.name


# --- cards -----------------------------------------------------------------------------------------------------------


def _card(found: FindResult[Paint], swatches: list[Swatch], compared: str) -> None:
    paint, number = found.stored.record, found.stored.id
    with st.container(key=f"paint-card-{number}", gap=None):
        st.html(chips.strip(swatches))
        st.button(
            f"**{look.plain(paint.name)}**  \n{look.plain(_facts(paint, len(swatches), found.delta_e, compared))}",
            key=f"paint-{number}",
            width="stretch",
            on_click=address.go,
            args=("paint", number),
        )


def _facts(paint: Paint, swatches: int, delta_e: float | None, compared: str) -> str:
    if delta_e is not None:
        return f"ΔE {delta_e:.1f} from {compared}"
    said = ["invented"] * paint.invented + [paint.kind] * bool(paint.kind)
    said.append("1 swatch" if swatches == 1 else f"{swatches} swatches")
    if paint.on_hand_ml is not None and not paint.invented:
        said.append(f"{paint.on_hand_ml:g} ml left" if paint.on_hand_ml else "none left")
    return " · ".join(said)
