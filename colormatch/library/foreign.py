"""Copy a library database of any origin, row by row, into a new one of our own.

Only what this program knows is copied, and only as data: known columns of known tables, each row through its record's
own checks. Views, triggers, indexes and other tables are left behind, so nothing in the file is ever run, now or later.
The file's own statements (lengths, page numbers, texts) are not trusted either: reading stops at the size of the file.
"""

from __future__ import annotations

import itertools
import json
import re
import secrets
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from colormatch.errors import BadInput, ExchangeError, LibraryDamaged, LibraryError
from colormatch.library import database, schema
from colormatch.library.columns import MAX_TEXT, TABLES, WORDS, is_sha256, is_text, record_of, row_of, tidy
from colormatch.library.history import now
from colormatch.library.repair_file import read_repair
from colormatch.library.repairs import MAX_DEPTH, MAX_DOCUMENT, check_part, is_moment
from colormatch.records import Flag, FlagCode

#: Longest text or blob read, bytes: a repair's document as JSON text inside an undo step.
_LONGEST = 8 * MAX_DOCUMENT
#: Largest id and sequence number; SQLite itself fails beyond 2^63. Our choice: exact in a double.
_LARGEST_ID = 2**53
#: Steps of SQLite's virtual machine: per byte of the file, as a base, and between checks. A row of ours takes about 5
#: per column of at least one byte; the check of the whole file about 20.
_STEPS_PER_BYTE, _STEPS, _STEPS_A_LOOK = 50, 10_000_000, 10_000
#: Largest ratio of decoded to stored text (UTF-16 in the file).
_DECODED = 2
#: Longest description of a step, characters; ours name one thing.
_MAX_WORDS = MAX_TEXT + 1000
#: Longest setting that need not be JSON, characters. Our choice: ours are one line.
_MAX_LINE = 1000
_SETTING = re.compile(r"[a-z-]{1,40}")
#: All exceptions from reading a damaged row.
_ROW_ERRORS = (AttributeError, KeyError, OverflowError, RecursionError, TypeError, ValueError, sqlite3.IntegrityError)


class UnsoundLibrary(LibraryError):
    """The file itself is at fault, not the disk or the version of the program."""


@dataclass(frozen=True)
class TakenOver:
    """Result of taking over a database."""

    #: Photos listed in the file, and when each was added.
    photos: dict[str, str]
    #: Parts left behind.
    flags: tuple[Flag, ...]


def take_over(source: Path, target: Path, origin: Path) -> TakenOver:
    """Copy a database of any origin into a new one with the current schema. Rows of photos are not copied: see
    `Library`.

    Parameters
    ----------
    source : Path
        A copy without writers.
    target : Path
        Must not exist.
    origin : Path
        Name of the source for messages.

    Raises
    ------
    UnsoundLibrary
        It is damaged, or not a library.
    LibraryTooNew
        A later version of the program wrote it.
    """
    try:
        with closing(_opened(source)) as foreign, closing(sqlite3.connect(target, isolation_level=None)) as own:
            version = schema.version_of(foreign, origin)
            strange = schema.strangers(foreign, version)
            if strange.unreadable:
                table = strange.unreadable[0]
                raise UnsoundLibrary(
                    f"{origin.name} is not a library of this program: another program made its table '{table}'.",
                    "Ask for an export of it instead ('colormatch library export').",
                )
            if not strange.further:  # the check would evaluate expressions of an index or another table
                database.check(foreign, origin)
            own.row_factory = sqlite3.Row
            own.execute("PRAGMA foreign_keys = ON")
            own.execute("PRAGMA synchronous = OFF")  # the caller flushes or discards it
            return _Copy(foreign, own, version, source.stat().st_size).run(Counter(kind for kind, _ in strange.further))
    except (sqlite3.DatabaseError, LibraryDamaged, UnicodeDecodeError) as error:
        if isinstance(error, sqlite3.DatabaseError) and not _is_its_fault(error):
            raise  # the disk is full, say: that tells nothing about the file
        raise UnsoundLibrary(f"{origin.name} is not a sound backup of a library.", "Choose another one.") from error


def _is_its_fault(error: sqlite3.DatabaseError) -> bool:
    return database.is_damage(error) or error.sqlite_errorcode in (sqlite3.SQLITE_INTERRUPT, sqlite3.SQLITE_TOOBIG)


