"""The library of whoever started the app, and what a repair takes from it."""

from __future__ import annotations

from app.cached import library
from app.cached import stored as cached_records
from colormatch.library import Library, Stored
from colormatch.library.columns import R
from colormatch.library.store import default_folder
from colormatch.records import Ground, OwnCard, ShopChip


def open_library() -> Library:
    """The library of whoever started the app."""
    return library(default_folder())


def stored(kind: type[R]) -> tuple[Stored[R], ...]:
    """Every record of a kind in the library, read again only when something has changed."""
    own = open_library()
    return cached_records(own.folder, own.stamp(), kind)


def shop_chips() -> tuple[ShopChip, ...]:
    """The library's settled chips."""
    return tuple(one.record for one in stored(ShopChip))


def own_cards() -> tuple[OwnCard, ...]:
    """The library's cards."""
    return tuple(one.record for one in stored(OwnCard))


def grounds() -> tuple[Ground, ...]:
    """The library's kept colors of wood."""
    return tuple(one.record for one in stored(Ground))
