"""Records out of rows: what the store and its changes both read."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from colormatch.errors import BadInput, LibraryDamaged
from colormatch.library.columns import TABLES, WORDS, R, Record, record_of
from colormatch.library.history import read_row
from colormatch.records import Swatch
from colormatch.wash.ratio import format_ratio

T = TypeVar("T")


@dataclass(frozen=True)
class Stored(Generic[T]):
    """A record together with its number in the library."""

    #: Never used again for another record, even after a deletion.
    id: int
    record: T


def all_records(connection: sqlite3.Connection, kind: type[R]) -> tuple[Stored[R], ...]:
    """Every record of a kind, in the order in which they were added."""
    rows = connection.execute(f'SELECT * FROM "{TABLES[kind]}" ORDER BY id').fetchall()
    return tuple(Stored(row["id"], _checked(kind, dict(row))) for row in rows)


def one_record(connection: sqlite3.Connection, kind: type[R], id: int) -> R:
    """One record.

    Raises
    ------
    BadInput
        There is none of that number.
    """
    row = read_row(connection, TABLES[kind], id)
    if row is None:
        raise BadInput(f"There is no {WORDS[kind]} number {id}.", "It may have been removed; look at the list again.")
    return _checked(kind, row)


def _checked(kind: type[R], row: dict[str, Any]) -> R:
    """A row that another program spoiled is damage, not bad input of this user."""
    try:
        return record_of(kind, row)
    except (AttributeError, RecursionError, TypeError, ValueError) as error:
        why = error if isinstance(error, BadInput) else "it holds what this program never writes."
        raise LibraryDamaged(
            f"A {WORDS[kind]} in the library is damaged: {why}",
            "Bring back a backup with 'colormatch library restore'.",
        ) from error


def describe(record: Record) -> str:
    """A record in a few words: ``paint Umber``, ``swatch of Umber, 1:3, 2 coats on a door``."""
    if isinstance(record, Swatch):
        strength = format_ratio(record.paint_parts, record.water_parts)
        coats = "1 coat" if record.coats == 1 else f"{record.coats} coats"
        return f"swatch of {record.paint}, {strength}, {coats} on {record.ground or 'wood'}"
    return f"{WORDS[type(record)]} {record.name}"
