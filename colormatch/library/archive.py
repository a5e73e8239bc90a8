"""Safe reading of a folder or zip file from an untrusted source: nothing is unpacked to a name it chooses."""

from __future__ import annotations

import hashlib
import io
import stat
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path, PurePosixPath
from typing import IO, Protocol

from colormatch.errors import ExchangeError
from colormatch.library import limits

#: Files added by file managers.
_CLUTTER = ("__MACOSX/", ".DS_Store", "Thumbs.db", "desktop.ini")
#: All exceptions known from zipfile and zlib for a damaged file.
_ZIP_ERRORS = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError,
    OSError, OverflowError,
)  # fmt: skip
_SAFE = "Ask for a new copy, and don't use this one."


#: Bytes read from a file at once.
_CHUNK = 2**20
#: Bytes of a file's entry in a zip's directory, without its name: the fixed part (APPNOTE 6.3, 4.3.12) and room for
#: extras.
_DIRECTORY_ENTRY = 46 + 100
#: Folder of the photos.
PHOTOS = "photos/"


class Source(Protocol):
    """Files with relative names, with ``/`` between folders."""

    def names(self) -> frozenset[str]:
        """Names of all files."""

    def size(self, name: str) -> int:
        """Size of one file, bytes, as far as known without reading it."""

    def chunks(self, name: str, limit: int = limits.MAX_PHOTO_BYTES) -> Iterator[bytes]:
        """Content of one file in pieces, so that it is never in memory as a whole.

        Raises
        ------
        ExchangeError
            It is missing, larger than ``limit`` bytes, damaged, or not a regular file.
        """


def read(source: Source, name: str, limit: int = limits.MAX_PHOTO_BYTES) -> bytes:
    """Content of one file; raises as :meth:`Source.chunks` does."""
    return b"".join(source.chunks(name, limit))


def digest(source: Source, name: str, limit: int = limits.MAX_PHOTO_BYTES) -> str:
    """SHA-256 of one file; raises as :meth:`Source.chunks` does."""
    found = hashlib.sha256()
    for piece in source.chunks(name, limit):
        found.update(piece)
    return found.hexdigest()


@contextmanager
def opened(path: Path, marks: frozenset[str]) -> Iterator[Source]:
    """Open a folder or zip file as a source.

    Parameters
    ----------
    path : Path
    marks : frozenset of str
        Names, at least one of them in the wanted folder; they locate the folder inside a zip file.

    Raises
    ------
    ExchangeError
        It is neither, unsafe, or beyond the limits.
    """
    if path.is_dir():
        yield _Folder(path)
    elif not path.exists():
        raise ExchangeError(f"There is nothing at {path}.", "Check the name.")
    elif not path.is_file():
        raise ExchangeError(f"{path} is a device or a pipe, not a file.", "Choose an exported folder or zip file.")
    else:
        with ExitStack() as kept:
            try:
                stream = kept.enter_context(_Bounded(io.FileIO(path)))
                archive = kept.enter_context(zipfile.ZipFile(stream))
            except zipfile.LargeZipFile:
                raise ExchangeError(f"{path.name} contains more than {limits.MAX_FILES:,} files.", _SAFE) from None
            except _ZIP_ERRORS:
                raise ExchangeError(
                    f"{path.name} is neither a folder nor a whole zip file.", "Choose an exported folder or zip file."
                ) from None
            yield _Zip(archive, path.name, marks)


class _Bounded(io.BufferedReader):
    """A zip file that refuses to read any piece longer than the longest directory we accept.

    ``zipfile`` reads the directory at once, before its entries can be counted.
    """

    def read(self, size: int | None = -1, /) -> bytes:
        longest = max(2 * _CHUNK, limits.MAX_FILES * (_DIRECTORY_ENTRY + limits.MAX_NAME))
        if size is not None and size > longest:
            raise zipfile.LargeZipFile(f"{size} bytes in one piece")
        return super().read(size)


def refuse_unsafe_name(name: str, where: str) -> None:
    """Raise for a name that leads out of the folder or is invalid on some file system.

    Raises
    ------
    ExchangeError
    """
    shown = ascii(name[:60])
    if len(name) > limits.MAX_NAME:
        raise ExchangeError(f"A file name in {where} is {len(name):,} characters long: {shown} ...", _SAFE)
    parts = PurePosixPath(name).parts
    if (
        not name.isprintable()
        or not parts
        or name.startswith("/")
        or ".." in parts
        or any(sign in name for sign in "\\:")
    ):
        raise ExchangeError(f"{where} contains the file name {shown}, which leads out of its folder.", _SAFE)


