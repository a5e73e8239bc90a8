"""Mark the card that the program finds in a photo."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import streamlit as st

from app import cache
from app.repair.marks import FOUND, Marked
from colormatch.errors import ColorMatchError
from colormatch.records import CardKind, Region, RegionKind

M = TypeVar("M", bound=Marked)


def with_card_looked_for(held: M, path: Path, kind: CardKind) -> M:
    """Marks in a photo, with the card added if it is unmarked and the program finds it.

    The search runs once per photo; after that, the user moves the mark.
    """
    found = () if held.card_region else _found(path, kind)
    return replace(held.with_regions(*found, *held.regions), searched=True)


def _found(path: Path, kind: CardKind) -> tuple[Region, ...]:
    with st.spinner("Looking for the card"):
        card = cache.card_in(path, kind)
    if isinstance(card, ColorMatchError) or card.region is None:
        return ()
    return (Region(RegionKind.CARD, card.region.points, FOUND),)


def why_not_found(path: Path, kind: CardKind) -> str:
    """Reason why a card of the kind must be marked by hand."""
    card = cache.card_in(path, kind)
    return str(card) if isinstance(card, ColorMatchError) else "No card is marked."
