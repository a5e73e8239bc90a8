"""Undo history: every change to a row goes through this module, so that several steps can be undone, even after a
restart.

A step stores, for each row it touched, the row in its *other* state. Undo and redo are then the same operation: swap
each row with the stored one, newest first.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime

from colormatch.errors import LibraryDamaged
from colormatch.library.columns import TABLES, Cell, Row

#: Most steps that can be undone. Our choice: more than a person remembers.
UNDO_STEPS = 200


def now() -> str:
    """The current time, ISO 8601 in UTC."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def read_row(connection: sqlite3.Connection, table: str, id: int) -> Row | None:
    """A row without its id, or None."""
    found = connection.execute(f'SELECT * FROM "{table}" WHERE id = ?', (id,)).fetchone()
    return None if found is None else {key: found[key] for key in found.keys() if key != "id"}  # noqa: SIM118


def _write_row(connection: sqlite3.Connection, table: str, id: int | None, row: Mapping[str, Cell]) -> int:
    names = ", ".join(f'"{name}"' for name in row)
    marks = ", ".join("?" * len(row))
    cursor = connection.execute(f'INSERT INTO "{table}" (id, {names}) VALUES (?, {marks})', (id, *row.values()))
    assert cursor.lastrowid is not None
    return cursor.lastrowid


def _change_row(connection: sqlite3.Connection, table: str, id: int, row: Mapping[str, Cell]) -> None:
    marks = ", ".join(f'"{name}" = ?' for name in row)
    connection.execute(f'UPDATE "{table}" SET {marks} WHERE id = ?', (*row.values(), id))


def _delete_row(connection: sqlite3.Connection, table: str, id: int) -> None:
    connection.execute(f'DELETE FROM "{table}" WHERE id = ?', (id,))


class UndoStep:
    """One action of a person, which may touch several rows.

    Parameters
    ----------
    connection : sqlite3.Connection
        Inside a writing transaction.
    what : str
        Description shown on undo, such as "added the swatch 1:3 of Umber".
    """

    def __init__(self, connection: sqlite3.Connection, what: str) -> None:
        self._connection = connection
        # A new step after an undo: undone steps can no longer be redone.
        connection.execute("DELETE FROM step WHERE undone")
        cursor = connection.execute("INSERT INTO step (made, what) VALUES (?, ?)", (now(), what))
        self._id = cursor.lastrowid
        connection.execute(
            "DELETE FROM step WHERE id <= (SELECT id FROM step ORDER BY id DESC LIMIT 1 OFFSET ?)", (UNDO_STEPS,)
        )

    def _note(self, table: str, id: int, before: Row | None) -> None:
        document = None if before is None else json.dumps(before, ensure_ascii=False)
        self._connection.execute(
            "INSERT INTO change (step, kind, row, document) VALUES (?, ?, ?, ?)", (self._id, table, id, document)
        )

    def insert(self, table: str, row: Mapping[str, Cell]) -> int:
        id = _write_row(self._connection, table, None, row)
        self._note(table, id, None)
        return id

    def update(self, table: str, id: int, row: Mapping[str, Cell]) -> None:
        self._note(table, id, read_row(self._connection, table, id))
        _change_row(self._connection, table, id, row)

    def delete(self, table: str, id: int) -> None:
        self._note(table, id, read_row(self._connection, table, id))
        _delete_row(self._connection, table, id)


@contextmanager
def _sound_history() -> Iterator[None]:
    """Report a history damaged by another program or a failing disk."""
    try:
        yield
    except sqlite3.Error as error:
        # https://www.sqlite.org/rescode.html: a statement that doesn't fit the tables, or a row that violates their
        # constraints.
        if getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF not in _UNFIT:
            raise
        raise _broken() from error
    except (AttributeError, KeyError, RecursionError, TypeError, ValueError) as error:
        raise _broken() from error


