"""Whether two names mean the same thing: the one way in which names are compared."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Iterable
from typing import Protocol, TypeVar


class Named(Protocol):
    """Whatever has a name."""

    @property
    def name(self) -> str: ...


N = TypeVar("N", bound=Named)


#: Characters that take no room and show nothing, joiners and selectors of scripts and emoji among them (Default
#: Ignorable Code Points of The Unicode Standard, section 5.21, as far as they stand outside its category Cf).
_IGNORED = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u180b\u180c\u180d\u180f\u3164\uffa0") | frozenset(
    map(chr, range(0xFE00, 0xFE10))
)
#: Those that scripts and emoji need.
_JOINERS = frozenset("\u200c\u200d") | frozenset(map(chr, range(0xFE00, 0xFE10)))


def without_invisible(name: str, *, kept: Collection[str] = ()) -> str:
    """A name without the characters that show nothing, by which two could look alike.

    Examples
    --------
    >>> without_invisible("Um\\u200bber\\u2060")
    'Umber'
    """
    if name.isascii():
        return name
    return "".join(c for c in name if c in kept or not (c in _IGNORED or unicodedata.category(c) == "Cf"))


def tidy_name(name: str) -> str:
    """A name as it is kept: in one Unicode form, without invisible characters but those that scripts and emoji need."""
    return without_invisible(unicodedata.normalize("NFC", name), kept=_JOINERS).strip()


def name_key(name: str) -> str:
    """Equal for names that differ only in capitals, spaces, what can't be seen and how Unicode writes them.

    A space between two digits tells names apart.

    Notes
    -----
    Compatibility caseless matching (The Unicode Standard, section 3.13): normalized before the capitals are folded, and
    again at the end, since folding takes letters apart.

    Examples
    --------
    >>> name_key(" Burnt  Umber") == name_key("burntumber"), name_key("Gray 1 1") == name_key("Gray 11")
    (True, False)
    """
    folded = " ".join(without_invisible(unicodedata.normalize("NFKC", name)).casefold().split())
    return unicodedata.normalize("NFKC", re.sub(r"(?<!\d) | (?!\d)", "", folded))


def named(things: Iterable[N], name: str) -> N | None:
    """The thing of that name; where none is written just so, the first whose name means the same; otherwise None."""
    things, key = tuple(things), name_key(name)
    exact = (thing for thing in things if thing.name == name.strip())
    return next(exact, None) or next((thing for thing in things if name_key(thing.name) == key), None)
