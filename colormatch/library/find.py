"""Find records in a list: by words, by wash, and by distance from a color."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Generic

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.library.columns import R, Record
from colormatch.library.rows import Stored
from colormatch.records import ClearCoatPair, FloatArray, Ground, Lab, ShopChip, Swatch, name_key

#: Relative tolerance for equal paint fractions: 1:3 is 25 %, and 33.3 % is 1:2. Our choice.
SAME_RATIO = 0.01


class Sort(StrEnum):
    """Order of listed records."""

    #: In the order they were added.
    ADDED = "added"
    #: By name, ignoring capitals; swatches by paint, strongest wash first.
    NAME = "name"
    #: Newest first, by the swatch's date; other records by when they were added.
    NEWEST = "newest"


@dataclass(frozen=True)
class FindResult(Generic[R]):
    """A matching record."""

    stored: Stored[R]
    #: ΔE00 to the given color; None without one, or if the record has no color.
    delta_e: float | None = None


def find(
    stored: Iterable[Stored[R]],
    text: str = "",
    *,
    paint: str = "",
    ground: str = "",
    paint_fraction: float | None = None,
    near: Lab | None = None,
    swatches: Sequence[Swatch] = (),
    sort: Sort = Sort.ADDED,
) -> tuple[FindResult[R], ...]:
    """Matching records, in order.

    Parameters
    ----------
    stored : iterable of Stored
        Records of one kind, from ``library.all``.
    text : str
        Words that must all occur in the record; capitals and accents don't matter.
    paint, ground : str
        Only swatches of this paint, on this ground, ignoring capitals and spaces; empty: all.
    paint_fraction : float; 0 < d <= 1, optional
        Only swatches of this ratio (volume of paint in the wash), within 1 %.
    near : Lab, optional
        Closest by CIEDE2000 first, overriding ``sort``; records without a color last.
    swatches : sequence of Swatch
        For paints: a paint is as close as its closest swatch.
    sort : Sort

    Examples
    --------
    >>> shelf = [Stored(1, Ground("door", Lab(60, 8, 24))), Stored(2, Ground("light board", Lab(75, 6, 22)))]
    >>> [found.stored.id for found in find(shelf, near=Lab(74, 6, 22))], [f.stored.id for f in find(shelf, "BOARD")]
    ([2, 1], [2])
    """
    words = _plain(text).split()
    kept = [one for one in stored if _is_of(one.record, paint, ground, paint_fraction) and _holds(one.record, words)]
    if sort is Sort.NAME:
        kept.sort(key=lambda one: _name_order(one.record))
    elif sort is Sort.NEWEST:
        kept.sort(key=lambda one: (one.record.taken if isinstance(one.record, Swatch) else "", one.id), reverse=True)
    if near is None:
        return tuple(FindResult(one) for one in kept)
    distances = _distances([one.record for one in kept], near, swatches)
    order = np.argsort(distances, kind="stable")
    return tuple(FindResult(kept[i], float(distances[i]) if math.isfinite(distances[i]) else None) for i in order)


def twins(swatch: Swatch, stored: Iterable[Stored[Swatch]]) -> tuple[Stored[Swatch], ...]:
    """Swatches with the same wash and exactly the same color: most likely entered twice."""

    def painted(one: Swatch) -> tuple[object, ...]:
        return one.paint, one.paint_fraction, one.coats, name_key(one.ground), one.ground_lab, one.state, one.lab

    return tuple(one for one in stored if painted(one.record) == painted(swatch))


def _plain(text: str) -> str:
    """Lowercase without accents."""
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    return "".join(sign for sign in decomposed if not unicodedata.combining(sign))


def _holds(record: Record, words: list[str]) -> bool:
    if not words:
        return True
    values = (getattr(record, item.name) for item in fields(record) if item.name != "photo")
    texts = [value for value in values if isinstance(value, str)]
    texts += [text for pair in record.extra for text in pair]
    everything = _plain("\n".join(texts))
    return all(word in everything for word in words)


def _is_of(record: Record, paint: str, ground: str, paint_fraction: float | None) -> bool:
    if not isinstance(record, Swatch):
        return True
    return (
        (not paint or name_key(record.paint) == name_key(paint))
        and (not ground or name_key(record.ground) == name_key(ground))
        and (paint_fraction is None or math.isclose(record.paint_fraction, paint_fraction, rel_tol=SAME_RATIO))
    )


def _name_order(record: Record) -> tuple[str, float, int]:
    if isinstance(record, Swatch):
        return _plain(record.paint), -record.paint_fraction, record.coats
    return _plain(record.name), 0.0, 0


def _distances(records: Sequence[Record], near: Lab, swatches: Sequence[Swatch]) -> FloatArray:
    """(n,) ΔE00 of each record to a color; infinite without a color."""
    nearest: dict[str, float] = {}
    if swatches:
        for swatch, distance in zip(swatches, delta_e(np.array([one.lab for one in swatches]), near), strict=True):
            nearest[swatch.paint] = min(float(distance), nearest.get(swatch.paint, math.inf))
    distances = np.array([nearest.get(getattr(record, "name", ""), math.inf) for record in records])
    colors = [color_of(record) for record in records]
    known = [i for i, color in enumerate(colors) if color is not None]
    if known:
        distances[known] = delta_e(np.array([colors[i] for i in known], dtype=float), near)
    return distances


def color_of(record: Record) -> Lab | None:
    """Color for listing a record; None for records without one. A clear coat has its sealed color."""
    if isinstance(record, Swatch | Ground | ShopChip):
        return record.lab
    return record.sealed_lab if isinstance(record, ClearCoatPair) else None