def _opened(source: Path) -> sqlite3.Connection:
    """Connection that can't write, run foreign code, or take long."""
    connection = sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro&immutable=1", uri=True, isolation_level=None)
    for limit, most in (
        (sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST),
        (sqlite3.SQLITE_LIMIT_SQL_LENGTH, 100_000),
        (sqlite3.SQLITE_LIMIT_COLUMN, 100),
        (sqlite3.SQLITE_LIMIT_EXPR_DEPTH, 50),
        (sqlite3.SQLITE_LIMIT_COMPOUND_SELECT, 3),
        (sqlite3.SQLITE_LIMIT_LIKE_PATTERN_LENGTH, 100),
        (sqlite3.SQLITE_LIMIT_ATTACHED, 0),
        (sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH, 1),
    ):
        connection.setlimit(limit, most)
    most = _STEPS + _STEPS_PER_BYTE * source.stat().st_size
    looks = itertools.count(1)
    connection.set_progress_handler(lambda: next(looks) * _STEPS_A_LOOK > most, _STEPS_A_LOOK)
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA query_only = ON")
    connection.execute("PRAGMA cell_size_check = ON")
    # Bytes that are not UTF-8 become surrogates, which our checks refuse.
    connection.text_factory = lambda stored: stored.decode("utf-8", "surrogateescape")
    return connection


