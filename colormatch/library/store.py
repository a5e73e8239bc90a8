"""The personal library: paints, swatches and all else a person keeps, in one SQLite file and a folder of photos."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Generic, TypeVar

from colormatch.errors import BadInput, LibraryDamaged, LibraryError, LibraryUnwritable, PaintError
from colormatch.library import backup, database, schema
from colormatch.library.columns import TABLES, WORDS, R, Record, record_of, row_of, tidy
from colormatch.library.database import explained, reading, writing
from colormatch.library.history import Step, next_step, now, photos_of_row, photos_of_step, read_row, swap
from colormatch.library.photos import PhotoFolder
from colormatch.records import ClearCoatPair, Paint, Shelf, Swatch

DATABASE_NAME = "library.sqlite3"
#: Fitted paints that are remembered. Our choice: several versions of a large shelf; each is a few kilobytes.
REMEMBERED_FITS = 2_000

T = TypeVar("T")


@dataclass(frozen=True)
class Stored(Generic[T]):
    """A record together with its number in the library."""

    #: Never used again for another record, even after a deletion.
    id: int
    record: T


@dataclass(frozen=True)
class SavedRepair:
    """A repair as it is kept: open or done."""

    name: str
    #: JSON text; what is in it is the writer's business.
    document: str
    #: Version of the document's form.
    version: int = 1
    #: SHA-256 of each photo that it speaks of.
    photos: tuple[str, ...] = ()
    #: ISO 8601, UTC; set by the library.
    created: str = ""
    changed: str = ""


class Library:
    """A person's library.

    Each method opens the file, does one thing and closes it again, so an instance may be shared by threads, and several
    programs may use one library at once.

    Examples
    --------
    >>> import tempfile
    >>> from colormatch.records import Paint
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     library = Library.open(Path(folder))
    ...     number = library.add(Paint("Umber"))
    ...     library.undo()
    'added the paint Umber'
    """

    def __init__(self, folder: Path) -> None:
        #: Where the library lies.
        self.folder = folder
        #: Its database file.
        self.database = folder / DATABASE_NAME
        #: Its photos.
        self.photos = PhotoFolder(self.database)

    # --- open --------------------------------------------------------------------------------------------------------

    @classmethod
    def open(cls, folder: Path | None = None) -> Library:
        """Open a library, made on first use; bring it up to date, and back it up once a day.

        Parameters
        ----------
        folder : Path, optional
            The user's data folder by default. A new one is made for this user's eyes only.

        Raises
        ------
        LibraryUnwritable
            The folder can't be made or used.
        LibraryDamaged
            The database is damaged, missing though its backups are there, or no swatch library.
        LibraryTooNew
            A later version of the program wrote it.
        """
        library = cls((folder or default_folder()).expanduser().absolute())
        with explained(library.folder):
            library._make_folder()
            library._refuse_what_is_no_library()
            connection = database.connect(library.database, create=True)
            try:
                library._bring_up_to_date(connection)
            finally:
                connection.close()
            if backup.back_up_daily(library.database):
                library.photos.clear_old()
        return library

    def _make_folder(self) -> None:
        if not self.folder.is_dir():
            self.folder.mkdir(parents=True, mode=0o700, exist_ok=True)

    def _refuse_what_is_no_library(self) -> None:
        """An empty database must not be made where one was lost, nor inside an exchange folder."""
        # Backups first: another window may be making the library, and backs it up only when it is there.
        backed_up = bool(backup.backups(self.database))
        present = self.database.is_file() and self.database.stat().st_size > 0
        if not present and backed_up:
            raise database.damaged(self.folder, "its database is missing or empty, its backups are there")
        if not present and (self.folder / "swatches.csv").exists():
            raise LibraryError(
                f"{self.folder} is an exchange folder, not a library.",
                f"Import it with 'colormatch library import {self.folder}'.",
            )

    def _bring_up_to_date(self, connection: sqlite3.Connection) -> None:
        version = schema.version_of(connection, self.folder)
        if version == len(schema.MIGRATIONS):
            return
        if version > 0:
            backup.back_up(self.database, "before-update")
        # A library that was copied while a program held it in another mode must stay one file.
        connection.execute("PRAGMA journal_mode = DELETE")
        schema.migrate(connection, self.folder)

    # --- read --------------------------------------------------------------------------------------------------------

    def all(self, kind: type[R]) -> tuple[Stored[R], ...]:
        """Every record of a kind (``Paint``, ``Swatch``, ...), in the order in which they were added."""
        with reading(self.database) as connection:
            return _all(connection, kind)

    def get(self, kind: type[R], id: int) -> R:
        """One record.

        Raises
        ------
        BadInput
            There is none of that number.
        """
        with reading(self.database) as connection:
            return _get(connection, kind, id)

    def shelf(self) -> Shelf:
        """All that a match needs to know."""
        with reading(self.database) as connection:
            return Shelf(
                tuple(stored.record for stored in _all(connection, Paint)),
                tuple(stored.record for stored in _all(connection, Swatch)),
                tuple(stored.record for stored in _all(connection, ClearCoatPair)),
            )

    def count(self, kind: type[Record]) -> int:
        """How many records of a kind there are."""
        with reading(self.database) as connection:
            return int(connection.execute(f'SELECT count(*) FROM "{TABLES[kind]}"').fetchone()[0])

    def stamp(self) -> str:
        """Changes whenever a record does: a key for whoever remembers what was read."""
        with reading(self.database) as connection:
            made, undone = connection.execute("SELECT max(made), total(undone) FROM step").fetchone()
            restored = connection.execute("SELECT value FROM setting WHERE key = 'restored'").fetchone()
        return f"{made or ''}/{int(undone)}/{restored[0] if restored else ''}"

    # --- change ------------------------------------------------------------------------------------------------------

    def add(self, record: R) -> int:
        """Add one record and return its number.

        Raises
        ------
        PaintError
            A swatch of a paint that is not on the shelf.
        BadInput
            The name is taken, or a text can't be kept.
        LibraryUnwritable
            Folder or disk refuses; nothing was changed.
        """
        return self.add_all([record], f"added the {describe(record)}")[0]

    def add_all(self, records: Sequence[Record], what: str) -> list[int]:
        """Add several records as one step of undo: all or none; paints first where swatches need them."""
        with self.step(what) as step:
            return [step.add(record) for record in records]

    def edit(self, id: int, record: R) -> None:
        """Put another record in the place of one of the same kind; renaming a paint renames it in its swatches."""
        with self.step(f"changed the {describe(record)}") as step:
            step.edit(id, record)

    def remove(self, kind: type[Record], id: int) -> None:
        """Remove a record; a paint goes with its swatches. Can be undone."""
        with self.step("") as step:
            step.remove(kind, id)

    def duplicate(self, kind: type[R], id: int) -> int:
        """Add a copy of a record; where names must differ, the copy gets a new one."""
        record = self.get(kind, id)
        if not isinstance(record, Swatch | ClearCoatPair):
            taken = {stored.record.name for stored in self.all(kind) if not isinstance(stored.record, Swatch)}
            number = next(n for n in range(2, len(taken) + 3) if f"{record.name} {n}" not in taken)
            record = replace(record, name=f"{record.name} {number}")
        return self.add(record)

    def undo(self) -> str | None:
        """Take back the last step, of this or an earlier session; its words, or None if there is none."""
        return self._swap(redo=False)

    def redo(self) -> str | None:
        """Do the last step again that was taken back; None if there is none, or something was changed since."""
        return self._swap(redo=True)

    def next_undo(self) -> str | None:
        """What :meth:`undo` would take back, in words."""
        with reading(self.database) as connection:
            found = next_step(connection)
        return found[1] if found else None

    def next_redo(self) -> str | None:
        """What :meth:`redo` would do again, in words."""
        with reading(self.database) as connection:
            found = next_step(connection, redo=True)
        return found[1] if found else None

    def _swap(self, *, redo: bool) -> str | None:
        with writing(self.database) as connection:
            found = next_step(connection, redo=redo)
            if found is None:
                return None
            swap(connection, found[0], redo=redo)
            touched = photos_of_step(connection, found[0])
            self.photos.recover(connection, touched)
            self.photos.release(connection, touched)
        self.photos.sweep(touched)
        return found[1]

    @contextmanager
    def step(self, what: str) -> Iterator[Changes]:
        """Several changes as one step of undo: all of them or none.

        Parameters
        ----------
        what : str
            In words, such as "imported swatches.zip"; empty: what the first change does.
        """
        with writing(self.database) as connection:
            changes = Changes(connection, what)
            yield changes
            self.photos.recover(connection, changes.photos)
            self.photos.release(connection, changes.photos)
        self.photos.sweep(changes.photos)

    # --- repairs -----------------------------------------------------------------------------------------------------

    def save_repair(self, repair: SavedRepair, id: int | None = None) -> int:
        """Keep a repair, new or in the place of an earlier state of it, and return its number.

        Saving is no step of undo: it happens all the time while somebody works. The photos it names stay as long as
        it does.

        Raises
        ------
        BadInput
            The document is no JSON, or the repair of that number is gone.
        """
        try:
            json.loads(repair.document)
        except ValueError:
            raise BadInput("The repair is no JSON document.", "Please report it.") from None
        moment = now()
        row = (repair.name, moment, repair.version, repair.document, json.dumps(repair.photos))
        with writing(self.database) as connection:
            if id is None:
                cursor = connection.execute(
                    "INSERT INTO repair (name, changed, version, document, photos, created) VALUES (?, ?, ?, ?, ?, ?)",
                    (*row, moment),
                )
                assert cursor.lastrowid is not None
                return cursor.lastrowid
            before = _repair_row(connection, id)
            connection.execute(
                "UPDATE repair SET name = ?, changed = ?, version = ?, document = ?, photos = ? WHERE id = ?",
                (*row, id),
            )
            dropped = set(photos_of_row("repair", before)) - set(repair.photos)
            self.photos.release(connection, dropped)
        self.photos.sweep(dropped)
        return id

    def repairs(self) -> tuple[Stored[SavedRepair], ...]:
        """Every repair, the last changed first."""
        with reading(self.database) as connection:
            rows = connection.execute("SELECT * FROM repair ORDER BY changed DESC, id DESC").fetchall()
        return tuple(Stored(row["id"], _repair(dict(row))) for row in rows)

    def repair(self, id: int) -> SavedRepair:
        """One repair.

        Raises
        ------
        BadInput
            There is none of that number.
        """
        with reading(self.database) as connection:
            return _repair(_repair_row(connection, id))

    def remove_repair(self, id: int) -> None:
        """Remove a repair, and the photos that only it names. Can be undone."""
        with self.step("") as step:
            step.remove_repair(id)

    # --- settings and remembered fits --------------------------------------------------------------------------------

    def setting(self, key: str, default: str = "") -> str:
        """A setting of the user."""
        with reading(self.database) as connection:
            row = connection.execute("SELECT value FROM setting WHERE key = ?", (key,)).fetchone()
        return default if row is None else str(row["value"])

    def set_setting(self, key: str, value: str) -> None:
        """Keep a setting."""
        with writing(self.database) as connection:
            connection.execute("INSERT OR REPLACE INTO setting (key, value) VALUES (?, ?)", (key, value))

    def remembered(self, key: str) -> bytes | None:
        """A fit kept under the hash of all that it was computed from, or None."""
        with reading(self.database) as connection:
            row = connection.execute("SELECT value FROM fit WHERE key = ?", (key,)).fetchone()
        return None if row is None else bytes(row["value"])

    def remember(self, fits: dict[str, bytes]) -> None:
        """Keep fits, each under the hash of all that it was computed from, so that it can never be out of date.

        It only saves time: where the library can't be written, nothing is kept and nothing is said.
        """
        try:
            with writing(self.database) as connection:
                last = connection.execute("SELECT coalesce(max(made), 0) FROM fit").fetchone()[0]
                connection.executemany(
                    "INSERT OR REPLACE INTO fit (key, value, made) VALUES (?, ?, ?)",
                    [(key, value, last + 1) for key, value in fits.items()],
                )
                connection.execute(
                    "DELETE FROM fit WHERE key IN (SELECT key FROM fit ORDER BY made DESC LIMIT -1 OFFSET ?)",
                    (REMEMBERED_FITS,),
                )
        except LibraryUnwritable:
            return


class Changes:
    """The records that one step touches, inside its transaction."""

    def __init__(self, connection: sqlite3.Connection, what: str) -> None:
        self._connection = connection
        self._what = what
        self._log: Step | None = None
        #: Photos that rows named before or name after.
        self.photos: set[str] = set()

    def _logged(self, what: str) -> Step:
        if self._log is None:
            self._log = Step(self._connection, self._what or what)
        return self._log

    def all(self, kind: type[R]) -> tuple[Stored[R], ...]:
        """Every record of a kind, as the step has left them so far."""
        return _all(self._connection, kind)

    def add(self, record: Record) -> int:
        """Add a record; see :meth:`Library.add`."""
        record = tidy(record)
        self._check_name(record, None)
        row = row_of(record)
        self.photos.update(photos_of_row(TABLES[type(record)], row))
        return self._logged(f"added the {describe(record)}").insert(TABLES[type(record)], row)

    def edit(self, id: int, record: Record) -> None:
        """Replace a record; see :meth:`Library.edit`."""
        table, record = TABLES[type(record)], tidy(record)
        before = row_of(_get(self._connection, type(record), id))
        self._check_name(record, id)
        row = row_of(record)
        if row != before:
            self.photos.update(photos_of_row(table, before), photos_of_row(table, row))
            self._logged(f"changed the {describe(record)}").update(table, id, row)

    def remove(self, kind: type[Record], id: int) -> None:
        """Remove a record; see :meth:`Library.remove`."""
        record = _get(self._connection, kind, id)
        step = self._logged(f"removed the {describe(record)}")
        if isinstance(record, Paint):
            for swatch, photo in self._connection.execute(
                "SELECT id, photo FROM swatch WHERE paint = ?", (record.name,)
            ).fetchall():
                self.photos.update({photo} - {""})
                step.delete("swatch", swatch)
        self.photos.update(photos_of_row(TABLES[kind], row_of(record)))
        step.delete(TABLES[kind], id)

    def remove_repair(self, id: int) -> None:
        """Remove a repair; see :meth:`Library.remove_repair`."""
        row = _repair_row(self._connection, id)
        self.photos.update(photos_of_row("repair", row))
        self._logged(f"removed the repair {row['name']}").delete("repair", id)

    def _check_name(self, record: Record, id: int | None) -> None:
        if isinstance(record, Swatch):
            query = "SELECT 1 FROM paint WHERE name = ?"
            if self._connection.execute(query, (record.paint,)).fetchone() is None:
                raise PaintError(
                    f"There is no paint named {record.paint} on the shelf.", "Add the paint first, or check its name."
                )
        elif not isinstance(record, ClearCoatPair):
            query = f'SELECT 1 FROM "{TABLES[type(record)]}" WHERE name = ? AND id IS NOT ?'
            if self._connection.execute(query, (record.name, id)).fetchone() is not None:
                raise BadInput(
                    f"There is already a {WORDS[type(record)]} named {record.name}.",
                    "Choose another name, or change that one.",
                )


def default_folder() -> Path:
    """The folder that the environment variable COLORMATCH_LIBRARY names, or the user's data folder for this program."""
    import os

    import platformdirs

    if named := os.environ.get("COLORMATCH_LIBRARY"):
        return Path(named)
    return Path(platformdirs.user_data_path("colormatch", appauthor=False))


