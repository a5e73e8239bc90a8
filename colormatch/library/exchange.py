"""The exchange folder: records as CSV, repairs, photos and a manifest, readable by any program; also as one zip.

This module reads it; :mod:`colormatch.library.export` writes it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from colormatch.errors import ExchangeError
from colormatch.library import limits
from colormatch.library.archive import Source, digest, opened, read, refuse_unsafe_name
from colormatch.library.columns import is_sha256
from colormatch.library.csv_rows import Problem, Read, read_rows, refuse
from colormatch.library.progress import Progress, told
from colormatch.library.repair_file import MAX_REPAIR_BYTES, UnreadableRepair, is_repair_file, read_repair
from colormatch.library.repairs import SavedRepair
from colormatch.records import (
    CameraPhoto,
    ClearCoatPair,
    Flag,
    FlagCode,
    Ground,
    OwnCard,
    Paint,
    Shelf,
    ShopChip,
    Swatch,
    name_key,
)

#: Version of the folder's format: the one written, and the newest one read.
FORMAT_VERSION = 1
MANIFEST = "manifest.json"
#: Sheets, and the kind of record in their rows. The first three are always written, the others only with rows: folders
#: of older programs lack them.
SHEETS: dict[type, str] = {
    Paint: "paints.csv",
    Swatch: "swatches.csv",
    ClearCoatPair: "clear_coats.csv",
    Ground: "grounds.csv",
    ShopChip: "chips.csv",
    OwnCard: "cards.csv",
    CameraPhoto: "camera_photos.csv",
}
_MARKS = frozenset(SHEETS.values())


@dataclass(frozen=True)
class Exchange:
    """Content of an exchange folder, checked as a whole."""

    source: Path
    #: Records by kind.
    records: Mapping[type, tuple[Any, ...]]
    repairs: tuple[SavedRepair, ...]
    #: SHA-256 of each photo, and its name in the source.
    photos: Mapping[str, str]
    #: Oddities that don't prevent an import.
    flags: tuple[Flag, ...] = ()

    @property
    def shelf(self) -> Shelf:
        """The part that a match needs."""
        return Shelf(self.records[Paint], self.records[Swatch], self.records[ClearCoatPair])

    @contextmanager
    def photo_reader(self) -> Iterator[Source]:
        """Reopen the source to read photos."""
        with opened(self.source, _MARKS) as source:
            yield source


def read_exchange(source: Path, progress: Progress | None = None, *, shelf: Iterable[str] = ()) -> Exchange:
    """Read and check an exchange folder or a zip file of one. Nothing is imported.

    Parameters
    ----------
    source : Path
        Folder or zip with at least one of the sheets, such as ``paints.csv``. Sheets edited by hand (different from the
        manifest) and a missing manifest are allowed and flagged.
    progress : Progress, optional
    shelf : iterable of str
        Paints in the library: their swatches don't need a paints.csv.

    Raises
    ------
    ExchangeError
        It is unsafe, incomplete or damaged, or a row is invalid: then with file, line and column.
    """
    with opened(source, _MARKS) as files:
        names = files.names()
        if not names & _MARKS:
            raise ExchangeError(
                f"{source.name or source} contains none of {', '.join(sorted(_MARKS))}.", "Choose an exported folder."
            )
        _refuse_endless_texts(files, names, source)
        digests, flags = _check_manifest(files, names, progress)
        sheets: dict[type, list[Read[Any]]] = {}
        problems: list[Problem] = []
        for kind, name in SHEETS.items():
            sheets[kind], found = _sheet(files, names, kind, name)
            problems += found
            if kind not in (Swatch, ClearCoatPair):
                problems += _names_that_clash(name, sheets[kind])
        if not problems:
            known, owned = {read.record.name for read in sheets[Paint]}, {name_key(name) for name in shelf}
            where = "neither paints.csv nor your shelf has a" if owned else "paints.csv has no"
            problems += [
                Problem(SHEETS[Swatch], read.line, "paint", f"{where} paint named {read.record.paint[:60]!r}")
                for read in sheets[Swatch]
                if read.record.paint not in known and name_key(read.record.paint) not in owned
            ]
        refuse(problems)
        flags += _repeated(sheets[Swatch])
        repairs, unreadable = _repairs(files, names)
        flags += unreadable
        photos = _check_photos(files, names, digests)
    records = {kind: tuple(read.record for read in sheet) for kind, sheet in sheets.items()}
    return Exchange(source, records, repairs, photos, tuple(flags))


def _repairs(files: Source, names: frozenset[str]) -> tuple[tuple[SavedRepair, ...], list[Flag]]:
    """Read the repairs; unreadable ones are left out and flagged."""
    repairs, flags = [], []
    for name in sorted(filter(is_repair_file, names)):
        try:
            repairs.append(read_repair(name, read(files, name, MAX_REPAIR_BYTES)))
        except UnreadableRepair as error:
            flags.append(Flag(FlagCode.REPAIR_UNREADABLE, str(error)))
    return tuple(repairs), flags


def _refuse_endless_texts(files: Source, names: frozenset[str], source: Path) -> None:
    texts = sum(files.size(name) for name in names if name in _MARKS or is_repair_file(name))
    if texts > limits.MAX_TEXTS_BYTES:
        raise ExchangeError(
            f"The sheets and repairs in {source.name} would take {limits.shown(texts)}.",
            f"At most {limits.shown(limits.MAX_TEXTS_BYTES)} can be read.",
        )


def _sheet(files: Source, names: frozenset[str], kind: type[Any], name: str) -> tuple[list[Read[Any]], list[Problem]]:
    return read_rows(kind, name, read(files, name, limits.MAX_SHEET_BYTES)) if name in names else ([], [])


def _names_that_clash(sheet: str, rows: list[Read[Any]]) -> list[Problem]:
    seen: dict[str, int] = {}
    return [
        Problem(sheet, read.line, "name", f"{read.record.name[:60]!r} is already in line {first}")
        for read in rows
        if (first := seen.setdefault(read.record.name, read.line)) != read.line
    ]


def _repeated(rows: list[Read[Swatch]]) -> list[Flag]:
    """Flag repeated swatches, which may be intentional."""
    seen: dict[Swatch, int] = {}
    lines = [read.line for read in rows if seen.setdefault(read.record, read.line) != read.line]
    if not lines:
        return []
    shown = ", ".join(str(line) for line in lines[:5]) + (", ..." if len(lines) > 5 else "")
    return [
        Flag(FlagCode.REPEATED, f"{len(lines)} swatches repeat an earlier one: swatches.csv, line {shown}.", len(lines))
    ]


def _check_manifest(
    files: Source, names: frozenset[str], progress: Progress | None
) -> tuple[dict[str, str], list[Flag]]:
    """Compare the files with the manifest; also return the SHA-256 of each listed file.

    Raises
    ------
    ExchangeError
        The manifest is unreadable or of a later version, or a listed file is missing or (unless it is a sheet) changed.
    """
    if MANIFEST not in names:
        told_missing = f"There is no {MANIFEST} to show whether the folder is complete."
        return {}, [Flag(FlagCode.MANIFEST_MISSING, told_missing)]
    try:
        document = json.loads(read(files, MANIFEST, limits.MAX_MANIFEST_BYTES))
        version, listed = document["version"], document["files"]
        entries = [(str(name), str(sha256)) for name, sha256 in listed.items()]
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise ExchangeError(
            f"{MANIFEST} is unreadable.", "Ask for a new copy, or remove the file to import without it."
        ) from None
    if not isinstance(version, int) or version < 1:
        raise ExchangeError(f"{MANIFEST} doesn't state its format version.", "Ask for a new copy.")
    if version > FORMAT_VERSION:
        raise ExchangeError("It was written by a later version of the program.", "Install that version or a newer one.")
    flags = []
    if document.get("simulated"):
        flags.append(Flag(FlagCode.SIMULATED, "Its colors are simulated, not measured."))
    digests = {}
    for name, sha256 in told(entries, len(entries), "Checking files", progress):
        refuse_unsafe_name(name, MANIFEST)
        digests[name] = digest(files, name)
        if digests[name] == sha256:
            continue
        if name not in _MARKS:
            raise ExchangeError(
                f"{name} doesn't match {MANIFEST}; it is damaged or was changed.", "Ask for a new copy.", file=name
            )
        flags.append(Flag(FlagCode.EDITED, f"{name} was edited after it was written."))
    return digests, flags


def _check_photos(files: Source, names: frozenset[str], digests: Mapping[str, str]) -> dict[str, str]:
    """Check the photos; return the SHA-256 and name of each.

    Raises
    ------
    ExchangeError
        A photo's bytes don't match its name.
    """
    photos = {}
    for name in sorted(names):
        path = PurePosixPath(name)
        if path.parent == PurePosixPath("photos") and is_sha256(path.name[:64]):
            sha256 = digests.get(name) or digest(files, name)
            if sha256 != path.name[:64]:
                raise ExchangeError(f"The photo {name} is damaged or was changed.", "Ask for a new copy.", file=name)
            photos[sha256] = name
    return photos
