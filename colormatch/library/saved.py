"""Save a whole library as one zip file, to keep elsewhere: its database and its unchanged photos."""

from __future__ import annotations

import hashlib
import shutil
import zipfile
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from colormatch.errors import LibraryError
from colormatch.library import backup, limits
from colormatch.library.archive import PHOTOS, digest, opened
from colormatch.library.atomic import read_back, settle, written_whole
from colormatch.library.database import reading
from colormatch.library.foreign import take_over
from colormatch.library.photos import PhotoFolder
from colormatch.library.progress import Progress, told
from colormatch.library.store import DATABASE_NAME, Library
from colormatch.records import Flag, FlagCode

#: Bytes read from a photo at once.
_CHUNK = 2**20
_MISSING, _DAMAGED = (FlagCode.PHOTO_MISSING, "missing"), (FlagCode.PHOTO_DAMAGED, "damaged")


@dataclass(frozen=True)
class Saved:
    """Content of a saved file."""

    #: Number of photos; below, size of the file, bytes.
    photos: int
    size: int
    #: Parts left out, and parts that a restore will leave out.
    flags: tuple[Flag, ...] = ()


def save_archive(library: Library, target: Path, progress: Progress | None = None) -> Saved:
    """Write database and photos as one zip file, for :func:`colormatch.library.rescue.restore`.

    It is written in pieces, which takes little memory for a library of any size, and read back from the disk before it
    is renamed.

    Parameters
    ----------
    library : Library
    target : Path
        Must not exist: nothing is overwritten.
    progress : Progress, optional

    Returns
    -------
    Saved

    Raises
    ------
    BadInput
        The target exists.
    LibraryDamaged
        The database fails its check.
    LibraryUnwritable
        It exceeds the limits for reading, the disk refuses or has too little space, or it doesn't read back correctly.
        Nothing is left behind.
    """
    _places(library.database, library.photos)  # checked before anything is written
    with written_whole(target, "backup") as ready:
        copy = ready.with_name(DATABASE_NAME)
        backup.copy_database(library.database, copy)
        places, size = _places(copy, library.photos)
        limits.refuse_full(ready.parent, size)
        written: dict[str, str] = {}
        flags: list[Flag] = []
        with zipfile.ZipFile(ready, "x", zipfile.ZIP_DEFLATED, strict_timestamps=False) as archive:
            archive.write(copy, DATABASE_NAME)
            for sha256, path in told(places.items(), len(places), "Writing photos", progress):
                name = _write_photo(archive, sha256, path)
                if name is None:
                    code, damage = _MISSING if path is None else _DAMAGED
                    flags.append(Flag(code, f"The photo {sha256[:12]} is {damage} in the library; it was left out."))
                else:
                    written[name] = sha256
        settle(ready)
        with read_back():
            flags += _read_back(ready, copy, written, progress)
        size = ready.stat().st_size
    return Saved(len(written), size, tuple(flags))


def _places(database: Path, photos: PhotoFolder) -> tuple[dict[str, Path | None], int]:
    """Paths of the photos listed in a database (in the trash if removed since), and their total size, bytes.

    Raises
    ------
    LibraryUnwritable
        It exceeds the limits for reading.
    """
    with reading(database) as connection:
        names = photos.file_names(connection)
    places, sizes = dict[str, Path | None](), dict[str, int]()
    for sha256, name in names.items():
        places[sha256] = None
        for path in (photos.folder / name, photos.trash / name):
            with suppress(FileNotFoundError):
                sizes[name], places[sha256] = path.stat().st_size, path
                break
    limits.refuse_unreadable(sizes, database=database.stat().st_size)
    return places, database.stat().st_size + sum(sizes.values())


def _write_photo(archive: zipfile.ZipFile, sha256: str, path: Path | None) -> str | None:
    """Name of the photo in the archive, or None if it is missing or its bytes don't match its name."""
    if path is None:
        return None
    try:
        with path.open(
            "rb"
        ) as stream:  # read twice through one handle, so that moving the file meanwhile has no effect
            if hashlib.file_digest(stream, "sha256").hexdigest() != sha256:
                return None
            stream.seek(0)
            entry = zipfile.ZipInfo.from_file(
                path, PHOTOS + path.name, strict_timestamps=False
            )  # stored: compressed already
            with archive.open(entry, "w") as out:
                shutil.copyfileobj(stream, out, _CHUNK)
    except FileNotFoundError:
        return None
    return entry.filename


def _read_back(ready: Path, copy: Path, written: dict[str, str], progress: Progress | None) -> tuple[Flag, ...]:
    """Compare the file with the data written, and try to restore its database."""
    with copy.open("rb") as stream:
        files = {DATABASE_NAME: hashlib.file_digest(stream, "sha256").hexdigest()} | written
    with opened(ready, frozenset({DATABASE_NAME})) as source:
        if source.names() != files.keys():
            raise LibraryError("Its content differs from what was written.", "")
        for name, sha256 in told(files.items(), len(files), "Reading it back", progress):
            most = limits.MAX_DATABASE_BYTES if name == DATABASE_NAME else limits.MAX_PHOTO_BYTES
            if digest(source, name, most) != sha256:
                raise LibraryError(f"{name} differs from what was written.", "")
    return take_over(copy, copy.with_name("tried.sqlite3"), ready).flags
