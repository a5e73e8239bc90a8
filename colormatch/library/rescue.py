"""Restore a library from a backup."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
import zipfile
from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from colormatch.errors import LibraryDamaged, LibraryError
from colormatch.library import backup, database, limits, schema
from colormatch.library.archive import PHOTOS, Source, opened
from colormatch.library.foreign import UnsoundLibrary, take_over
from colormatch.library.photos import TEMPORARY_PREFIX
from colormatch.library.pictures import Pictures
from colormatch.library.progress import Progress
from colormatch.library.store import DATABASE_NAME, Library, refuse_absent
from colormatch.records import Flag, FlagCode

#: SQLite Database File Format, 1.3.1: the header string.
_SQLITE = b"SQLite format 3\0"

# --- restore ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Restored:
    """Result of a restore."""

    #: The backup used.
    source: Path
    #: Newer backups that were skipped because they are damaged.
    passed_over: tuple[Path, ...] = ()
    #: Parts left behind.
    flags: tuple[Flag, ...] = ()


def trust_warning(source: Path, folder: Path) -> str:
    """Warning in plain text before a file replaces a library; empty for the library's own backups."""
    if source.absolute().parent == folder.expanduser().absolute() / "backups":
        return ""
    return (
        f"{source.name} replaces your current library, which is kept as a backup. Only records and photos are copied, "
        "and nothing in the file is run, but nobody checks whether they are right. Continue only if you saved it "
        "yourself or trust whoever did."
    )


def restore(folder: Path, source: Path | None = None, progress: Progress | None = None) -> Restored:
    """Replace a library's database with a backup. The current one is kept.

    Parameters
    ----------
    folder : Path
        Folder of the library: intact, damaged or without its database.
    source : Path, optional
        A backup, or a file of :func:`colormatch.library.saved.save_archive` with its photos; by default the newest
        backup that passes its check.
    progress : Progress, optional

    Returns
    -------
    Restored
        The backup used. An intact library is backed up first; a damaged one is moved to ``damaged``.

    Raises
    ------
    LibraryError
        There is no intact backup, or the source isn't one; nothing was changed.
    LibraryTooNew
        A later version of the program wrote it; no older backup is used instead.
    LibraryUnwritable
        The folder or disk refuses; no older backup is used instead.
    """
    library = Library(folder.expanduser().absolute())
    # Before the folder is created: a mistyped name must not leave one behind.
    if source is None:
        refuse_absent(library.folder)
    elif not source.expanduser().is_file():
        raise LibraryError(
            f"There is no backup at {source}.", "Look at the list with 'colormatch library backup --list'."
        )
    with database.explained(library.folder):
        library.folder.mkdir(parents=True, mode=0o700, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=TEMPORARY_PREFIX, dir=library.folder) as work:
            copy = Path(work) / DATABASE_NAME
            if source is None:
                taken = _take_newest(copy, library)
            else:
                taken = Restored(source.expanduser(), flags=_take(source.expanduser(), copy, library, progress))
            _put(copy, library)
    with database.writing(library.database) as connection:
        named = {
            row[0]
            for row in connection.execute(
                "SELECT photo FROM swatch UNION SELECT photo FROM paint UNION SELECT sha256 FROM photo"
                " UNION SELECT json_each.value FROM repair, json_each(repair.photos)"
            )
        }
        library.photos.recover(connection, named)
        lost = named - library.photos.file_names(connection).keys() - {""}
    if lost:
        text = f"{len(lost)} of the photos that its records use are in neither the backup nor this library."
        taken = replace(taken, flags=(*taken.flags, Flag(FlagCode.PHOTOS_LOST, text, len(lost))))
    return taken


def _take_newest(copy: Path, library: Library) -> Restored:
    passed_over: list[Path] = []
    for one in backup.backups(library.database):
        try:
            return Restored(one.path, tuple(passed_over), _take(one.path, copy, library))
        except UnsoundLibrary:
            passed_over.append(one.path)
            copy.unlink(missing_ok=True)
    raise LibraryError(f"The library in {library.folder} has no sound backup.", "Name a saved file.")


