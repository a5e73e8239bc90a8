"""Limits for exporting and importing a library, shared by writer and reader.

A writer refuses in advance whatever a reader would refuse, so everything written can be read. The values are our
choice:
ten times what a busy workshop collects in its lifetime, and small enough to protect memory and disk from malicious
files.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

from colormatch.errors import LibraryUnwritable

#: Most files in one folder or zip file, and longest file name, characters.
MAX_FILES, MAX_NAME = 100_000, 200
#: Largest photo, bytes: several times the largest camera raw file.
MAX_PHOTO_BYTES = 400 * 2**20
#: Most bytes of all photos together.
MAX_PHOTOS_BYTES = 2**40
#: Largest sheet, bytes: 100,000 swatches take about 20 megabytes.
MAX_SHEET_BYTES = 64 * 2**20
#: Most columns of a sheet, and most non-empty cells in additional columns: about ten seconds.
MAX_COLUMNS, MAX_CELLS = 10_000, 2_000_000
#: Largest manifest, bytes: about 150 per photo.
MAX_MANIFEST_BYTES = 32 * 2**20
#: Most bytes of all sheets, repairs and the manifest together, which are held in memory.
MAX_TEXTS_BYTES = 2**30
#: Largest database, bytes.
MAX_DATABASE_BYTES = 4 * 2**30
#: Largest ratio of unpacked to packed size of all photos, once they unpack to :data:`RATIO_FROM_BYTES`. Photos are
#: compressed already, and an uncompressed scan shrinks to a third; text may shrink to a thousandth, and is limited by
#: size.
MAX_RATIO, RATIO_FROM_BYTES = 20, 2**30
#: Free space to leave on a disk, bytes: enough for the program to keep working.
SPARE_BYTES = 16 * 2**20

_SMALLER = "Copy the library's whole folder instead, while the program is not running."


def refuse_unreadable(
    photos: Mapping[str, int], texts: Mapping[str, tuple[int, int]] | None = None, database: int = 0
) -> None:
    """Refuse to write more than a reader accepts.

    Parameters
    ----------
    photos : mapping
        Size of each photo by its name, bytes.
    texts : mapping, optional
        Size and largest size of each sheet, repair and manifest by its name, bytes.
    database : int
        Size of the database in the same file, bytes.

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
                f"{name} would take {shown(size)}, more than the limit of {shown(most)} for reading it back.", _SMALLER
            )
    if len(photos) + len(texts) + 1 > MAX_FILES:
        raise LibraryUnwritable(
            f"There are too many files: {len(photos):,} photos, and at most {MAX_FILES:,} files can be read back.",
            _SMALLER,
        )


def refuse_full(folder: Path, wanted: int) -> None:
    """Refuse to start writing more than fits on the disk.

    Parameters
    ----------
    folder : Path
        Folder on that disk.
    wanted : int
        Bytes to write.

    Raises
    ------
    LibraryUnwritable
        Nothing was written.
    """
    free = shutil.disk_usage(folder).free
    if wanted + SPARE_BYTES > free:
        raise LibraryUnwritable(
            f"{folder} needs {shown(wanted)}, but the disk has only {shown(free)} free.",
            "Make room, or choose another disk; nothing was written.",
            reason=f"it needs {shown(wanted)}, and only {shown(free)} are free",
        )


def shown(size: int) -> str:
    """Format a size: ``1.5 GB``, ``12.0 MB`` or ``3.1 kB``, in decimal units."""
    unit, name = next(((unit, name) for unit, name in ((1e9, "GB"), (1e6, "MB")) if size >= unit), (1e3, "kB"))
    return f"{size / unit:,.1f} {name}"
