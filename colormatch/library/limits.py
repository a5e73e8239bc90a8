"""Limits of what leaves a library and comes back: one set, which writer and reader both ask.

A writer refuses before the first byte what a reader would refuse, so that whatever was written can be read. The values
are our choice: ten times what a busy workshop collects in its life, and little enough that no file made to harm fills a
memory or a disk.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

from colormatch.errors import LibraryUnwritable

#: Most files in one folder or zip file, and longest name of one, characters.
MAX_FILES, MAX_NAME = 100_000, 200
#: Largest photo, bytes: several times the largest camera raw file.
MAX_PHOTO_BYTES = 400 * 2**20
#: All photos together, bytes.
MAX_PHOTOS_BYTES = 2**40
#: Largest sheet, bytes: 100,000 swatches take about 20 megabytes.
MAX_SHEET_BYTES = 64 * 2**20
#: Columns of a sheet, and cells of it that hold something in columns that are none of ours: some ten seconds.
MAX_COLUMNS, MAX_CELLS = 10_000, 2_000_000
#: Largest manifest, bytes: a photo's line takes about 150.
MAX_MANIFEST_BYTES = 32 * 2**20
#: All sheets, repairs and the manifest together, bytes: they are held in memory.
MAX_TEXTS_BYTES = 2**30
#: Largest database, bytes.
MAX_DATABASE_BYTES = 4 * 2**30
#: Largest unpacked over packed size of all photos together, once they unpack to :data:`RATIO_FROM_BYTES`. Photos are
#: packed already, and an unpacked scan packs three times; text may pack a thousand times, and is limited by its size.
MAX_RATIO, RATIO_FROM_BYTES = 20, 2**30
#: What stays free on a disk, bytes: enough for the program to go on working.
SPARE_BYTES = 16 * 2**20

_SMALLER = "Copy the library's whole folder instead, while the program is not running."


def refuse_unreadable(
    photos: Mapping[str, int], texts: Mapping[str, tuple[int, int]] | None = None, database: int = 0
) -> None:
    """Refuse to write what would be refused when it is read.

    Parameters
    ----------
    photos : mapping
        Size of each photo by its name, bytes.
    texts : mapping, optional
        Size and largest size of each sheet, repair and manifest by its name, bytes.
    database : int
        Size of the database that goes along, bytes.

    Raises
    ------
    LibraryUnwritable
        Nothing was written.
    """
    texts = texts or {}
    sizes = {f"The photo {name}": (size, MAX_PHOTO_BYTES) for name, size in photos.items()} | dict(texts)
    sizes["All photos together"] = sum(photos.values()), MAX_PHOTOS_BYTES
    sizes["All records and repairs"] = sum(size for size, _ in texts.values()), MAX_TEXTS_BYTES
    sizes["The database"] = database, MAX_DATABASE_BYTES
    for name, (size, most) in sizes.items():
        if size > most:
            raise LibraryUnwritable(
                f"{name} would take {shown(size)}, more than the {shown(most)} that can be read back.", _SMALLER
            )
    if len(photos) + len(texts) + 1 > MAX_FILES:
        raise LibraryUnwritable(
            f"There are {len(photos):,} photos, and at most {MAX_FILES:,} files can be read back.", _SMALLER
        )


def refuse_full(folder: Path, wanted: int) -> None:
    """Refuse to begin what the disk has no room for.

    Parameters
    ----------
    folder : Path
        On that disk.
    wanted : int
        Bytes that are to be written.

    Raises
    ------
    LibraryUnwritable
        Nothing was written.
    """
    free = shutil.disk_usage(folder).free
    if wanted + SPARE_BYTES > free:
        raise LibraryUnwritable(
            f"{shown(wanted)} are needed in {folder}, and the disk has {shown(free)} free.",
            "Make room, or choose another disk; nothing was written.",
            reason=f"{shown(wanted)} are needed and {shown(free)} are free",
        )


def shown(size: int) -> str:
    """``1.5 GB``, ``12.0 MB`` or ``3.1 kB``, in the units of a disk's label."""
    unit, name = next(((unit, name) for unit, name in ((1e9, "GB"), (1e6, "MB")) if size >= unit), (1e3, "kB"))
    return f"{size / unit:,.1f} {name}"
