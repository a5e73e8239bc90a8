"""The personal library: paints, swatches and other records, in one SQLite file and a folder of photos."""

from __future__ import annotations

import sqlite3
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from colormatch.errors import LibraryError, LibraryReadOnly, LibraryUnwritable
from colormatch.library import backup, database, schema, stand_in
from colormatch.library.changes import Changes
from colormatch.library.columns import TABLES, R, Record
from colormatch.library.database import explained, reading, writing
from colormatch.library.history import next_step, photos_of_step, swap
from colormatch.library.memory import Memory
from colormatch.library.photos import PhotoFolder
from colormatch.library.repairs import RepairKeeper, SavedRepair, sorted_repairs
from colormatch.library.rows import Spoiled, Stored, all_records, describe, one_record, sorted_records
from colormatch.records import ClearCoatPair, Paint, Shelf, Swatch, name_key

__all__ = [
    "DATABASE_NAME",
    "LIBRARY_VARIABLE",
    "Library",
    "SavedRepair",
    "Stored",
    "default_folder",
    "describe",
    "holds_library",
    "refuse_absent",
]

DATABASE_NAME = "library.sqlite3"
#: Environment variable for the folder of the library; the user's data folder if unset.
LIBRARY_VARIABLE = "COLORMATCH_LIBRARY"


class Everything(NamedTuple):
    """Content of a library."""

    #: Valid records by kind.
    records: dict[type, tuple[Any, ...]]
    #: Valid repairs.
    repairs: tuple[SavedRepair, ...]
    #: Invalid rows.
    spoiled: tuple[Spoiled, ...]


def everything(connection: sqlite3.Connection) -> Everything:
    """Read the content of a library, in the order it was added."""
    records: dict[type, tuple[Any, ...]] = {}
    spoiled: list[Spoiled] = []
    for kind in TABLES:
        found: tuple[tuple[Stored[Any], ...], tuple[Spoiled, ...]] = sorted_records(connection, kind, strict=True)
        records[kind] = tuple(stored.record for stored in found[0])
        spoiled += found[1]
    repairs, unreadable = sorted_repairs(connection, strict=True)
    ordered = sorted(repairs, key=lambda stored: stored.id)
    return Everything(records, tuple(stored.record for stored in ordered), (*spoiled, *unreadable))


