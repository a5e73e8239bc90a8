"""The bytes of a photo's file."""

from __future__ import annotations

from pathlib import Path

from colormatch.errors import PhotoTooLarge, PhotoUnreadable
from colormatch.files import content_of
from colormatch.image.limits import MOST_BYTES


def bytes_of(path: Path) -> bytes:
    """What is in a file.

    Raises
    ------
    PhotoUnreadable
        Missing, no file, or not to be read.
    PhotoTooLarge
        More than :data:`MOST_BYTES`.
    """
    return content_of(path, MOST_BYTES, what="photo", unreadable=PhotoUnreadable, too_large=PhotoTooLarge)
