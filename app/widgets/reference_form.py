"""Form for the references in a photo: the card, its value, the chips."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import streamlit as st

from app.repair.marks import ALONE, FOUND
from app.repair.open_repair import OpenRepair
from app.state import cameras, session
from app.state.library import grounds, own_cards, shop_chips
from colormatch.lessons import photos_word
from colormatch.records import CardKind, Ground, OwnCard, RegionKind, ShopChip
from colormatch.reference.card_choice import ChartIssue, settled_text

#: Kinds of card in words.
CARD_KINDS = {
    CardKind.GRAY: "Gray card",
    CardKind.THREE_STEP: "Three-step card: white, gray, black",
    CardKind.CHART24: "24-patch chart",
    CardKind.PAPER: "No card: white paper",
    CardKind.CARDBOARD: "No card: white cardboard",
    CardKind.PIECE: "No card: a second piece of known color",
    CardKind.NONE: "None in the photo",
}
_VALUES = {
    CardKind.GRAY: "Its reflectance or Lab, if the maker states one; otherwise 18\u00a0%",
    CardKind.THREE_STEP: "Its white, gray and black reflectance, if stated; otherwise 0.89/0.18/0.035",
    CardKind.PAPER: "Its Lab, if measured; otherwise that of typical office paper",
    CardKind.CARDBOARD: "Its Lab, if measured; otherwise that of typical white cardboard",
    CardKind.PIECE: "Its Lab, such as 62,9,24",
}
_ISSUES = {
    "": "Usual: published since November 2014",
    ChartIssue.BEFORE_2014.value: "Made before November 2014",
}
_UNNAMED = ""


def card_form(repair: OpenRepair) -> None:
    """Ask for the card in the photo and its maker's value."""
    own = {card.name: card for card in own_cards()}
    key = f"card_kind-{repair.id}"
    chosen = repair.own_card if repair.own_card in own else repair.card_kind
    st.selectbox(
        "Card in the photo",
        [*CARD_KINDS, *own],
        format_func=lambda one: CARD_KINDS.get(one, f"My card: {one}"),
        key=session.showing(key, chosen),
        on_change=_take_card,
        args=(key, own),
    )
    if repair.own_card in own or repair.card_kind is CardKind.NONE:
        return
    value_key = f"card_value-{repair.id}"
    value_form(repair.card_kind, repair.card_value, value_key, session.changer("card_value", value_key, str.strip))


def value_form(kind: CardKind, value: str, key: str, changed: Callable[[], None]) -> None:
    """What the maker of a card of some kind states."""
    if kind is CardKind.CHART24:
        st.selectbox(
            "Its values",
            list(_ISSUES),
            format_func=_ISSUES.__getitem__,
            key=session.showing(key, value if value in _ISSUES else ""),
            on_change=changed,
        )
        return
    known: list[Ground | ShopChip] = [*grounds(), *shop_chips()]
    pieces = {settled_text(one.lab, one.uncertainty): one.name for one in known}
    if kind is CardKind.PIECE and pieces:
        st.selectbox(
            "The piece is",
            ["", *pieces, *({value} - {"", *pieces})],
            format_func=lambda text: pieces.get(text, text) or "Not said yet",
            key=session.showing(key, value),
            on_change=changed,
        )
        return
    st.text_input(_VALUES[kind], key=session.showing(key, value), on_change=changed)


def camera_form(repair: OpenRepair, path: Path) -> None:
    """Whether a photo with a gray card is read through what was learned of its camera; nothing where nothing was."""
    by_light = cameras.known(path) if repair.card_kind is CardKind.GRAY else {}
    if not by_light:
        return
    learned = {
        light.value: f"In {cameras.LIGHTS[light]}, {photos_word(len(photos))}" for light, photos in by_light.items()
    }
    # Where there is one light only, it is the usual one.
    usual = (
        {"": next(iter(learned.values()))} if len(learned) == 1 else {"": "Not known: the gray card alone", **learned}
    )
    options = {**usual, ALONE: "Another light: the gray card alone"}
    key = f"through-{repair.id}"
    st.selectbox(
        "This camera was learned",
        list(options),
        format_func=options.__getitem__,
        key=session.showing(key, repair.through if repair.through in options else ""),
        on_change=session.changer("through", key),
    )
    woods = [wood.name for wood in grounds()]
    if woods:
        key = f"known_wood-{repair.id}"
        st.selectbox(
            "The sound wood is the same as",
            ["", *woods],
            format_func=lambda name: name or "Not said",
            key=session.showing(key, repair.known_wood if repair.known_wood in woods else ""),
            on_change=session.changer("known_wood", key),
            help="If the learned camera reads that wood differently, only the gray card is used.",
        )


def _take_card(key: str, own: dict[str, OwnCard]) -> None:
    """Change the card; a mark found for the old kind is searched again."""
    chosen: Any = session.widget_value(key)
    card = own.get(chosen)
    repair = session.current()
    kind = card.kind if card else CardKind(chosen)
    what: dict[str, Any] = {"card_kind": kind, "card_value": card.value if card else "", "own_card": ""}
    if card:
        what["own_card"] = card.name
    if kind is not repair.card_kind and kind is not CardKind.NONE:
        regions = tuple(region for region in repair.regions if region.name != FOUND)
        marked = repair.with_regions(*regions)
        what |= {"regions": marked.regions, "stamp": marked.stamp, "searched": False}
    session.change(**what)


def chip_form(repair: OpenRepair) -> None:
    """Ask which shop chip each mark is; empty without marks."""
    marked = repair.of_kind(RegionKind.CHIP)
    if not marked:
        return
    known = [chip.name for chip in shop_chips()]
    for number, region in enumerate(marked):
        key = f"chip-{repair.id}-{number}"
        label = "The shop chip is" if len(marked) == 1 else f"Shop chip {number + 1} is"
        st.selectbox(
            label,
            [_UNNAMED, *known],
            format_func=lambda name: name or "Not chosen yet: not used",
            key=session.showing(key, region.name if region.name in known else _UNNAMED),
            on_change=_name_chip,
            args=(key, number),
        )
    if not known:
        to_chips = {**session.link(), "view": "chips"}
        st.page_link("shelf/swatches.py", label="**Measure its color on the Swatches page**", query_params=to_chips)


def _name_chip(key: str, number: int) -> None:
    repair = session.current()
    chip = repair.of_kind(RegionKind.CHIP)[number]
    named = replace(chip, name=session.widget_value(key))
    regions = tuple(named if region is chip else region for region in repair.regions)
    marked = repair.with_regions(*regions)
    session.change(regions=marked.regions, stamp=marked.stamp)
