"""The database's tables, and the migrations from older versions.

A released migration is never edited: a change to the tables is a new one at the end.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from contextlib import closing
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from colormatch.errors import LibraryDamaged, LibraryTooNew
from colormatch.library import database

#: Identifies the file as ours in its header ("CMsw").
APPLICATION_ID = 0x434D7377

#: Statements of each migration, from version n to n + 1. Numbers are REAL, so that they come back exactly.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE paint (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE, maker TEXT NOT NULL, kind TEXT NOT NULL,
            thinner TEXT NOT NULL, price REAL, size_ml REAL, on_hand_ml REAL, notes TEXT NOT NULL, extra TEXT NOT NULL
        )""",
        """CREATE TABLE swatch (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            paint TEXT NOT NULL REFERENCES paint (name) ON UPDATE CASCADE ON DELETE RESTRICT,
            paint_parts REAL NOT NULL, water_parts REAL NOT NULL, coats INTEGER NOT NULL, ground TEXT NOT NULL,
            ground_L REAL NOT NULL, ground_a REAL NOT NULL, ground_b REAL NOT NULL,
            L REAL NOT NULL, a REAL NOT NULL, b REAL NOT NULL, uncertainty REAL NOT NULL, state TEXT NOT NULL,
            taken TEXT NOT NULL, photo TEXT NOT NULL, notes TEXT NOT NULL, extra TEXT NOT NULL
        )""",
        "CREATE INDEX swatch_by_paint ON swatch (paint)",
        "CREATE INDEX swatch_by_photo ON swatch (photo)",
        """CREATE TABLE clear_coat (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL,
            bare_L REAL NOT NULL, bare_a REAL NOT NULL, bare_b REAL NOT NULL,
            sealed_L REAL NOT NULL, sealed_a REAL NOT NULL, sealed_b REAL NOT NULL,
            "on" TEXT NOT NULL, notes TEXT NOT NULL, extra TEXT NOT NULL
        )""",
        """CREATE TABLE ground (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE,
            L REAL NOT NULL, a REAL NOT NULL, b REAL NOT NULL, uncertainty REAL NOT NULL, state TEXT NOT NULL,
            notes TEXT NOT NULL
        )""",
        """CREATE TABLE chip (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE,
            L REAL NOT NULL, a REAL NOT NULL, b REAL NOT NULL, uncertainty REAL NOT NULL, notes TEXT NOT NULL
        )""",
        """CREATE TABLE card (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, value TEXT NOT NULL,
            notes TEXT NOT NULL
        )""",
        # photos: JSON list of the SHA-256 of each photo in the document.
        """CREATE TABLE repair (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL, created TEXT NOT NULL, changed TEXT NOT NULL,
            version INTEGER NOT NULL, document TEXT NOT NULL, photos TEXT NOT NULL
        )""",
        # file: name in the photo folder.
        """CREATE TABLE photo (
            sha256 TEXT PRIMARY KEY, file TEXT NOT NULL UNIQUE, bytes INTEGER NOT NULL, added TEXT NOT NULL
        )""",
        "CREATE TABLE setting (key TEXT PRIMARY KEY, value TEXT NOT NULL)",
        "CREATE TABLE fit (key TEXT PRIMARY KEY, value BLOB NOT NULL, made INTEGER NOT NULL)",
        """CREATE TABLE step (
            id INTEGER PRIMARY KEY AUTOINCREMENT, made TEXT NOT NULL, what TEXT NOT NULL,
            undone INTEGER NOT NULL DEFAULT 0
        )""",
        # document: the row in its other state (before the step, or after it if the step is undone); NULL: no row.
        """CREATE TABLE change (
            id INTEGER PRIMARY KEY, step INTEGER NOT NULL REFERENCES step (id) ON DELETE CASCADE,
            kind TEXT NOT NULL, row INTEGER NOT NULL, document TEXT
        )""",
        "CREATE INDEX change_by_step ON change (step)",
    ),
    # Undo steps stored by an older program lack these columns, so each has a default. An additional column of that name
    # from an import is renamed.
    (
        """UPDATE paint SET extra = replace(extra, '["photo", ', '["photo, imported", ')""",
        """UPDATE swatch SET extra = replace(
            replace(extra, '["measured", ', '["measured, imported", '), '["region", ', '["region, imported", ')""",
        "ALTER TABLE paint ADD COLUMN photo TEXT NOT NULL DEFAULT ''",
        "CREATE INDEX paint_by_photo ON paint (photo)",
        "ALTER TABLE swatch ADD COLUMN measured TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE swatch ADD COLUMN region TEXT NOT NULL DEFAULT ''",
        "ALTER TABLE ground ADD COLUMN extra TEXT NOT NULL DEFAULT '[]'",
        "ALTER TABLE chip ADD COLUMN extra TEXT NOT NULL DEFAULT '[]'",
        "ALTER TABLE card ADD COLUMN extra TEXT NOT NULL DEFAULT '[]'",
    ),
    (
        """CREATE TABLE camera_photo (
            id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE, camera TEXT NOT NULL, light TEXT NOT NULL,
            development TEXT NOT NULL, cast_red REAL NOT NULL, cast_blue REAL NOT NULL, patches TEXT NOT NULL,
            taken TEXT NOT NULL, notes TEXT NOT NULL, extra TEXT NOT NULL
        )""",
    ),
)


