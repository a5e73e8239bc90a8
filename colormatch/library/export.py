"""Write the exchange folder: the records chosen for sharing, without metadata about the photographer."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from colormatch import __version__
from colormatch.errors import ExchangeError, LibraryUnwritable
from colormatch.library import limits
from colormatch.library.atomic import read_back, settle, written_whole
from colormatch.library.csv_rows import write_rows
from colormatch.library.database import sync_folder
from colormatch.library.exchange import FORMAT_VERSION, MANIFEST, SHEETS, read_exchange
from colormatch.library.history import now
from colormatch.library.progress import Progress, renamed, told
from colormatch.library.repair_file import MAX_REPAIR_BYTES, is_repair_file, repair_file, write_repair
from colormatch.library.repairs import SavedRepair
from colormatch.library.sharing.facts import NotCleaned
from colormatch.library.sharing.names import record_renamed, repair_renamed
from colormatch.library.sharing.photo import cleaned
from colormatch.library.store import Library
from colormatch.records import ClearCoatPair, Flag, FlagCode, Paint, Swatch

#: Sheets written even without rows.
_ALWAYS = (Paint, Swatch, ClearCoatPair)


@dataclass(frozen=True)
class Shared:
    """Records to export, or exported."""

    #: Records by kind, in the order they were added.
    records: Mapping[type, tuple[Any, ...]]
    repairs: tuple[SavedRepair, ...]
    #: SHA-256 of each photo.
    photos: tuple[str, ...]
    #: Number of repairs left out because they were not requested; below, of photos.
    repairs_left: int
    photos_left: int
    #: Requested items that could not be exported.
    flags: tuple[Flag, ...] = ()


def to_share(library: Library, *, repairs: bool = False, photos: bool = False) -> Shared:
    """Content that :func:`export_exchange` would write, with photos named as in the library.

    Parameters
    ----------
    library : Library
    repairs, photos : bool
        Whether to include them.
    """
    held, kept, spoiled = library.everything()
    records = dict(held)
    # Valid swatches of a damaged paint stay, as long as its name is intact.
    known = {paint.name for paint in records[Paint]}
    nameless = dict.fromkeys(swatch.paint for swatch in records[Swatch] if swatch.paint not in known)
    records[Paint] = (*records[Paint], *map(Paint, nameless))
    flags = tuple(Flag(FlagCode.RECORD_DAMAGED, f"{one.what} It was left out.") for one in spoiled)
    going = kept if repairs else ()
    named = {record.photo for kind in (Paint, Swatch) for record in records[kind]} - {""}
    named.update(*(repair.photos for repair in going))
    return Shared(
        records,
        going,
        tuple(sorted(named)) if photos else (),
        0 if repairs else len(kept),
        0 if photos else len(named),
        flags,
    )


def export_exchange(
    library: Library, target: Path, progress: Progress | None = None, *, repairs: bool = False, photos: bool = False
) -> Shared:
    """Write paints, swatches and their references as an exchange folder, or as one zip file (``.zip``).

    Photos are cleaned: see :func:`colormatch.library.sharing.photo.cleaned`. A photo that can't be cleaned is left out,
    and references to it are removed.

    Parameters
    ----------
    library : Library
    target : Path
        Must not exist, except as an empty folder: nothing is overwritten.
    progress : Progress, optional
    repairs : bool
        Include the repairs.
    photos : bool
        Include the photos of all exported records.

    Returns
    -------
    Shared
        With photos named as in the folder.

    Raises
    ------
    BadInput
        The target is in use.
    LibraryUnwritable
        It exceeds the limits for reading, the folder or disk refuses, or it doesn't read back correctly; nothing is
        left behind.
    """
    shared = to_share(library, repairs=repairs, photos=photos)
    places = {sha256: path for sha256, path in library.photos.all().items() if sha256 in shared.photos}
    # With the original names: renaming photos doesn't make any sheet, repair or manifest longer.
    texts = _texts(shared)
    texts[MANIFEST] = _manifest(dict.fromkeys([*texts, *(f"photos/{path.name}" for path in places.values())], "0" * 64))
    sizes = {path.name: path.stat().st_size for path in places.values() if path.is_file()}
    limits.refuse_unreadable(sizes, {name: (len(content), _most(name)) for name, content in texts.items()})
    with written_whole(target, "export") as ready:
        limits.refuse_full(ready.parent, sum(sizes.values()) + sum(map(len, texts.values())))
        with (_zip if target.suffix.lower() == ".zip" else _folder)(ready) as folder:
            names, digests, flags = _put_photos(shared.photos, places, folder, progress)
            left = {record.photo for kind in (Paint, Swatch) for record in shared.records[kind]}
            left.update(*(repair.photos for repair in shared.repairs))
            names = dict.fromkeys(left - {""}, "") | names
            shared = Shared(
                {kind: tuple(record_renamed(one, names) for one in rows) for kind, rows in shared.records.items()},
                tuple(repair_renamed(one, names) for one in shared.repairs),
                tuple(sorted(digests.values())),
                shared.repairs_left,
                shared.photos_left,
                (*shared.flags, *flags),
            )
            texts = _texts(shared)
            digests |= {name: hashlib.sha256(content).hexdigest() for name, content in texts.items()}
            texts[MANIFEST] = _manifest(digests)
            for name, content in texts.items():
                folder.put(name, content)
        with read_back():
            found = read_exchange(ready, renamed(progress, "Reading it back"))
            if (found.records, found.repairs, tuple(sorted(found.photos))) != (
                shared.records, shared.repairs, shared.photos
            ):  # fmt: skip
                raise ExchangeError("its content differs from what was written", "")
    with suppress(LibraryUnwritable):  # then it comes back as somebody else's
        library.remember_shared({new: old for old, new in names.items() if new not in ("", old)})
    return shared


def _put_photos(
    photos: tuple[str, ...], places: Mapping[str, Path], folder: _Target, progress: Progress | None
) -> tuple[dict[str, str], dict[str, str], list[Flag]]:
    """New name of each photo, SHA-256 of each file written, and flags for photos left out."""
    names, digests, flags = {}, {}, []
    for sha256 in told(photos, len(photos), "Cleaning photos", progress):
        path = places.get(sha256)
        content = path.read_bytes() if path is not None and path.is_file() else None
        if path is None or content is None:
            flags.append(
                Flag(FlagCode.PHOTO_MISSING, f"The photo {sha256[:12]} is not in the library; it was left out.")
            )
        elif hashlib.sha256(content).hexdigest() != sha256:
            flags.append(Flag(FlagCode.PHOTO_DAMAGED, f"The photo {sha256[:12]} is damaged; it was left out."))
        else:
            try:
                clean = cleaned(content)
            except NotCleaned as error:
                flags.append(Flag(FlagCode.PHOTO_NOT_CLEANED, f"The photo {sha256[:12]} was left out. {error}"))
                continue
            names[sha256] = hashlib.sha256(clean).hexdigest()
            name = f"photos/{names[sha256]}{path.suffix}"
            if name not in digests:
                folder.put(name, clean)
            digests[name] = names[sha256]
    return names, digests, flags


def _texts(shared: Shared) -> dict[str, bytes]:
    """The sheets and repairs by their names in the folder."""
    texts = {SHEETS[kind]: write_rows(kind, rows) for kind, rows in shared.records.items() if rows or kind in _ALWAYS}
    return texts | {repair_file(number): write_repair(repair) for number, repair in enumerate(shared.repairs, 1)}


def _most(name: str) -> int:
    """Largest size at which a file that is not a photo is read, bytes."""
    if is_repair_file(name):
        return MAX_REPAIR_BYTES
    return limits.MAX_MANIFEST_BYTES if name == MANIFEST else limits.MAX_SHEET_BYTES


def _manifest(digests: Mapping[str, str]) -> bytes:
    document = {
        "format": "swatch exchange",
        "version": FORMAT_VERSION,
        "written": now(),
        "program": f"colormatch {__version__}",
        "files": digests,
    }
    return (json.dumps(document, indent=1) + "\n").encode()


class _Target(Protocol):
    """Destination of the files."""

    def put(self, name: str, content: bytes) -> None:
        """Write one file."""


class _Folder:
    def __init__(self, ready: Path) -> None:
        self._ready = ready

    def put(self, name: str, content: bytes) -> None:
        path = self._ready / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content)
        settle(path)


@contextmanager
def _folder(ready: Path) -> Iterator[_Target]:
    (ready / "photos").mkdir(parents=True)
    yield _Folder(ready)
    for folder in (ready / "photos", ready):
        sync_folder(folder)


class _Zip:
    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive

    def put(self, name: str, content: bytes) -> None:
        packed = (
            zipfile.ZIP_STORED if name.startswith("photos/") else zipfile.ZIP_DEFLATED
        )  # photos are already compressed
        self._archive.writestr(name, content, packed)


@contextmanager
def _zip(ready: Path) -> Iterator[_Target]:
    with zipfile.ZipFile(ready, "x", strict_timestamps=False) as archive:
        yield _Zip(archive)
    settle(ready)
