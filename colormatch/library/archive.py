"""A folder or a zip file from a stranger, read with care: nothing is ever unpacked to a name that it chooses."""

from __future__ import annotations

import stat
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import Protocol

from colormatch.errors import ExchangeError

#: Most files, longest name (characters), largest single file and largest sum of all (bytes, unpacked). Our choice: ten
#: times what a busy workshop collects.
MAX_FILES, MAX_NAME = 20_000, 200
MAX_FILE_BYTES, MAX_TOTAL_BYTES = 400 * 2**20, 8 * 2**30
#: Unpacked over packed size at which a file of some size is taken for a bomb; Deflate can't pass 1032. Our choice: text
#: of our own kind packs about 10 times.
MAX_RATIO, RATIO_FROM_BYTES = 200, 2**20
#: What file managers add by themselves.
_CLUTTER = ("__MACOSX/", ".DS_Store", "Thumbs.db", "desktop.ini")
#: All that zipfile and zlib are known to raise on a spoiled file.
_ZIP_ERRORS = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError,
    OSError, OverflowError,
)  # fmt: skip
_SAFE = "Ask for a new copy of it; do not use this one."


class Source(Protocol):
    """Files with relative names, with ``/`` between folders."""

    def names(self) -> frozenset[str]:
        """All files."""

    def read(self, name: str, limit: int = MAX_FILE_BYTES) -> bytes:
        """Content of one file.

        Raises
        ------
        ExchangeError
            It is missing, larger than ``limit`` bytes, damaged, or no plain file.
        """


@contextmanager
def opened(path: Path, marks: frozenset[str]) -> Iterator[Source]:
    """A folder or zip file as a source.

    Parameters
    ----------
    path : Path
    marks : frozenset of str
        Names of which the wanted folder holds at least one; they find the folder inside a zip file.

    Raises
    ------
    ExchangeError
        It is neither, unsafe, or beyond the limits.
    """
    if path.is_dir():
        yield _Folder(path)
    elif not path.exists():
        raise ExchangeError(f"There is nothing at {path}.", "Check the name.")
    else:
        try:
            archive = zipfile.ZipFile(path)
        except _ZIP_ERRORS:
            raise ExchangeError(
                f"{path.name} is neither a folder nor a whole zip file.", "Choose an exported folder or zip file."
            ) from None
        with archive:
            yield _Zip(archive, path.name, marks)


def refuse_unsafe_name(name: str, where: str) -> None:
    """Refuse a name that could lead out of the folder or that no file system takes.

    Raises
    ------
    ExchangeError
    """
    shown = ascii(name[:60])
    if len(name) > MAX_NAME:
        raise ExchangeError(f"A file name in {where} is {len(name):,} characters long: {shown} ...", _SAFE)
    parts = PurePosixPath(name).parts
    if (
        not name.isprintable()
        or not parts
        or name.startswith("/")
        or ".." in parts
        or any(sign in name for sign in "\\:")
    ):
        raise ExchangeError(f"{where} holds the file name {shown}, which leads out of its folder.", _SAFE)


class _Folder:
    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._where = folder.name or str(folder)

    def names(self) -> frozenset[str]:
        found: set[str] = set()
        # Only where our files lie: somebody may choose a home folder by mistake.
        for folder in (self._folder, self._folder / "photos", self._folder / "repairs"):
            if not folder.is_dir() or folder.is_symlink():
                continue
            for path in folder.iterdir():
                if len(found) >= MAX_FILES:
                    raise ExchangeError(f"{self._where} holds more than {MAX_FILES:,} files.", "Choose another folder.")
                if path.name not in _CLUTTER and not path.is_dir():
                    found.add(path.relative_to(self._folder).as_posix())
        return frozenset(found)

    def read(self, name: str, limit: int = MAX_FILE_BYTES) -> bytes:
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
        try:
            with path.open("rb") as stream:
                content = stream.read(limit + 1)
        except OSError as error:
            raise ExchangeError(
                f"{name} in {self._where} can't be read: {error.strerror}.", "Check the disk."
            ) from None
        return _within(content, name, limit)


class _Zip:
    def __init__(self, archive: zipfile.ZipFile, where: str, marks: frozenset[str]) -> None:
        self._archive, self._where = archive, where
        # Of a name that begins with a NUL byte nothing is left, and zipfile's own `is_dir` takes its last letter.
        entries = [entry for entry in archive.infolist() if not entry.filename.endswith("/")]
        if len(entries) > MAX_FILES:
            raise ExchangeError(f"{where} holds more than {MAX_FILES:,} files.", _SAFE)
        if sum(entry.file_size for entry in entries) > MAX_TOTAL_BYTES:
            raise ExchangeError(f"{where} would unpack to more than {MAX_TOTAL_BYTES // 2**30} gigabytes.", _SAFE)
        files: dict[str, zipfile.ZipInfo] = {}
        for entry in entries:
            # zipfile cuts a name at a NUL byte; the original shows it.
            refuse_unsafe_name(entry.orig_filename, where)
            self._refuse_unsafe(entry)
            if entry.filename in files:
                raise ExchangeError(f"{where} holds {entry.filename} twice.", _SAFE)
            if not entry.filename.startswith(_CLUTTER[0]) and PurePosixPath(entry.filename).name not in _CLUTTER:
                files[entry.filename] = entry
        # Zipping a folder often puts the folder's own name first.
        homes = {name[: -len(mark)] for name in files for mark in marks if name == mark or name.endswith("/" + mark)}
        home = min(homes, key=len, default="")
        self._files = {name[len(home) :]: entry for name, entry in files.items() if name.startswith(home)}

    def _refuse_unsafe(self, entry: zipfile.ZipInfo) -> None:
        name, mode = entry.filename, entry.external_attr >> 16
        if entry.flag_bits & 0x1:
            raise ExchangeError(f"{name} in {self._where} is locked with a password.", "Ask for an open copy.")
        if mode and not stat.S_ISREG(mode) and stat.S_IFMT(mode):
            raise ExchangeError(f"{name} in {self._where} is a link or a device, not a file.", _SAFE)
        if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise ExchangeError(f"{name} in {self._where} is packed in an unusual way.", "Zip it the ordinary way.")
        if entry.file_size > RATIO_FROM_BYTES and entry.file_size > MAX_RATIO * max(1, entry.compress_size):
            raise ExchangeError(f"{name} in {self._where} would unpack to {MAX_RATIO} times its size or more.", _SAFE)

    def names(self) -> frozenset[str]:
        return frozenset(self._files)

    def read(self, name: str, limit: int = MAX_FILE_BYTES) -> bytes:
        entry = self._files.get(name)
        if entry is None:
            raise ExchangeError(f"{name} is missing from {self._where}.", _SAFE)
        if entry.file_size > limit:
            _within(b"", name, limit, entry.file_size)
        try:
            with self._archive.open(entry) as stream:
                content = stream.read(limit + 1)
        except _ZIP_ERRORS as error:
            raise ExchangeError(f"{name} in {self._where} is damaged: {error}.", _SAFE) from None
        return _within(content, name, limit)


def _within(content: bytes, name: str, limit: int, size: int | None = None) -> bytes:
    if (len(content) if size is None else size) > limit:
        raise ExchangeError(f"{name} is larger than {limit / 2**20:g} megabytes.", "Split it, or leave it out.")
    return content
