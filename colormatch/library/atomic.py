"""Write files outside the library, for example on a memory stick: complete under their name, or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from colormatch.errors import BadInput, LibraryError, LibraryUnwritable
from colormatch.library.database import explained, sync_file, sync_folder
from colormatch.library.photos import TEMPORARY_PREFIX


@contextmanager
def written_whole(target: Path, what: str) -> Iterator[Path]:
    """Yield a temporary path beside the target, renamed to the target at the end.

    Parameters
    ----------
    target : Path
        Must not exist, except as an empty folder: nothing is overwritten.
    what : str
        Kind of file in a word, such as "export".

    Raises
    ------
    BadInput
        The target is in use.
    LibraryUnwritable
        The folder or disk refuses; nothing is left behind.
    """
    target = target.expanduser().absolute()
    if target.exists() and not (target.is_dir() and not any(target.iterdir())):
        raise BadInput(f"{target} already exists.", "Choose a new name; existing files are not overwritten.")
    try:
        with explained(target.parent):
            target.parent.mkdir(parents=True, exist_ok=True)
            work = Path(tempfile.mkdtemp(prefix=TEMPORARY_PREFIX, dir=target.parent))
            try:
                yield work / "ready"
                os.replace(work / "ready", target)
                sync_folder(target.parent)
            finally:
                shutil.rmtree(work, ignore_errors=True)
    except LibraryUnwritable as error:
        reason = error.facts.get("reason", "the disk refuses")
        raise LibraryUnwritable(
            f"The {what} to {target} failed: {reason}.", "Make room or choose another place; the library is unharmed."
        ) from error


@contextmanager
def read_back() -> Iterator[None]:
    """Wrap the reading of a file just written: any error in it is the disk's.

    Raises
    ------
    LibraryUnwritable
        The file does not read back correctly.
    """
    try:
        yield
    except LibraryUnwritable:
        raise
    except LibraryError as error:
        reason = f"it was written, but reading it back failed ({error.what.rstrip('.')})"
        raise LibraryUnwritable(error.what, error.fix, reason=reason) from error


def settle(path: Path) -> None:
    """Flush a file to the disk and drop it from the cache, so that the next read comes from the disk."""
    sync_file(path)
    if hasattr(os, "posix_fadvise"):
        with path.open("rb") as stream:
            os.posix_fadvise(stream.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
