"""Read records from rows, for the store and its changes."""

from __future__ import annotations

import sqlite3
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from colormatch.errors import BadInput, LibraryDamaged, RecordLeftOut
from colormatch.library.columns import TABLES, WORDS, Kind, R, Record, columns_of, is_text, record_of, tidy
from colormatch.library.history import read_row
from colormatch.records import CameraPhoto, Ground, OwnCard, Paint, ShopChip, Swatch
from colormatch.wash.ratio import format_ratio

T = TypeVar("T")


@dataclass(frozen=True)
class Stored(Generic[T]):
    """A record with its number in the library."""

    #: Never reused for another record, even after a deletion.
    id: int
    record: T


@dataclass(frozen=True)
class Spoiled:
    """A row that is unreadable or can't be exported, damaged by another program or a failing disk."""

    table: str
    id: int
    #: Its name, if readable.
    name: str
    #: The problem in one sentence.
    reason: str

    @property
    def what(self) -> str:
        """``The swatch number 12 (Umber) is damaged: ...``"""
        word = next((WORDS[kind] for kind, table in TABLES.items() if table == self.table), self.table)
        return f"The {word} number {self.id}{f' ({self.name})' if self.name else ''} is damaged: {self.reason}"


#: What to do about damaged rows.
ASIDE = "Set it aside with 'colormatch library verify --set-aside', or under Swatches, Backups in the app."


def all_records(connection: sqlite3.Connection, kind: type[R]) -> tuple[Stored[R], ...]:
    """All valid records of a kind, in the order they were added; each invalid one causes a warning."""
    sound, spoiled = sorted_records(connection, kind)
    warn_of(spoiled)
    return sound


def warn_of(spoiled: Iterable[Spoiled]) -> None:
    """Warn about rows that are left out."""
    for one in spoiled:
        warnings.warn(f"{one.what} It is left out. {ASIDE}", RecordLeftOut, stacklevel=3)


def sorted_records(
    connection: sqlite3.Connection, kind: type[R], *, strict: bool = False
) -> tuple[tuple[Stored[R], ...], tuple[Spoiled, ...]]:
    """The valid records of a kind, and the invalid rows.

    Parameters
    ----------
    connection : sqlite3.Connection
    kind : type
    strict : bool
        Also reject readable rows that would be refused after an export. Records are then returned in the form they
        would have after it.
    """
    table = TABLES[kind]
    sound, spoiled = [], []
    names: set[str] = set()
    mistyped = _mistyped(connection, kind)
    for row in rows_of(connection, table):
        id = row.pop("id")
        try:
            if id in mistyped:
                raise TypeError(id)
            record = record_of(kind, row)
            if strict:
                record = tidy(record)
                if isinstance(record, Paint | Ground | ShopChip | OwnCard | CameraPhoto):
                    if record.name in names:
                        raise BadInput("Another record has the same name.")
                    names.add(record.name)
            sound.append(Stored(id, record))
        except (AttributeError, RecursionError, TypeError, ValueError) as error:
            spoiled.append(_spoiled(table, id, row, error))
    return tuple(sound), tuple(spoiled)


def rows_of(connection: sqlite3.Connection, table: str) -> list[dict[str, Any]]:
    """All rows of a table; text that is not UTF-8 is returned as bytes."""
    query = f'SELECT * FROM "{table}" ORDER BY id'
    try:
        return [dict(row) for row in connection.execute(query)]
    except sqlite3.OperationalError as error:
        if "decode" not in str(error).lower():
            raise
    was, connection.text_factory = connection.text_factory, _text_or_bytes
    try:
        return [dict(row) for row in connection.execute(query)]
    finally:
        connection.text_factory = was


def _text_or_bytes(content: bytes) -> str | bytes:
    try:
        return content.decode()
    except UnicodeDecodeError:
        return content


#: SQLite types allowed in a column.
_TYPES = {
    Kind.TEXT: "'text'", Kind.WORD: "'text'", Kind.WHOLE: "'integer'", Kind.NUMBER: "'real', 'integer'",
    Kind.OPTIONAL: "'real', 'integer', 'null'",
}  # fmt: skip


def _mistyped(connection: sqlite3.Connection, kind: type[Any]) -> frozenset[int]:
    """Numbers of rows with a value of the wrong type, which SQLite lets other programs write."""
    wrong = [f'typeof("{column.name}") NOT IN ({_TYPES[column.kind]})' for column in columns_of(kind)]
    query = f"SELECT id FROM \"{TABLES[kind]}\" WHERE {' OR '.join(wrong)} OR typeof(extra) <> 'text'"
    return frozenset(row[0] for row in connection.execute(query))


def _spoiled(table: str, id: int, row: Mapping[str, Any], error: Exception) -> Spoiled:
    name = row.get("name", row.get("paint"))
    why = error.what if isinstance(error, BadInput) else "It contains values that this program never writes."
    shown = name[:60] if isinstance(name, str) and is_text(name) else ""
    return Spoiled(table, id, shown, why)


def one_record(connection: sqlite3.Connection, kind: type[R], id: int) -> R:
    """One record.

    Raises
    ------
    BadInput
        No record has that number.
    LibraryDamaged
        Its row is damaged.
    """
    row = read_row(connection, TABLES[kind], id)
    if row is None:
        raise BadInput(
            f"The library has no {WORDS[kind]} number {id}.", "It may have been removed; look at the list again."
        )
    try:
        if id in _mistyped(connection, kind):
            raise TypeError(id)
        return record_of(kind, row)
    except (AttributeError, RecursionError, TypeError, ValueError) as error:
        raise LibraryDamaged(_spoiled(TABLES[kind], id, row, error).what, ASIDE) from error


def describe(record: Record) -> str:
    """A record in a few words: ``paint Umber``, ``swatch of Umber, 1:3, 2 coats on a door``."""
    if isinstance(record, Swatch):
        strength = format_ratio(record.paint_parts, record.water_parts)
        coats = "1 coat" if record.coats == 1 else f"{record.coats} coats"
        return f"swatch of {record.paint}, {strength}, {coats} on {record.ground or 'wood'}"
    return f"{WORDS[type(record)]} {record.name}"
