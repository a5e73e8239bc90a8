"""The library's photos: files named by the SHA-256 of their bytes, never changed after writing.

A photo's file is written before its row and removed after it: however the program ends, no row lacks its file. A file
without a row is possible and harmless; a check reports it.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from colormatch.errors import BadInput, LibraryDamaged, LibraryUnwritable
from colormatch.library import limits
from colormatch.library.columns import is_sha256
from colormatch.library.database import explained, reading, sync_file, sync_folder, writing
from colormatch.library.history import now

#: Days that an unused photo stays in the trash folder. Our choice.
TRASH_DAYS = 90
#: File name endings kept for imported photos; others could make the file a program or a web page.
_PICTURES = (
    *(
        "jpg",
        "jpeg",
        "jpe",
        "png",
        "tif",
        "tiff",
        "webp",
        "heic",
        "heif",
        "hif",
        "avif",
        "dng",
        "3fr",
        "arw",
        "cr2",
        "cr3",
    ),
    *("crw", "erf", "iiq", "kdc", "mef", "mos", "mrw", "nef", "nrw", "orf", "pef", "raf", "raw", "rw2", "rwl"),
    *("sr2", "srf", "srw", "x3f"),
)
#: Most imported photos flushed together, and most bytes. Our choice: a moment's work.
_FILES_TOGETHER, _BYTES_TOGETHER = 64, 64 * 2**20
#: Prefix of a file that is still being written.
TEMPORARY_PREFIX = ".unfinished-"


class PhotoFolder:
    """Photos of one library; available as ``library.photos``."""

    def __init__(self, database: Path) -> None:
        self._database = database
        self.folder = database.parent / "photos"
        self.trash = database.parent / "trash"

    def add(self, content: bytes, name: str = "") -> str:
        """Store a photo.

        Parameters
        ----------
        content : bytes
            The camera's original file.
        name : str, optional
            Its original name; only the ending is used.

        Returns
        -------
        str
            Its SHA-256, the key for finding it. A photo added twice is stored once.

        Raises
        ------
        BadInput
            It is empty or too large.
        LibraryUnwritable
            The folder or disk refuses.
        """
        if not 0 < len(content) <= limits.MAX_PHOTO_BYTES:
            raise BadInput(
                f"The photo has {len(content):,} bytes.",
                f"Choose one of at most {limits.MAX_PHOTO_BYTES // 2**20} megabytes.",
            )
        sha256 = hashlib.sha256(content).hexdigest()
        with reading(self._database) as connection:
            row = connection.execute("SELECT file FROM photo WHERE sha256 = ?", (sha256,)).fetchone()
        target = self.folder / (_file_name(sha256, row["file"]) if row else sha256 + ending(name))
        with explained(self._database.parent):
            self.folder.mkdir(exist_ok=True)
            if not is_whole(target, sha256):
                _write(target, content)
                sync_folder(self.folder)
        with writing(self._database) as connection:
            # Inside the lock: no one can move the file to the trash between this check and the row.
            if not target.is_file():
                _write(target, content)
                sync_folder(self.folder)
            _insert(connection, target)
        return sha256

    def path(self, sha256: str) -> Path:
        """Path of a photo.

        Raises
        ------
        BadInput
            The library never had it.
        LibraryDamaged
            Its file is missing.
        """
        with reading(self._database) as connection:
            row = connection.execute("SELECT file FROM photo WHERE sha256 = ?", (sha256,)).fetchone()
        if row is None:
            raise BadInput(f"The library has no photo {sha256[:12]}.", "Choose the photo again.")
        path = self.folder / _file_name(sha256, row["file"])
        if not path.is_file():
            raise LibraryDamaged(
                f"The photo {sha256[:12]} is missing from {self.folder}.",
                "Choose the photo again, or restore a backup.",
            )
        return path

    def __contains__(self, sha256: str) -> bool:
        with reading(self._database) as connection:
            found = connection.execute("SELECT 1 FROM photo WHERE sha256 = ?", (sha256,)).fetchone()
        return found is not None

    def all(self) -> dict[str, Path]:
        """SHA-256 and path of every photo."""
        with reading(self._database) as connection:
            return {sha256: self.folder / name for sha256, name in self.file_names(connection).items()}

    def file_names(self, connection: sqlite3.Connection) -> dict[str, str]:
        """SHA-256 and file name of every photo listed in a database; invalid names are replaced."""
        rows = connection.execute("SELECT sha256, file FROM photo ORDER BY sha256").fetchall()
        return {sha256: _file_name(sha256, file) for sha256, file in rows if is_sha256(sha256)}

    # --- for the store and for a restore ------------------------------------------------------------------------------

    def put_files(self, photos: Iterable[tuple[bytes, str]]) -> Iterator[Path]:
        """Write only the files, without rows; yield the path of each. A damaged existing file is replaced."""
        self.folder.mkdir(exist_ok=True)
        present = _files_in(self.folder)
        waiting: list[tuple[Path, Path]] = []
        size = 0
        try:
            for content, name in photos:
                sha256 = hashlib.sha256(content).hexdigest()
                plain = ending(name) if ending(name)[1:] in _PICTURES else ""
                target = present.get(sha256) or self.folder / (sha256 + plain)
                if is_whole(target, sha256):
                    yield target
                    continue
                waiting.append((_unfinished(content, self.folder), target))
                size += len(content)
                if len(waiting) >= _FILES_TOGETHER or size >= _BYTES_TOGETHER:
                    yield from _put(waiting)
                    size = 0
            yield from _put(waiting)
        finally:
            for temporary, _ in waiting:
                temporary.unlink(missing_ok=True)
        sync_folder(self.folder)

    def discard(self, files: Iterable[Path]) -> None:
        """Delete files of :meth:`put_files` that have no row."""
        with writing(self._database) as connection:  # the lock keeps another window from adding a row meanwhile
            for path in files:
                if not _has_row(connection, path.name):
                    path.unlink(missing_ok=True)

    def give_rows(self, connection: sqlite3.Connection, photos: Mapping[str, str]) -> None:
        """Add rows for existing photo files, inside a database that will replace the library's.

        Parameters
        ----------
        connection : sqlite3.Connection
        photos : mapping
            Time each was added, by SHA-256.
        """
        present = _files_in(self.folder)
        for sha256 in photos.keys() & present.keys():
            _insert(connection, present[sha256], photos[sha256])

    def recover(self, connection: sqlite3.Connection, photos: Iterable[str]) -> None:
        """Inside a writing transaction: restore file and row of photos that are named again, where they exist."""
        wanted = [sha256 for sha256 in photos if _named(connection, sha256) and not self._is_there(connection, sha256)]
        if not wanted:
            return
        present, trashed = _files_in(self.folder), _files_in(self.trash)
        for sha256 in wanted:
            path = present.get(sha256)
            if path is None and sha256 in trashed:
                self.folder.mkdir(exist_ok=True)
                path = self.folder / trashed[sha256].name
                os.replace(trashed[sha256], path)
                sync_folder(self.folder)
            if path is not None:
                _insert(connection, path)

    def release(self, connection: sqlite3.Connection, photos: Iterable[str]) -> set[str]:
        """Inside a writing transaction: drop and return the rows of photos that nothing names any more."""
        unnamed = [sha256 for sha256 in photos if not _named(connection, sha256)]
        return {
            sha256 for sha256 in unnamed if connection.execute("DELETE FROM photo WHERE sha256 = ?", (sha256,)).rowcount
        }

    def sweep(self, photos: set[str]) -> None:
        """After that transaction: move the files of photos without a row to the trash."""
        if not photos:
            return
        try:
            self._put_away(photos)
        except LibraryUnwritable as error:
            reason = error.facts.get("reason", "writing it failed")
            raise LibraryUnwritable(
                f"The change was saved, but moving its photo failed: {reason}.",
                "Your data is safe; check the disk, then run 'colormatch library verify'.",
            ) from error

    def _put_away(self, photos: set[str]) -> None:
        present = _files_in(self.folder)
        with writing(self._database) as connection:  # the lock keeps another process from adding one meanwhile
            for path in (present[sha256] for sha256 in photos & present.keys()):
                if not _has_row(connection, path.name) and path.is_file():  # another window may have moved it first
                    self.trash.mkdir(exist_ok=True)
                    os.utime(path)  # its age in the trash counts from now
                    os.replace(path, self.trash / path.name)
                    sync_folder(self.trash)

    def clear_old(self) -> None:
        """Delete old files from the trash, and unfinished files of programs that ended.

        Files that an undo step may still need stay, however old they look: clocks jump.
        """
        old = [path for path in self.trash.glob("*") if _days_old(path) > TRASH_DAYS]
        if old:
            with reading(self._database) as connection:
                steps = "SELECT 1 FROM change WHERE instr(document, ?) LIMIT 1"
                old = [path for path in old if connection.execute(steps, (path.name[:64],)).fetchone() is None]
        for path in old:
            path.unlink(missing_ok=True)
        for folder in (self._database.parent, self.folder, self._database.parent / "backups"):
            for path in folder.glob(TEMPORARY_PREFIX + "*"):
                if _days_old(path) > 1:
                    shutil.rmtree(path, ignore_errors=True) if path.is_dir() else path.unlink(missing_ok=True)

    def _is_there(self, connection: sqlite3.Connection, sha256: str) -> bool:
        row = connection.execute("SELECT file FROM photo WHERE sha256 = ?", (sha256,)).fetchone()
        return row is not None and (self.folder / _file_name(sha256, row["file"])).is_file()


def _days_old(path: Path) -> float:
    try:
        return (time.time() - path.stat().st_mtime) / 86_400
    except FileNotFoundError:  # another window finished or deleted it
        return 0.0


def is_whole(path: Path, sha256: str) -> bool:
    """Whether the file exists and its bytes match its name."""
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest() == sha256
    except FileNotFoundError:
        return False


def _files_in(folder: Path) -> dict[str, Path]:
    """Photo files of a folder by SHA-256; empty without a folder."""
    try:
        return {
            path.name[:64]: path
            for path in sorted(folder.iterdir())
            if is_sha256(path.name[:64]) and path.name == _file_name(path.name[:64], path.name)
        }
    except FileNotFoundError:
        return {}


def _has_row(connection: sqlite3.Connection, file: str) -> bool:
    return connection.execute("SELECT 1 FROM photo WHERE file = ?", (file,)).fetchone() is not None


def ending(name: str) -> str:
    """Ending of a file name, ``.jpg`` for ``IMG_1.JPG``; empty unless it is a plain word."""
    found = Path(name).suffix.lower()
    return found if re.fullmatch(r"\.[a-z0-9]{1,5}", found) else ""


def _file_name(sha256: str, file: str) -> str:
    """A photo's name in the folder: its hash and a safe ending, whatever the row says."""
    return sha256 + ending(file)


