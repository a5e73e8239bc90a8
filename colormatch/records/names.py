"""Comparison of names: the only rules for whether two names mean the same thing."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterable
from typing import Protocol, TypeVar


class Named(Protocol):
    """Anything with a name."""

    @property
    def name(self) -> str: ...


N = TypeVar("N", bound=Named)


#: Invisible, zero-width characters, including joiners and selectors of scripts and emoji (Default Ignorable Code Points
#: of The Unicode Standard, section 5.21, outside category Cf).
_IGNORED = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180f\u3164\uffa0") | frozenset(
    map(chr, range(0xFE00, 0xFE10))
)
#: Those that scripts and emoji need.
_JOINERS = frozenset("\u200c\u200d") | frozenset(map(chr, range(0xFE00, 0xFE10)))


def without_invisible(name: str, *, kept: Collection[str] = ()) -> str:
    """Remove invisible characters from a name; they would make two names look alike.

    Examples
    --------
    >>> without_invisible("Um\\u200bber\\u2060")
    'Umber'
    """
    if name.isascii():
        return name
    return "".join(c for c in name if c in kept or not (c in _IGNORED or unicodedata.category(c) == "Cf"))


def tidy_name(name: str) -> str:
    """Normalize a name for storage: one Unicode form, invisible characters only where scripts and emoji need them."""
    return without_invisible(unicodedata.normalize("NFC", name), kept=_JOINERS).strip()


def name_key(name: str) -> str:
    """Comparison key of a name; ignores capitals, spaces, invisible characters and the Unicode form.

    A space between two digits counts: "Gray 1 1" differs from "Gray 11".

    Notes
    -----
    Compatibility caseless matching (The Unicode Standard, section 3.13): normalize before case folding and again after
    it, since folding decomposes letters.

    Examples
    --------
    >>> name_key(" Burnt  Umber") == name_key("burntumber"), name_key("Gray 1 1") == name_key("Gray 11")
    (True, False)
    """
    folded = " ".join(without_invisible(unicodedata.normalize("NFKC", name)).casefold().split())
    return unicodedata.normalize("NFKC", re.sub(r"(?<!\d) | (?!\d)", "", folded))


def named(things: Iterable[N], name: str) -> N | None:
    """Find a thing by name: first an exact match, then the first equal :func:`name_key`; None if neither exists."""
    things, key = tuple(things), name_key(name)
    exact = (thing for thing in things if thing.name == name.strip())
    return next(exact, None) or next((thing for thing in things if name_key(thing.name) == key), None)