def describe(record: Record) -> str:
    """A record in a few words: ``paint Umber``, ``swatch of Umber, 1 to 3, 2 coats on pine``."""
    if isinstance(record, Swatch):
        strength = f"{record.paint_parts:g} to {record.water_parts:g}"
        coats = "1 coat" if record.coats == 1 else f"{record.coats} coats"
        return f"swatch of {record.paint}, {strength}, {coats} on {record.ground or 'wood'}"
    return f"{WORDS[type(record)]} {record.name}"


def _all(connection: sqlite3.Connection, kind: type[R]) -> tuple[Stored[R], ...]:
    rows = connection.execute(f'SELECT * FROM "{TABLES[kind]}" ORDER BY id').fetchall()
    return tuple(Stored(row["id"], _checked(kind, dict(row))) for row in rows)


def _get(connection: sqlite3.Connection, kind: type[R], id: int) -> R:
    row = read_row(connection, TABLES[kind], id)
    if row is None:
        raise BadInput(f"There is no {WORDS[kind]} number {id}.", "It may have been removed; look at the list again.")
    return _checked(kind, row)


def _checked(kind: type[R], row: dict[str, Any]) -> R:
    """A row that another program spoiled is damage, not bad input of this user."""
    try:
        return record_of(kind, row)
    except ValueError as error:
        raise LibraryDamaged(
            f"A {WORDS[kind]} in the library is damaged: {error}",
            "Bring back a backup with 'colormatch library restore'.",
        ) from error


def _repair_row(connection: sqlite3.Connection, id: int) -> dict[str, Any]:
    row = read_row(connection, "repair", id)
    if row is None:
        raise BadInput(f"There is no repair number {id}.", "It may have been removed; look at the list again.")
    return row


def _repair(row: dict[str, Any]) -> SavedRepair:
    return SavedRepair(
        row["name"], row["document"], row["version"], tuple(json.loads(row["photos"])), row["created"], row["changed"]
    )