class _Folder:
    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._where = folder.name or str(folder)

    def names(self) -> frozenset[str]:
        found: set[str] = set()
        # Only in our own folders: the user may have chosen a home folder by mistake.
        for folder in (self._folder, self._folder / "photos", self._folder / "repairs"):
            if not folder.is_dir() or folder.is_symlink():
                continue
            for path in folder.iterdir():
                if len(found) >= limits.MAX_FILES:
                    raise ExchangeError(
                        f"{self._where} contains more than {limits.MAX_FILES:,} files.", "Choose another folder."
                    )
                if path.name not in _CLUTTER and not path.is_dir():
                    found.add(path.relative_to(self._folder).as_posix())
        return frozenset(found)

    def size(self, name: str) -> int:
        return self._path(name).stat().st_size

    def chunks(self, name: str, limit: int = limits.MAX_PHOTO_BYTES) -> Iterator[bytes]:
        path = self._path(name)
        try:
            with path.open("rb") as stream:
                yield from _pieces(stream, name, limit)
        except OSError as error:
            raise ExchangeError(
                f"Reading {name} in {self._where} failed: {error.strerror}.", "Check the disk."
            ) from None

    def _path(self, name: str) -> Path:
        refuse_unsafe_name(name, self._where)
        path = self._folder
        for part in PurePosixPath(name).parts:
            path /= part
            if path.is_symlink():
                raise ExchangeError(
                    f"{name} in {self._where} is a link to another place.", "Put the file itself there."
                )
        if not path.is_file():
            raise ExchangeError(f"{name} is missing from {self._where}.", _SAFE)
        return path


class _Zip:
    def __init__(self, archive: zipfile.ZipFile, where: str, marks: frozenset[str]) -> None:
        self._archive, self._where = archive, where
        # For a name that begins with a NUL byte zipfile keeps an empty string, and its own `is_dir` fails on the last
        # letter.
        entries = [entry for entry in archive.infolist() if not entry.filename.endswith("/")]
        if len(entries) > limits.MAX_FILES:
            raise ExchangeError(f"{where} contains more than {limits.MAX_FILES:,} files.", _SAFE)
        files: dict[str, zipfile.ZipInfo] = {}
        for entry in entries:
            # zipfile cuts a name at a NUL byte; the original name reveals it.
            refuse_unsafe_name(entry.orig_filename, where)
            self._refuse_unsafe(entry)
            if entry.filename in files:
                raise ExchangeError(f"{where} contains {entry.filename} twice.", _SAFE)
            if not entry.filename.startswith(_CLUTTER[0]) and PurePosixPath(entry.filename).name not in _CLUTTER:
                files[entry.filename] = entry
        # Zipping a folder often prefixes the folder's own name.
        homes = {name[: -len(mark)] for name in files for mark in marks if name == mark or name.endswith("/" + mark)}
        home = min(homes, key=len, default="")
        self._files = {name[len(home) :]: entry for name, entry in files.items() if name.startswith(home)}
        self._refuse_bomb()

    def _refuse_bomb(self) -> None:
        photos = [entry for name, entry in self._files.items() if name.startswith(PHOTOS)]
        unpacked, packed = sum(one.file_size for one in photos), sum(one.compress_size for one in photos)
        if unpacked > limits.MAX_PHOTOS_BYTES or (
            unpacked >= limits.RATIO_FROM_BYTES and unpacked > limits.MAX_RATIO * packed
        ):
            raise ExchangeError(
                f"The photos in {self._where} would unpack to {limits.shown(unpacked)}, from {limits.shown(packed)}.",
                _SAFE,
            )

    def _refuse_unsafe(self, entry: zipfile.ZipInfo) -> None:
        name, mode = entry.filename, entry.external_attr >> 16
        if entry.flag_bits & 0x1:
            raise ExchangeError(f"{name} in {self._where} is locked with a password.", "Ask for an open copy.")
        if mode and not stat.S_ISREG(mode) and stat.S_IFMT(mode):
            raise ExchangeError(f"{name} in {self._where} is a link or a device, not a file.", _SAFE)
        if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise ExchangeError(
                f"{name} in {self._where} uses an unusual compression.", "Zip it with ordinary compression."
            )

    def names(self) -> frozenset[str]:
        return frozenset(self._files)

    def size(self, name: str) -> int:
        return self._entry(name).file_size

    def chunks(self, name: str, limit: int = limits.MAX_PHOTO_BYTES) -> Iterator[bytes]:
        entry = self._entry(name)
        if entry.file_size > limit:
            raise _too_large(name, limit)
        try:
            with self._archive.open(entry) as stream:
                yield from _pieces(stream, name, limit)
        except ExchangeError:
            raise
        except _ZIP_ERRORS as error:
            raise ExchangeError(f"{name} in {self._where} is damaged: {error}.", _SAFE) from None

    def _entry(self, name: str) -> zipfile.ZipInfo:
        if name not in self._files:
            raise ExchangeError(f"{name} is missing from {self._where}.", _SAFE)
        return self._files[name]


def _pieces(stream: IO[bytes], name: str, limit: int) -> Iterator[bytes]:
    left = limit
    while piece := stream.read(min(_CHUNK, left + 1)):
        left -= len(piece)
        if left < 0:
            raise _too_large(name, limit)
        yield piece


def _too_large(name: str, limit: int) -> ExchangeError:
    return ExchangeError(f"{name} is larger than {limit / 2**20:g} megabytes.", "Split it, or leave it out.")
