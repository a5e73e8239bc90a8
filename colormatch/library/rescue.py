"""All of a library in one file, and the way back from a backup."""

from __future__ import annotations

import os
import secrets
import shutil
import sqlite3
import tempfile
import zipfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from colormatch.errors import LibraryDamaged, LibraryError
from colormatch.library import backup, database, limits, schema
from colormatch.library.archive import opened, read
from colormatch.library.atomic import written_whole
from colormatch.library.columns import is_sha256
from colormatch.library.photos import TEMPORARY_PREFIX
from colormatch.library.progress import Progress, told
from colormatch.library.store import DATABASE_NAME, Library, refuse_absent

#: SQLite Database File Format, 1.3.1: the header string.
_SQLITE = b"SQLite format 3\0"

# --- all of a library as one file ------------------------------------------------------------------------------------


def save_archive(library: Library, target: Path, progress: Progress | None = None) -> None:
    """Write database and photos as one zip file, to be kept elsewhere; :func:`restore` takes it back.

    Parameters
    ----------
    library : Library
    target : Path
        Must not be there yet: nothing is overwritten.
    progress : Progress, optional

    Raises
    ------
    BadInput
        The target is there.
    LibraryUnwritable, LibraryDamaged
        The disk refuses or the database fails its check; nothing is left behind.
    """
    photos = [photo for photo in library.photos.all().values() if photo.is_file()]
    with written_whole(target, "backup") as ready:
        copy = ready.with_name(DATABASE_NAME)
        backup.copy_database(library.database, copy)
        with zipfile.ZipFile(ready, "x", zipfile.ZIP_DEFLATED) as archive:
            archive.write(copy, DATABASE_NAME)
            for photo in told(photos, len(photos), "Writing photos", progress):
                archive.write(photo, f"photos/{photo.name}", zipfile.ZIP_STORED)  # packed already
        database.sync_file(ready)


# --- the way back ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Restored:
    """What a restore took."""

    #: The backup.
    source: Path
    #: Newer backups that are damaged, so that this one was taken.
    passed_over: tuple[Path, ...] = ()


def restore(folder: Path, source: Path | None = None, progress: Progress | None = None) -> Restored:
    """Put a backup in the place of a library's database. What is there now is kept.

    Parameters
    ----------
    folder : Path
        The library, healthy, damaged or without its database.
    source : Path, optional
        A backup, or a file of :func:`save_archive`, whose photos come along; by default the newest backup that passes
        its check.
    progress : Progress, optional

    Returns
    -------
    Restored
        The backup that was taken. A healthy library was backed up before; a damaged one lies in ``damaged``.

    Raises
    ------
    LibraryError
        There is no sound backup, or the source is none; nothing was changed.
    LibraryTooNew
        A later version of the program wrote it; an older backup is not taken instead.
    LibraryUnwritable
        Folder or disk refuses; an older backup is not taken instead.
    """
    library = Library(folder.expanduser().absolute())
    # Before the folder is made: a mistyped name must not leave one behind.
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
                taken = Restored(_take(source.expanduser(), copy, library, progress))
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
    return taken


class _Unsound(LibraryError):
    """The file itself is at fault, not the disk or the version of the program."""


def _take_newest(copy: Path, library: Library) -> Restored:
    passed_over: list[Path] = []
    for one in backup.backups(library.database):
        try:
            return Restored(_take(one.path, copy, library), tuple(passed_over))
        except _Unsound:
            passed_over.append(one.path)
    raise LibraryError(f"There is no sound backup of the library in {library.folder}.", "Name a saved file.")


def _take(source: Path, copy: Path, library: Library, progress: Progress | None = None) -> Path:
    """Copy a backup to ``copy`` and check it; a zip file's photos go where they belong, where they harm nothing."""
    if _is_database(source) or not zipfile.is_zipfile(source):
        shutil.copyfile(source, copy)
        _check(copy, source)
        return source
    with opened(source, frozenset({DATABASE_NAME})) as files:
        copy.write_bytes(read(files, DATABASE_NAME, limits.MAX_DATABASE_BYTES))
        _check(copy, source)
        names = [name for name in sorted(files.names()) if name.startswith("photos/") and is_sha256(name[7:71])]
        contents = ((read(files, name), name) for name in told(names, len(names), "Restoring photos", progress))
        for _ in library.photos.put_files(contents):
            pass
    return source


def _is_database(source: Path) -> bool:
    """Whether a file begins as SQLite's do; one whose last pages hold a fit, itself a zip, passes for a zip too."""
    with source.open("rb") as stream:
        return stream.read(len(_SQLITE)) == _SQLITE


def _check(copy: Path, source: Path) -> None:
    connection = sqlite3.connect(copy, isolation_level=None)
    try:
        if schema.version_of(connection, source) == 0:
            raise LibraryDamaged("empty", "")
        database.check(connection, source)
        # The same step may have another content from now on; see Library.stamp. Drawn, since a clock may repeat itself.
        drawn = secrets.token_hex(8)
        connection.execute("INSERT OR REPLACE INTO setting (key, value) VALUES ('restored', ?)", (drawn,))
    except (sqlite3.DatabaseError, LibraryDamaged, UnicodeDecodeError) as error:
        if isinstance(error, sqlite3.DatabaseError) and not database.is_damage(error):
            raise  # the disk is full, say: that tells nothing about the backup
        raise _Unsound(f"{source.name} is not a sound backup of a library.", "Choose another one.") from None
    finally:
        connection.close()


def _put(copy: Path, library: Library) -> None:
    if _is_sound(library):
        backup.back_up(library.database, "before-restore")
        fresh, live = sqlite3.connect(copy), database.connect(library.database)
        try:
            fresh.backup(live)  # one transaction of SQLite's own: other windows see the old library or the new one
        finally:
            live.close()
            fresh.close()
    else:
        _set_aside(library)
        database.replace_file(copy, library.database)


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
    """Keep a damaged database, and the journal that belongs to it: beside the new one it would spoil that."""
    folder = library.folder / "damaged" / datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%f")
    for ending in ("", "-journal", "-wal", "-shm"):
        part = library.folder / (DATABASE_NAME + ending)
        if part.exists():
            folder.mkdir(parents=True, exist_ok=True)
            os.replace(part, folder / part.name)
    database.sync_folder(library.folder)