_UNFIT = (sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_MISUSE,
          sqlite3.SQLITE_RANGE, sqlite3.SQLITE_TOOBIG)  # fmt: skip


def _broken() -> LibraryDamaged:
    return LibraryDamaged(
        "The record that this undo step restores is damaged in the library; nothing was changed.",
        "Remove the step with 'colormatch library verify --set-aside'; your records stay as they are.",
    )


def next_step(connection: sqlite3.Connection, *, redo: bool = False) -> tuple[int, str] | None:
    """Id and description of the next step to undo (or redo)."""
    query = "SELECT min(id), what FROM step WHERE undone" if redo else "SELECT max(id), what FROM step WHERE NOT undone"
    id, what = connection.execute(query).fetchone()
    return None if id is None else (id, what)


def swap(connection: sqlite3.Connection, step: int, *, redo: bool = False) -> None:
    """Undo or redo one step.

    Raises
    ------
    LibraryDamaged
        The step's data is damaged.
    """
    with _sound_history():
        _swap(connection, step, redo=redo)


def _swap(connection: sqlite3.Connection, step: int, *, redo: bool) -> None:
    order = "id" if redo else "id DESC"
    changes = connection.execute(
        f"SELECT id, kind, row, document FROM change WHERE step = ? ORDER BY {order}", (step,)
    ).fetchall()
    for change, table, id, document in changes:
        present = read_row(connection, table, id)
        other: Row | None = None if document is None else json.loads(document)
        if other is None:
            _delete_row(connection, table, id)
        elif present is None:
            _write_row(connection, table, id, other)
        else:
            _change_row(connection, table, id, other)
        kept = None if present is None else json.dumps(present, ensure_ascii=False)
        connection.execute("UPDATE change SET document = ? WHERE id = ?", (kept, change))
    connection.execute("UPDATE step SET undone = ? WHERE id = ?", (not redo, step))


def photos_of_step(connection: sqlite3.Connection, step: int) -> set[str]:
    """All photos named by the rows of a step, before or after it."""
    with _sound_history():
        return _photos_of_step(connection, step)


def _photos_of_step(connection: sqlite3.Connection, step: int) -> set[str]:
    found: set[str] = set()
    for table, id, document in connection.execute("SELECT kind, row, document FROM change WHERE step = ?", (step,)):
        found.update(photos_of_row(table, json.loads(document) if document else {}))
        found.update(photos_of_row(table, read_row(connection, table, id) or {}))
    return found


def photos_of_row(table: str, row: Mapping[str, Cell]) -> Iterable[str]:
    """Photos named by a row."""
    if table in ("swatch", "paint") and row.get("photo"):
        return [str(row["photo"])]
    if table == "repair" and row.get("photos"):
        return [str(name) for name in json.loads(str(row["photos"]))]
    return []


def broken_steps(connection: sqlite3.Connection) -> dict[int, str]:
    """Number and description of each step that can't be swapped: a row in it is incomplete or not one of ours."""
    columns = {}
    for table in (*TABLES.values(), "repair"):
        found = connection.execute(f'PRAGMA table_info("{table}")').fetchall()
        needed = {row[1] for row in found if row[3] and row[4] is None} - {"id"}
        columns[table] = ({row[1] for row in found} - {"id"}, needed)
    query = "SELECT step.id, what, kind, row, document FROM step LEFT JOIN change ON change.step = step.id"
    broken = {}
    for step, what, kind, id, document in connection.execute(query):
        if kind is None or not _is_change(columns, kind, id, document):
            broken[step] = what if isinstance(what, str) else ""
    return broken


def _is_change(columns: dict[str, tuple[set[str], set[str]]], kind: object, id: object, document: object) -> bool:
    if not isinstance(kind, str) or kind not in columns or type(id) is not int:
        return False
    if document is None:
        return True
    try:
        row = json.loads(str(document))
    except (ValueError, RecursionError):
        return False
    known, needed = columns[kind]
    return isinstance(row, dict) and needed <= row.keys() <= known