def _write(target: Path, content: bytes) -> None:
    """Write a file so that it is complete under its name; the caller flushes the folder, once for many."""
    temporary = _unfinished(content, target.parent)
    try:
        sync_file(temporary)
        os.replace(temporary, target)
    finally:
        temporary.unlink(missing_ok=True)


def _unfinished(content: bytes, folder: Path) -> Path:
    """Write a file under a temporary name."""
    descriptor, name = tempfile.mkstemp(prefix=TEMPORARY_PREFIX, dir=folder)
    try:
        with os.fdopen(descriptor, "wb") as stream:
            stream.write(content)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return Path(name)


def _put(waiting: list[tuple[Path, Path]]) -> Iterator[Path]:
    """Flush files and give them their names. The first flush takes nearly as long as all of them."""
    for temporary, _ in waiting:
        sync_file(temporary)
    while waiting:
        temporary, target = waiting[-1]
        os.replace(temporary, target)
        waiting.pop()
        yield target


def _insert(connection: sqlite3.Connection, path: Path, added: str = "") -> None:
    connection.execute(
        "INSERT OR IGNORE INTO photo (sha256, file, bytes, added) VALUES (?, ?, ?, ?)",
        (path.name[:64], path.name, path.stat().st_size, added or now()),
    )


def _named(connection: sqlite3.Connection, sha256: str) -> bool:
    """Whether a paint, a swatch, a repair or a draft of swatches in the app names the photo."""
    found = connection.execute(
        "SELECT 1 FROM swatch WHERE photo = ?1 UNION ALL SELECT 1 FROM paint WHERE photo = ?1"
        " UNION ALL SELECT 1 FROM repair, json_each(repair.photos) WHERE json_each.value = ?1"
        " UNION ALL SELECT 1 FROM setting WHERE key GLOB 'draft-*' AND instr(value, ?1) LIMIT 1",
        (sha256,),
    ).fetchone()
    return found is not None