def _take(source: Path, copy: Path, library: Library, progress: Progress | None = None) -> tuple[Flag, ...]:
    """Copy a backup's records to ``copy``, and a zip file's photos to the library's folder, where they are harmless."""
    raw = copy.with_name("as-it-came")
    if _is_database(source) or not zipfile.is_zipfile(source):
        size = source.stat().st_size
        if size > limits.MAX_DATABASE_BYTES:
            raise UnsoundLibrary(
                f"{source.name} has {limits.shown(size)}; the limit is {limits.shown(limits.MAX_DATABASE_BYTES)}.",
                "Choose another one.",
            )
        limits.refuse_full(library.folder, 2 * size)
        shutil.copyfile(source, raw)
        taken = take_over(raw, copy, source)
        flags = taken.flags
    else:
        with opened(source, frozenset({DATABASE_NAME})) as files:
            limits.refuse_full(library.folder, files.size(DATABASE_NAME) + sum(map(files.size, files.names())))
            with raw.open("wb") as out:
                for piece in files.chunks(DATABASE_NAME, limits.MAX_DATABASE_BYTES):
                    out.write(piece)
            taken = take_over(raw, copy, source)
            flags = taken.flags + _take_photos(files, taken.photos.keys(), library, progress)
    raw.unlink()
    with database.writing(copy) as fresh:
        library.photos.give_rows(fresh, taken.photos)
    return flags


def _take_photos(
    files: Source, wanted: Collection[str], library: Library, progress: Progress | None
) -> tuple[Flag, ...]:
    """Copy the photos listed in the records to the library's folder; invalid ones are left out and flagged."""
    names = [name for name in sorted(files.names()) if name.startswith(PHOTOS) and name[len(PHOTOS) :][:64] in wanted]
    pictures = Pictures(files, names, "Restoring photos", progress)
    for _ in library.photos.put_files(pictures):
        pass
    return pictures.flags


def _is_database(source: Path) -> bool:
    """Whether a file starts like SQLite's; a database that ends with a fit, itself a zip, would also pass for a zip."""
    with source.open("rb") as stream:
        return stream.read(len(_SQLITE)) == _SQLITE


def _put(copy: Path, library: Library) -> None:
    if _is_sound(library):
        backup.back_up(library.database, "before-restore")
        fresh, live = sqlite3.connect(copy), database.connect(library.database)
        try:
            _keep_fits(live, fresh, library)
            fresh.backup(live)  # one SQLite transaction: other windows see either the old library or the new one
        finally:
            live.close()
            fresh.close()
    else:
        _set_aside(library)
        database.replace_file(copy, library.database)


def _keep_fits(live: sqlite3.Connection, fresh: sqlite3.Connection, library: Library) -> None:
    """Keep the library's own cached fits, which stay valid for their inputs."""
    version = schema.version_of(live, library.folder)
    if version == len(schema.MIGRATIONS) and not schema.strangers(live, version).unreadable:
        fits = live.execute("SELECT key, value, made FROM fit").fetchall()
        with fresh:
            fresh.executemany("INSERT OR IGNORE INTO fit (key, value, made) VALUES (?, ?, ?)", map(tuple, fits))


def _is_sound(library: Library) -> bool:
    if not library.database.is_file() or library.database.stat().st_size == 0:
        return False
    try:
        connection = database.connect(library.database)
        try:
            database.check(connection, library.folder)
        finally:
            connection.close()
    except LibraryDamaged:
        return False
    except sqlite3.DatabaseError as error:
        if not database.is_damage(error):
            raise
        return False
    return True


def _set_aside(library: Library) -> None:
    """Move a damaged database aside, with its journal, which would damage the new one."""
    folder = library.folder / "damaged" / datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%f")
    for ending in ("", "-journal", "-wal", "-shm"):
        part = library.folder / (DATABASE_NAME + ending)
        if part.exists():
            folder.mkdir(parents=True, exist_ok=True)
            os.replace(part, folder / part.name)
    database.sync_folder(library.folder)