class Library(RepairKeeper, Memory):
    """A person's library.

    Each method opens and closes the file, so threads may share an instance, and several programs may use one library at
    once.

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
        #: Folder of the library.
        self.folder = folder
        #: Its database file.
        self.database = folder / DATABASE_NAME
        #: Its photos.
        self.photos = PhotoFolder(self.database)

    # --- open --------------------------------------------------------------------------------------------------------

    @classmethod
    def open(cls, folder: Path | None = None) -> Library:
        """Open a library, made on first use; bring it up to date, and back it up once a day.

        An older one on a disk that can't be written is read from a copy that is brought up to date; a warning tells.

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
            if not library.unwritable and backup.back_up_daily(library.database):
                library.photos.clear_old()
        return library

    def _make_folder(self) -> None:
        if self.folder.is_dir():
            return
        try:
            self.folder.mkdir(parents=True, mode=0o700, exist_ok=True)
        except (FileExistsError, NotADirectoryError):
            raise LibraryUnwritable(
                f"Making a library in {self.folder} failed: a file has the name of a folder that it needs.",
                "Name another folder.",
            ) from None

    def _refuse_what_is_no_library(self) -> None:
        """Refuse to create an empty database where one was lost, or inside an exchange folder."""
        # Backups first: another window may be creating the library, which it backs up only afterwards.
        backed_up = bool(backup.backups(self.database))
        present = self.database.is_file() and self.database.stat().st_size > 0
        if not present and backed_up:
            raise database.damaged(self.folder, "its database is missing or empty, but its backups are there")
        if not present and (self.folder / "swatches.csv").exists():
            raise LibraryError(
                f"{self.folder} is an exchange folder, not a library.",
                f"Import it with 'colormatch library import {self.folder}'.",
            )

    def _bring_up_to_date(self, connection: sqlite3.Connection) -> None:
        version = schema.version_of(connection, self.folder)
        if version > 0:
            schema.refuse_strange(connection, version, self.folder)
        if 0 < version < len(schema.MIGRATIONS) and not stand_in.can_be_written(self.database):
            stand_in.read_a_copy(self.database)
            warnings.warn(self.unwritable, LibraryReadOnly, stacklevel=3)
            return
        database.read_instead(self.database, None)  # the disk may have been read-only before
        if version == len(schema.MIGRATIONS):
            return
        if version > 0:
            backup.back_up(self.database, "before-update")
        # A library that was copied while a program held it in another mode must stay one file.
        connection.execute("PRAGMA journal_mode = DELETE")
        schema.migrate(connection, self.folder)

    @property
    def unwritable(self) -> str:
        """Why nothing can be saved, in a sentence, where a copy is read in the library's place; else empty."""
        if database.copy_read_instead(self.database) is None:
            return ""
        return (
            f"Saving to {self.folder} is off because the folder is read-only: its library is from an earlier version "
            "of the program, and you see an updated copy of it."
        )

    # --- read --------------------------------------------------------------------------------------------------------

    def all(self, kind: type[R]) -> tuple[Stored[R], ...]:
        """All records of a kind (``Paint``, ``Swatch``, ...), in the order they were added."""
        with reading(self.database) as connection:
            return all_records(connection, kind)

    def get(self, kind: type[R], id: int) -> R:
        """One record.

        Raises
        ------
        BadInput
            No record has that number.
        """
        with reading(self.database) as connection:
            return one_record(connection, kind, id)

    def shelf(self) -> Shelf:
        """Everything a match needs."""
        with reading(self.database) as connection:
            return Shelf(
                tuple(stored.record for stored in all_records(connection, Paint)),
                tuple(stored.record for stored in all_records(connection, Swatch)),
                tuple(stored.record for stored in all_records(connection, ClearCoatPair)),
            )

    def everything(self) -> Everything:
        """All records by kind and all repairs, in the order they were added, as one consistent state."""
        with reading(self.database) as connection:
            return everything(connection)

    def spoiled(self) -> tuple[Spoiled, ...]:
        """All rows that are unreadable, or would be after an export."""
        return self.everything().spoiled

    def count(self, kind: type[Record]) -> int:
        """Number of records of a kind."""
        with reading(self.database) as connection:
            return int(connection.execute(f'SELECT count(*) FROM "{TABLES[kind]}"').fetchone()[0])

    def stamp(self) -> str:
        """Key that changes whenever a record does, independent of the clock; for caches."""
        with reading(self.database) as connection:
            # The number of the last step is never reused (AUTOINCREMENT), and the undone steps are the last ones.
            last, undone = connection.execute("SELECT max(id), total(undone) FROM step").fetchone()
            restored = connection.execute("SELECT value FROM setting WHERE key = 'restored'").fetchone()
        return f"{last or 0}/{int(undone)}/{restored[0] if restored else ''}"

    # --- change ------------------------------------------------------------------------------------------------------

    def add(self, record: R) -> int:
        """Add one record and return its number.

        Raises
        ------
        PaintError
            A swatch names a paint that is not on the shelf.
        BadInput
            The name is taken, or a text can't be stored.
        LibraryUnwritable
            The folder or disk refuses; nothing was changed.
        """
        return self.add_all([record], f"added the {describe(record)}")[0]

    def add_all(self, records: Sequence[Record], what: str) -> list[int]:
        """Add several records as one undo step: all or none; paints first where swatches need them."""
        with self.step(what) as step:
            return [step.add(record) for record in records]

    def edit(self, id: int, record: R) -> None:
        """Replace a record by another of the same kind; renaming a paint renames it in its swatches."""
        with self.step(f"changed the {describe(record)}") as step:
            step.edit(id, record)

    def remove(self, kind: type[Record], id: int) -> None:
        """Remove a record, and with a paint its swatches. Can be undone."""
        with self.step("") as step:
            step.remove(kind, id)

    def duplicate(self, kind: type[R], id: int) -> int:
        """Add a copy of a record, with a new name if names must be unique."""
        record = self.get(kind, id)
        if not isinstance(record, Swatch | ClearCoatPair):
            taken = {name_key(one.record.name) for one in self.all(kind) if not isinstance(one.record, Swatch)}
            number = next(n for n in range(2, len(taken) + 3) if name_key(f"{record.name} {n}") not in taken)
            record = replace(record, name=f"{record.name} {number}")
        return self.add(record)

    def undo(self) -> str | None:
        """Undo the last step, of this or an earlier session; return its description, or None if there is none."""
        return self._swap(redo=False)

    def redo(self) -> str | None:
        """Redo the last undone step; None if there is none, or if something was changed since."""
        return self._swap(redo=True)

    def next_undo(self) -> str | None:
        """Description of the step that :meth:`undo` would undo."""
        with reading(self.database) as connection:
            found = next_step(connection)
        return found[1] if found else None

    def next_redo(self) -> str | None:
        """Description of the step that :meth:`redo` would redo."""
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
            released = self.photos.release(connection, touched)
        self.photos.sweep(released)
        return found[1]

    @contextmanager
    def step(self, what: str) -> Iterator[Changes]:
        """Several changes as one undo step: all of them or none.

        Parameters
        ----------
        what : str
            Description, such as "imported swatches.zip"; empty: that of the first change.
        """
        with writing(self.database) as connection:
            changes = Changes(connection, what)
            yield changes
            self.photos.recover(connection, changes.photos)
            released = self.photos.release(connection, changes.photos)
        self.photos.sweep(released)

    def remove_repair(self, id: int) -> None:
        """Remove a repair, and the photos named only by it. Can be undone."""
        with self.step("") as step:
            step.remove_repair(id)


def holds_library(folder: Path) -> bool:
    """Whether a folder contains a library, valid or not."""
    path = folder.expanduser() / DATABASE_NAME
    return path.is_file() or bool(backup.backups(path))


def refuse_absent(folder: Path) -> None:
    """Refuse a folder without a library, so that a mistyped name doesn't create a new one.

    Raises
    ------
    LibraryError
    """
    if not holds_library(folder):
        raise LibraryError(
            f"There is no library in {folder}.",
            f"Check the name, or make one there: 'colormatch paint add NAME --library {folder}'.",
        )


def default_folder() -> Path:
    """The folder named by :data:`LIBRARY_VARIABLE`, or the user's data folder for this program."""
    import os

    import platformdirs

    if named := os.environ.get(LIBRARY_VARIABLE):
        return Path(named)
    return Path(platformdirs.user_data_path("colormatch", appauthor=False))