class _Copy:
    def __init__(self, foreign: sqlite3.Connection, own: sqlite3.Connection, version: int, size: int) -> None:
        self._foreign, self._own, self._version = foreign, own, version
        #: Bytes that may still be read; a file can't yield more than it holds.
        self._left = _DECODED * size
        #: Number of rows left behind, by everyday word for their kind.
        self._lost: Counter[str] = Counter()

    def run(self, strange: Counter[str]) -> TakenOver:
        own = self._own
        own.execute("BEGIN")
        schema.build(own, self._version)
        for table in (*TABLES.values(), "repair", "step", "change", "setting"):
            self._copy_table(table)
        self._copy_sequences()
        own.execute("COMMIT")
        schema.migrate(own, Path())
        own.execute("BEGIN")
        for kind, table in TABLES.items():
            self._check_records(kind, table)
        self._check_repairs()
        self._check_settings()
        history = self._check_history()
        # The same step may now have other content; see Library.stamp. Random, since a clock may repeat itself.
        drawn = secrets.token_hex(8)
        own.execute("INSERT OR REPLACE INTO setting (key, value) VALUES ('restored', ?)", (drawn,))
        own.execute("COMMIT")
        database.check(own, Path())
        photos = dict(self._photos())
        return TakenOver(photos, tuple(self._flags(strange, history)))

    # --- copy --------------------------------------------------------------------------------------------------------

    def _rows(self, table: str, columns: list[str]) -> Iterator[tuple[Any, ...]]:
        """Rows in order of the table's own tree, without the file's indexes."""
        listed = ", ".join(f'"{column}"' for column in columns)
        for row in self._foreign.execute(f'SELECT {listed} FROM "{table}" NOT INDEXED'):
            self._left -= len(row) + sum(len(value) for value in row if isinstance(value, str | bytes))
            if self._left < 0:
                raise LibraryDamaged("it contains more than its stated size", "")
            yield row

    def _copy_table(self, table: str) -> None:
        columns = [row["name"] for row in self._own.execute(f'PRAGMA table_info("{table}")')]
        if not columns:  # A column that is newer than the file.
            return
        marks = ", ".join("?" * len(columns))
        names = ", ".join(f'"{column}"' for column in columns)
        for row in self._rows(table, columns):
            try:
                if columns[0] == "id" and not 0 < row[0] <= _LARGEST_ID:
                    raise ValueError(row[0])
                if any(isinstance(value, bytes) for value in row):
                    raise TypeError(table)
                # Raises for a lone surrogate, which can't be stored.
                self._own.execute(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', row)
            except _ROW_ERRORS:
                self._lose(table)

    def _copy_sequences(self) -> None:
        """Never reuse a number: undo identifies rows by it."""
        for name, last in self._rows("sqlite_sequence", ["name", "seq"]):
            if isinstance(last, int) and 0 < last <= _LARGEST_ID:
                self._own.execute("UPDATE sqlite_sequence SET seq = max(seq, ?) WHERE name = ?", (last, name))

    def _photos(self) -> Iterator[tuple[str, str]]:
        for sha256, added in self._rows("photo", ["sha256", "added"]):
            if isinstance(sha256, str) and is_sha256(sha256):
                yield sha256, added if _is_moment(added) else now()

    def _stored(self, table: str) -> Iterator[dict[str, Any]]:
        """Rows of the copy, one at a time; they may be changed meanwhile."""
        for (id,) in self._own.execute(f'SELECT id FROM "{table}" ORDER BY id').fetchall():
            yield dict(self._own.execute(f'SELECT * FROM "{table}" WHERE id = ?', (id,)).fetchone())

    # --- check -------------------------------------------------------------------------------------------------------

    def _check_records(self, kind: type[Any], table: str) -> None:
        for row in self._stored(table):
            id = row.pop("id")
            try:
                tidied = row_of(tidy(record_of(kind, row)))
                if tidied != row:
                    marks = ", ".join(f'"{column}" = ?' for column in tidied)
                    self._own.execute(f'UPDATE "{table}" SET {marks} WHERE id = ?', (*tidied.values(), id))
            except _ROW_ERRORS:
                if table == "paint":
                    of_it = self._own.execute("DELETE FROM swatch WHERE paint = ?", (row["name"],))
                    self._lose("swatch", of_it.rowcount)
                self._own.execute(f'DELETE FROM "{table}" WHERE id = ?', (id,))
                self._lose(table)

    def _check_repairs(self) -> None:
        for row in self._stored("repair"):
            if not _is_repair(row):
                self._own.execute("DELETE FROM repair WHERE id = ?", (row["id"],))
                self._lose("repair")

    def _check_settings(self) -> None:
        for key, value in self._own.execute("SELECT key, value FROM setting").fetchall():
            if not (_SETTING.fullmatch(key) and _is_setting(value)):
                self._own.execute("DELETE FROM setting WHERE key IS ?", (key,))
                self._lose("setting")

    def _check_history(self) -> bool:
        """Whether the undo history was copied. Steps depend on each other, so it is copied as a whole or not at all."""
        columns = {
            table: {row["name"] for row in self._own.execute(f'PRAGMA table_info("{table}")')} - {"id"}
            for table in (*TABLES.values(), "repair")
        }
        sound = (
            not (self._lost["step"] or self._lost["change"])
            and all(_is_step(row["made"], row["what"], row["undone"]) for row in self._stored("step"))
            and all(_is_change(row["kind"], row["document"], columns) for row in self._stored("change"))
        )
        if not sound:
            self._own.execute("DELETE FROM step")
        return sound

    # --- tell --------------------------------------------------------------------------------------------------------

    def _lose(self, table: str, count: int = 1) -> None:
        self._lost[table] += count

    def _flags(self, strange: Counter[str], history: bool) -> Iterator[Flag]:
        words = {table: WORDS[kind] for kind, table in TABLES.items()} | {"repair": "repair", "setting": "setting"}
        lost = {words[table]: count for table, count in self._lost.items() if table in words and count}
        if lost:
            listed = ", ".join(f"{word}: {count}" for word, count in lost.items())
            text = f"Unreadable records were left out ({listed}); they are still in the file."
            yield Flag(FlagCode.RECORDS_LEFT_OUT, text, sum(lost.values()))
        if not history:
            yield Flag(FlagCode.UNDO_LEFT_OUT, "Its undo history is unreadable and was left out.")
        if strange:
            listed = ", ".join(f"{kind}: {count}" for kind, count in sorted(strange.items()))
            text = f"It contains parts that this program never writes ({listed}); they were left out."
            yield Flag(FlagCode.STRANGE_SCHEMA, text, strange.total())


# --- one row ---------------------------------------------------------------------------------------------------------


def _is_moment(text: object) -> bool:
    return isinstance(text, str) and is_moment(text)


def _is_repair(row: dict[str, Any]) -> bool:
    try:
        document = {**row, "photos": json.loads(row["photos"])}
        read_repair("repair", json.dumps(document).encode())
    except (ExchangeError, *_ROW_ERRORS):
        return False
    return True


def _is_setting(value: object) -> bool:
    """A short line of text, or a JSON document within the depth and text limits of a repair."""
    if not isinstance(value, str) or len(value) > MAX_DOCUMENT or not is_text(value):
        return False
    if len(value) <= _MAX_LINE and not value.startswith(("{", "[")):
        return True
    try:
        check_part(json.loads(value), MAX_DEPTH)
    except (BadInput, ValueError, RecursionError):
        return False
    return True


def _is_step(made: object, what: object, undone: object) -> bool:
    return _is_moment(made) and isinstance(what, str) and len(what) <= _MAX_WORDS and is_text(what) and undone in (0, 1)


def _is_change(table: object, document: str | None, columns: dict[str, set[str]]) -> bool:
    """Whether undo may write the row in a change."""
    if table not in columns:
        return False
    if document is None:
        return True
    try:
        row = json.loads(document)
        if not row.keys() <= columns[str(table)]:
            return False
        if table == "repair":
            return _is_repair(row)
        kind = next(kind for kind, name in TABLES.items() if name == table)
        tidy(record_of(kind, row))
    except _ROW_ERRORS:
        return False
    return True
