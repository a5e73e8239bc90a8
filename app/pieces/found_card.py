"""The card as the program finds it in a photo, as a mark."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from app import cached
from app.repair.marks import FOUND
from colormatch.errors import ColorMatchError
from colormatch.records import CardKind, Region, RegionKind


def card_mark(path: Path, kind: CardKind) -> tuple[Region, ...]:
    """The card of a kind as a mark of the program's; nothing where it can't be told."""
    with st.spinner("Looking for the card"):
        card = cached.card_in(path, kind)
    if isinstance(card, ColorMatchError) or card.region is None:
        return ()
    return (Region(RegionKind.CARD, card.region.points, FOUND),)


def why_not_found(path: Path, kind: CardKind) -> str:
    """Why a card of the kind has to be marked by hand."""
    card = cached.card_in(path, kind)
    return str(card) if isinstance(card, ColorMatchError) else "No card is marked."
