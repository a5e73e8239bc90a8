"""The exchange folder: a shelf as CSV, photos and a manifest that any program can read, also inside one zip file."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from colormatch import __version__
from colormatch.errors import BadInput, ExchangeError, LibraryUnwritable
from colormatch.library.archive import Source, opened, refuse_unsafe_name
from colormatch.library.columns import is_sha256
from colormatch.library.database import explained, sync_file, sync_folder
from colormatch.library.history import now
from colormatch.library.photos import MAX_PHOTO_BYTES, TEMPORARY_PREFIX
from colormatch.library.sheet import Problem, Read, read_sheet, refuse, write_sheet
from colormatch.library.store import Library
from colormatch.records import ClearCoatPair, Flag, Paint, Shelf, Swatch

#: Version of the folder's form that is written, and the newest that is read.
FORMAT_VERSION = 1
MANIFEST = "manifest.json"
#: The sheets and what their rows are.
PAINTS, SWATCHES, CLEAR_COATS = "paints.csv", "swatches.csv", "clear_coats.csv"
_MARKS = frozenset({PAINTS, SWATCHES, CLEAR_COATS})
#: Largest sheet and manifest, bytes. Our choice: 100,000 swatches take about 20 megabytes.
_MAX_SHEET_BYTES, _MAX_MANIFEST_BYTES = 64 * 2**20, 8 * 2**20


@dataclass(frozen=True)
class Exchange:
    """What an exchange folder holds, checked as a whole."""

    source: Path
    shelf: Shelf
    #: SHA-256 of each photo, and its name in the source.
    photos: Mapping[str, str]
    #: What is odd about it though it can be imported.
    flags: tuple[Flag, ...] = ()

    @contextmanager
    def photo_reader(self) -> Iterator[Source]:
        """The source opened again, to read the photos from."""
        with opened(self.source, _MARKS) as source:
            yield source


def read_exchange(source: Path) -> Exchange:
    """Read and check an exchange folder or a zip file of one. Nothing is imported.

    Parameters
    ----------
    source : Path
        Holds at least one of ``paints.csv``, ``swatches.csv``, ``clear_coats.csv``. A sheet that differs from the
        manifest was edited by hand, which is allowed and flagged; so is a manifest that is missing.

    Raises
    ------
    ExchangeError
        It is unsafe, incomplete or damaged, or a row is bad: then with file, line and column.
    """
    with opened(source, _MARKS) as files:
        names = files.names()
        if not names & _MARKS:
            raise ExchangeError(
                f"{source.name or source} holds none of {', '.join(sorted(_MARKS))}.", "Choose an exported folder."
            )
        flags = _check_manifest(files, names)
        paints, problems = _sheet(files, names, Paint, PAINTS)
        swatches, more = _sheet(files, names, Swatch, SWATCHES)
        clear_coats, further = _sheet(files, names, ClearCoatPair, CLEAR_COATS)
        problems += _names_that_clash(paints)
        if not problems:
            known = {read.record.name for read in paints}
            problems += [
                Problem(SWATCHES, read.line, "paint", f"{PAINTS} has no paint named {read.record.paint[:60]!r}")
                for read in swatches
                if read.record.paint not in known
            ]
        refuse(problems + more + further)
        photos = _check_photos(files, names)
    shelf = Shelf(*(tuple(read.record for read in sheet) for sheet in (paints, swatches, clear_coats)))
    return Exchange(source, shelf, photos, tuple(flags))


def _sheet(files: Source, names: frozenset[str], kind: type[Any], name: str) -> tuple[list[Read[Any]], list[Problem]]:
    return read_sheet(kind, name, files.read(name, _MAX_SHEET_BYTES)) if name in names else ([], [])


def _names_that_clash(paints: list[Read[Paint]]) -> list[Problem]:
    seen: dict[str, int] = {}
    return [
        Problem(PAINTS, read.line, "name", f"{read.record.name[:60]!r} stands in line {first} already")
        for read in paints
        if (first := seen.setdefault(read.record.name, read.line)) != read.line
    ]


def _check_manifest(files: Source, names: frozenset[str]) -> list[Flag]:
    """Compare the files with the manifest.

    Raises
    ------
    ExchangeError
        The manifest can't be read, is of a later version, or a file that it names is missing or, unless it is a sheet,
        not the same.
    """
    if MANIFEST not in names:
        return [Flag("manifest-missing", f"There is no {MANIFEST}, so it can't be told whether all of it is there.")]
    try:
        document = json.loads(files.read(MANIFEST, _MAX_MANIFEST_BYTES))
        version, listed = document["version"], document["files"]
        entries = [(str(name), str(sha256)) for name, sha256 in listed.items()]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise ExchangeError(
            f"{MANIFEST} can't be read.", "Ask for a new copy, or take the file away to import without it."
        ) from None
    if not isinstance(version, int) or version < 1:
        raise ExchangeError(f"{MANIFEST} names no version of its form.", "Ask for a new copy.")
    if version > FORMAT_VERSION:
        raise ExchangeError("It was written by a later version of the program.", "Install that version or a newer one.")
    flags = []
    if document.get("simulated"):
        flags.append(Flag("simulated", "Its colors are simulated, not measured."))
    for name, sha256 in entries:
        refuse_unsafe_name(name, MANIFEST)
        if hashlib.sha256(files.read(name)).hexdigest() == sha256:
            continue
        if name not in _MARKS:
            raise ExchangeError(
                f"{name} is not as {MANIFEST} says; it is damaged or was changed.", "Ask for a new copy.", file=name
            )
        flags.append(Flag("edited", f"{name} was edited after it was written."))
    return flags


def _check_photos(files: Source, names: frozenset[str]) -> dict[str, str]:
    """SHA-256 and name of each photo.

    Raises
    ------
    ExchangeError
        A photo's bytes are not those that its name says.
    """
    photos = {}
    for name in sorted(names):
        path = PurePosixPath(name)
        if path.parent == PurePosixPath("photos") and is_sha256(path.name[:64]):
            sha256 = hashlib.sha256(files.read(name, MAX_PHOTO_BYTES)).hexdigest()
            if sha256 != path.name[:64]:
                raise ExchangeError(f"The photo {name} is damaged or was changed.", "Ask for a new copy.", file=name)
            photos[sha256] = name
    return photos


# --- write -----------------------------------------------------------------------------------------------------------


def export_exchange(library: Library, target: Path) -> tuple[Flag, ...]:
    """Write the library's shelf as an exchange folder, or as one zip file where the name ends in ``.zip``.

    Parameters
    ----------
    library : Library
    target : Path
        Must not be there yet, unless as an empty folder: nothing is overwritten.

    Returns
    -------
    tuple of Flag
        Photos that could not be written along.

    Raises
    ------
    BadInput
        The target is in use.
    LibraryUnwritable
        Folder or disk refuses; nothing is left behind.
    """
    shelf = library.shelf()
    places = library.photos.all()
    photos, flags = {}, []
    for sha256 in sorted({swatch.photo for swatch in shelf.swatches} - {""}):
        if sha256 in places and places[sha256].is_file():
            photos[sha256] = places[sha256]
        else:
            flags.append(Flag("photo-missing", f"The photo {sha256[:12]} is not in the library; it was left out."))
    write_exchange(shelf, photos, target)
    return tuple(flags)


def write_exchange(shelf: Shelf, photos: Mapping[str, Path], target: Path) -> None:
    """Write a shelf and its photos; see :func:`export_exchange`."""
    target = target.expanduser().absolute()
    if target.exists() and not (target.is_dir() and not any(target.iterdir())):
        raise BadInput(f"{target} is already there.", "Choose a new name; nothing is overwritten.")
    sheets = {
        PAINTS: write_sheet(Paint, shelf.paints),
        SWATCHES: write_sheet(Swatch, shelf.swatches),
        CLEAR_COATS: write_sheet(ClearCoatPair, shelf.clear_coats),
    }
    files = {name: hashlib.sha256(content).hexdigest() for name, content in sheets.items()}
    files |= {f"photos/{path.name}": sha256 for sha256, path in photos.items()}
    manifest = {
        "format": "swatch exchange",
        "version": FORMAT_VERSION,
        "written": now(),
        "program": f"colormatch {__version__}",
        "files": files,
    }
    sheets[MANIFEST] = (json.dumps(manifest, indent=1) + "\n").encode()
    try:
        with explained(target.parent):
            target.parent.mkdir(parents=True, exist_ok=True)
            # Finished beside the target and then renamed, so that a half-written export never bears its name.
            work = Path(tempfile.mkdtemp(prefix=TEMPORARY_PREFIX, dir=target.parent))
            try:
                ready = work / "ready"
                (_write_zip if target.suffix.lower() == ".zip" else _write_folder)(ready, sheets, photos)
                os.replace(ready, target)
                sync_folder(target.parent)
            finally:
                shutil.rmtree(work, ignore_errors=True)
    except LibraryUnwritable as error:
        reason = error.facts.get("reason", "the disk refuses")
        raise LibraryUnwritable(
            f"The export to {target} failed: {reason}.", "Make room or choose another place; the library is unharmed."
        ) from error


def _write_folder(ready: Path, sheets: Mapping[str, bytes], photos: Mapping[str, Path]) -> None:
    (ready / "photos").mkdir(parents=True)
    for name, content in sheets.items():
        (ready / name).write_bytes(content)
        sync_file(ready / name)
    for path in photos.values():
        shutil.copyfile(path, ready / "photos" / path.name)
        sync_file(ready / "photos" / path.name)


def _write_zip(ready: Path, sheets: Mapping[str, bytes], photos: Mapping[str, Path]) -> None:
    with zipfile.ZipFile(ready, "x", zipfile.ZIP_DEFLATED) as archive:
        for name, content in sheets.items():
            archive.writestr(name, content)
        for path in photos.values():
            archive.write(path, f"photos/{path.name}", zipfile.ZIP_STORED)  # photos are packed already
    sync_file(ready)
