"""The database file: one short connection per operation, and errors in plain words."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from colormatch.errors import LibraryDamaged, LibraryError, LibraryUnwritable

#: Longest wait of one process for another that is writing, seconds. Our choice: far longer than any write, short enough
#: for a person.
BUSY_SECONDS = 15.0

#: Databases of an earlier version that can't be written, and the up-to-date copies that are read in their place.
_copies: dict[Path, Path] = {}

_WAY_BACK = "Restore a backup with 'colormatch library restore', or under Swatches, Backups in the app."


@contextmanager
def explained(folder: Path) -> Iterator[None]:
    """Convert errors of SQLite and of the file system to errors that a person can act on."""
    try:
        yield
    except sqlite3.Error as error:
        raise _explain(error, folder) from error
    except UnicodeDecodeError as error:  # in a row, or in what SQLite says of a schema that it can't read
        raise damaged(folder, "invalid text") from error
    except LibraryError:
        raise
    except OSError as error:
        if not folder.is_dir():
            raise _gone(folder) from error
        reason = (error.strerror or str(error)).lower()
        raise LibraryUnwritable(
            f"Using the library in {folder} failed: {reason}.",
            "Everything already in it is safe; make room or make the folder writable, then try again.",
            reason=reason,
        ) from error


def _gone(folder: Path) -> LibraryUnwritable:
    return LibraryUnwritable(
        f"The folder {folder} no longer exists.",
        "Reconnect its disk or put the folder back, then try again; everything saved in it is safe.",
    )


def _code(error: sqlite3.Error) -> int:
    """SQLite's primary result code, the low byte: https://www.sqlite.org/rescode.html"""
    return int(getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)) & 0xFF


def is_damage(error: sqlite3.Error) -> bool:
    """Whether the content of the file is at fault, rather than the disk, a lock or a permission."""
    return _code(error) in (
        sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT, sqlite3.SQLITE_ERROR
    )  # fmt: skip


def _explain(error: sqlite3.Error, folder: Path) -> LibraryError:
    if not folder.is_dir():
        return _gone(folder)
    code = _code(error)
    if "decode to utf-8" in str(error).lower():  # Python's own complaint, without a code of SQLite's
        return damaged(folder, "invalid text")
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT):
        return damaged(folder, str(error))
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return LibraryUnwritable(
            "Another window or program is writing to the library.", "Wait a moment, then try again."
        )
    if code == sqlite3.SQLITE_FULL:
        return LibraryUnwritable(
            f"The disk that holds the library in {folder} is full.",
            "Everything already in it is safe; make room, then try again.",
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH):
        return LibraryUnwritable(
            f"The library in {folder} is read-only.",
            "Make the folder writable and start the program again, or choose another one.",
        )
    if code in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_NOLFS):
        return LibraryUnwritable(
            f"The disk failed to read or write the library in {folder}.",
            "Check that the disk is connected and has room, then try again; everything saved so far is safe.",
        )
    # Any other error is a bug in a statement of ours, still reported as a sentence with SQLite's own words.
    return LibraryError(f"The library in {folder} refused the request: {error}.", "Please report it.")


def damaged(folder: Path, reason: str) -> LibraryDamaged:
    """Error for a database that fails its check."""
    return LibraryDamaged(f"The library in {folder} is damaged ({reason}).", _WAY_BACK, reason=reason)


def read_instead(path: Path, copy: Path | None) -> None:
    """From now on read a copy in a database's place, and refuse to write; None: no longer."""
    _copies.pop(path, None)
    if copy is not None:
        _copies[path] = copy


def copy_read_instead(path: Path) -> Path | None:
    """The copy that is read in a database's place, if there is one."""
    return _copies.get(path)


def connect(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """Connect in autocommit mode; a missing file is an error unless ``create``."""
    copy = None if create else copy_read_instead(path)
    mode = "rwc" if create else "rw" if copy is None else "ro"
    connection = sqlite3.connect(
        f"{(copy or path).resolve().as_uri()}?mode={mode}", uri=True, timeout=BUSY_SECONDS, isolation_level=None
    )
    connection.row_factory = sqlite3.Row
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA foreign_keys = ON")
    # A transaction ends when its journal is deleted; under FULL a power cut may undo that, and the transaction with it.
    connection.execute("PRAGMA synchronous = EXTRA")
    return connection


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """Yield a connection for reading one consistent state of the library."""
    with explained(path.parent):
        connection = connect(path)
        try:
            connection.execute("BEGIN")
            yield connection
            connection.execute("COMMIT")
        finally:
            connection.close()


@contextmanager
def writing(path: Path) -> Iterator[sqlite3.Connection]:
    """Yield a connection inside one transaction: all or nothing is written."""
    with explained(path.parent):
        connection = connect(path)
        try:
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise
        finally:
            connection.close()


def check(connection: sqlite3.Connection, folder: Path, *, quick: bool = False) -> None:
    """Check the whole file with SQLite.

    Raises
    ------
    LibraryDamaged
        With the first problem found.
    """
    found = connection.execute("PRAGMA quick_check(1)" if quick else "PRAGMA integrity_check(1)").fetchone()[0]
    if found != "ok":
        raise damaged(folder, " ".join(found.split()))
    orphan = connection.execute("PRAGMA foreign_key_check").fetchone()
    if orphan is not None:
        raise damaged(folder, f"a row of {orphan[0]} refers to a missing row of {orphan[2]}")


# --- files that survive a power cut ----------------------------------------------------------------------------------


def sync_folder(folder: Path) -> None:
    """Flush a rename in the folder to the disk. Windows can't open a folder and doesn't need it."""
    if os.name == "posix":
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def sync_file(path: Path) -> None:
    """Flush a file to the disk."""
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())


def replace_file(temporary: Path, target: Path) -> None:
    """Rename a finished temporary file within its folder, so that the target is always complete."""
    sync_file(temporary)
    os.replace(temporary, target)
    sync_folder(target.parent)
