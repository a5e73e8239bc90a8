"""Read an older library on a read-only disk from an up-to-date copy of its database."""

from __future__ import annotations

import os
import tempfile
from contextlib import closing
from pathlib import Path

from colormatch.library import backup, database, schema

#: The copies, deleted when the program ends, and the state of the database that each was made from.
_made: dict[Path, tuple[tuple[int, int], tempfile.TemporaryDirectory[str]]] = {}


def can_be_written(path: Path) -> bool:
    """Whether a database can be migrated in place, which needs write access to its folder for the journal."""
    return os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)


def read_a_copy(path: Path) -> None:
    """Bring a copy of a database up to date, and read the copy from now on.

    Raises
    ------
    LibraryDamaged, LibraryUnwritable
        The copy fails its check, or there is no space for it.
    """
    status = path.stat()
    state = status.st_mtime_ns, status.st_size
    if database.copy_read_instead(path) and _made[path][0] == state:
        return
    database.read_instead(path, None)
    folder = tempfile.TemporaryDirectory(prefix="colormatch-", ignore_cleanup_errors=True)
    copy = Path(folder.name) / path.name
    with database.explained(copy.parent):
        backup.copy_database(path, copy)
        with closing(database.connect(copy)) as connection:
            schema.migrate(connection, path.parent)
    _made[path] = state, folder
    database.read_instead(path, copy)
