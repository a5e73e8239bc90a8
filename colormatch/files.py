"""Read a regular file, up to a size limit."""

from __future__ import annotations

import stat
from pathlib import Path

from colormatch.errors import ColorMatchError


def content_of(
    path: Path,
    most_bytes: int,
    *,
    what: str = "file",
    unreadable: type[ColorMatchError],
    too_large: type[ColorMatchError] | None = None,
) -> bytes:
    """Bytes of a file.

    Devices and pipes are refused before they are opened: some never end, others wait for a writer.

    Parameters
    ----------
    path : Path
    most_bytes : int
        Size of the largest file that is read.
    what : str
        Kind of file the user should choose, for the advice.
    unreadable, too_large : type of ColorMatchError
        Errors to raise; `too_large` defaults to `unreadable`.

    Raises
    ------
    ColorMatchError
        The file is missing, is not a regular file, is larger than `most_bytes`, or the disk refuses.
    """
    again = f"Check the name, or choose the {what} again."
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise unreadable(f"{path} is a folder.", f"Choose a {what} inside it.")
        if not stat.S_ISREG(found.st_mode):
            raise unreadable(f"{path} is a device or a pipe, not a file.", f"Choose a {what}.")
        with path.open("rb") as stream:
            # Read one byte past the limit: the file may be growing, and some systems state a size of 0.
            content = stream.read(most_bytes + 1) if found.st_size <= most_bytes else None
    except (FileNotFoundError, NotADirectoryError):
        raise unreadable(f"The file {path} doesn't exist.", again) from None
    except PermissionError:
        raise unreadable(
            f"You don't have permission to read {path}.", "Change its permissions, or copy it somewhere else."
        ) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise unreadable(
            f"Reading {path} failed: {reason}.", "Check its name, and the disk or card it is on."
        ) from None
    if content is None or len(content) > most_bytes:
        raise (too_large or unreadable)(
            f"{path.name} is larger than {most_bytes / 1e6:,.0f} MB.", f"Choose a smaller {what}."
        )
    return content
