"""The card as the program finds it in a photo, as a mark."""

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
    """What is marked in a photo, and the card of a kind where none is marked and the program finds it.

    It is looked for once in each photo; from then on it is the person's to move.
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
    """Why a card of the kind has to be marked by hand."""
    card = cache.card_in(path, kind)
    return str(card) if isinstance(card, ColorMatchError) else "No card is marked."
