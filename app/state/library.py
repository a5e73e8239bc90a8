"""The user's library, and the parts of it used by a repair."""

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
    """The user's library."""
    return cache.library(default_folder())


def unwritable() -> str:
    """Reason why nothing can be saved in the library, in a sentence; empty if it is writable."""
    with suppress(LibraryError):  # reported where the library is used
        return open_library().unwritable
    return ""


def library_state() -> LibraryState:
    """Current state of the library, as a cache key."""
    own = open_library()
    return LibraryState(own.folder, own.stamp())


def stored(kind: type[R]) -> tuple[Stored[R], ...]:
    """All records of a kind, read again only after a change."""
    return cache.stored(library_state(), kind)


def spoiled() -> tuple[Spoiled, ...]:
    """All damaged records; work continues with the others."""
    return cache.spoiled(library_state())


def damage(table: str = "") -> list[str]:
    """Damaged records of one table or of all, in sentences; only the first few, as many as fit on a page."""
    found = [one for one in spoiled() if table in ("", one.table)]
    return [f"{one.what} It is left out. Set it aside under Swatches, Backups, Check everything." for one in found[:3]]


def shop_chips() -> tuple[ShopChip, ...]:
    """The library's shop chips."""
    return tuple(one.record for one in stored(ShopChip))


def own_cards() -> tuple[OwnCard, ...]:
    """The library's cards."""
    return tuple(one.record for one in stored(OwnCard))


def grounds() -> tuple[Ground, ...]:
    """The library's grounds."""
    return tuple(one.record for one in stored(Ground))
