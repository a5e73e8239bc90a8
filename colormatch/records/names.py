"""Whether two names mean the same thing: the one way in which names are compared."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import Protocol, TypeVar


class Named(Protocol):
    """Whatever has a name."""

    @property
    def name(self) -> str: ...


N = TypeVar("N", bound=Named)


def name_key(name: str) -> str:
    """Equal for names that differ only in capitals, spaces and how Unicode writes them.

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
    folded = " ".join(unicodedata.normalize("NFKC", name).casefold().split())
    return unicodedata.normalize("NFKC", re.sub(r"(?<!\d) | (?!\d)", "", folded))


def named(things: Iterable[N], name: str) -> N | None:
    """The thing of that name; where none is written just so, the first whose name means the same; otherwise None."""
    things, key = tuple(things), name_key(name)
    exact = (thing for thing in things if thing.name == name.strip())
    return next(exact, None) or next((thing for thing in things if name_key(thing.name) == key), None)
