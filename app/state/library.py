"""The library of whoever started the app, and what a repair takes from it."""

from __future__ import annotations

from contextlib import suppress

from app import cache
from app.cache import LibraryState
from colormatch.errors import LibraryError
from colormatch.library import Library, Stored
from colormatch.library.columns import R
from colormatch.library.rows import Spoiled
from colormatch.library.store import default_folder
from colormatch.records import Ground, OwnCard, ShopChip


def open_library() -> Library:
    """The library of whoever started the app."""
    return cache.library(default_folder())


def unwritable() -> str:
    """Why nothing can be saved in the library, in a sentence, where it is known to be so; else empty."""
    with suppress(LibraryError):  # told where something of it is asked for
        return open_library().unwritable
    return ""


def library_state() -> LibraryState:
    """The library as it stands now: what is computed from it is remembered until something in it changes."""
    own = open_library()
    return LibraryState(own.folder, own.stamp())


def stored(kind: type[R]) -> tuple[Stored[R], ...]:
    """Every record of a kind in the library, read again only when something has changed."""
    return cache.stored(library_state(), kind)


def spoiled() -> tuple[Spoiled, ...]:
    """Every damaged record of the library; the rest is worked with."""
    return cache.spoiled(library_state())


def damage(table: str = "") -> list[str]:
    """Damaged records, of one table or of all, in sentences: the first few, which is what a page has room for."""
    found = [one for one in spoiled() if table in ("", one.table)]
    return [f"{one.what} It is left out; Swatches, Backups, Check everything can set it aside." for one in found[:3]]


def shop_chips() -> tuple[ShopChip, ...]:
    """The library's settled chips."""
    return tuple(one.record for one in stored(ShopChip))


def own_cards() -> tuple[OwnCard, ...]:
    """The library's cards."""
    return tuple(one.record for one in stored(OwnCard))


def grounds() -> tuple[Ground, ...]:
    """The library's kept colors of wood."""
    return tuple(one.record for one in stored(Ground))