def build(connection: sqlite3.Connection, version: int) -> None:
    """Create the tables of a version in an empty database, inside the caller's transaction."""
    _take_steps(connection, MIGRATIONS[:version])


class Strangers(NamedTuple):
    """What in a database's schema is not as this program makes it."""

    #: Names of ours that stand there twice, or mean something else, such as a view in a table's place.
    altered: tuple[str, ...]
    #: Kind ("table", "index", "view" or "trigger") and name of what is ours and is missing.
    missing: tuple[tuple[str, str], ...]
    #: The same of what is beyond ours.
    further: tuple[tuple[str, str], ...]

    @property
    def unreadable(self) -> tuple[str, ...]:
        """Names that can't be read as the program's own; an index that is missing only takes time."""
        return tuple(sorted({*self.altered, *(name for kind, name in self.missing if kind == "table")}))


def strangers(connection: sqlite3.Connection, version: int) -> Strangers:
    """Compare a database's schema with that of a version of this program."""
    ours = _entries(MIGRATIONS[:version])
    found = [tuple(map(str, row)) for row in connection.execute("SELECT name, type, sql FROM sqlite_schema")]
    count = Counter(name.lower() for name, _, _ in found)  # as SQLite compares them
    altered = {name for name in ours if count[name] > 1}
    altered |= {name for name, *is_now in found if name.lower() in ours and ours.get(name) != tuple(is_now)}
    missing = sorted((kind, name) for name, (kind, _) in ours.items() if not count[name] and not _is_internal(name))
    further = sorted((kind, name) for name, kind, _ in found if name.lower() not in ours)
    return Strangers(tuple(sorted(altered)), tuple(missing), tuple(further))


def _is_internal(name: str) -> bool:
    """Whether SQLite itself makes it, with a table of ours."""
    return name.startswith("sqlite_")


def refuse_strange(connection: sqlite3.Connection, version: int, folder: Path) -> None:
    """Refuse a database with foreign code that would run during use.

    Raises
    ------
    LibraryDamaged
        A table differs from this program's, or there is a view or a trigger.
    """
    found = strangers(connection, version)
    runs = (kind for kind, _ in found.further if kind in ("view", "trigger"))
    what = next(iter(found.unreadable), None) or next(runs, None)
    if what is not None:
        raise LibraryDamaged(
            f"The library in {folder} contains a {what} that this program never makes.",
            "Copy only its records to a new folder: 'colormatch library restore "
            f"{folder / 'library.sqlite3'} --library NEW'.",
            strange=what,
        )


@lru_cache
def _entries(migrations: tuple[tuple[str, ...], ...]) -> dict[str, tuple[str, str]]:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        _take_steps(connection, migrations)
        found = connection.execute("SELECT name, type, sql FROM sqlite_schema").fetchall()
    return {name: (kind, str(sql)) for name, kind, sql in found}


def _take_steps(connection: sqlite3.Connection, steps: tuple[tuple[str, ...], ...], first: int = 0) -> None:
    for statements in steps:
        for statement in statements:
            connection.execute(statement)
    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.execute(f"PRAGMA user_version = {first + len(steps)}")


def version_of(connection: sqlite3.Connection, folder: Path) -> int:
    """Version of the database's tables; 0 for an empty file.

    Raises
    ------
    LibraryDamaged
        It is a database of another program.
    LibraryTooNew
        A later version of the program wrote it.
    """
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    mark = int(connection.execute("PRAGMA application_id").fetchone()[0])
    empty = connection.execute("SELECT NOT EXISTS (SELECT 1 FROM sqlite_schema)").fetchone()[0]
    if mark != APPLICATION_ID and not (empty and version == 0 and mark == 0):
        raise LibraryDamaged(
            f"The database in {folder} is not a swatch library.", "Choose another folder.", application_id=mark
        )
    if version > len(MIGRATIONS):
        raise LibraryTooNew(
            f"The library in {folder} was written by a later version of the program.",
            "Install that version or a newer one; the library is unchanged.",
            version=version,
            newest=len(MIGRATIONS),
        )
    return version


def migrate(connection: sqlite3.Connection, folder: Path) -> None:
    """Bring the tables up to date: all migrations and a final check in one transaction, or nothing.

    Raises
    ------
    LibraryDamaged, LibraryTooNew
        See :func:`version_of`; or the migrated file fails its check and stays unchanged.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Read inside the transaction: another process may have migrated during the wait.
        version = version_of(connection, folder)
        _take_steps(connection, MIGRATIONS[version:], version)
        database.check(connection, folder)
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
