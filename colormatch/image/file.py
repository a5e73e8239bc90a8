"""Read the bytes of a photo file."""

from __future__ import annotations

from pathlib import Path

from colormatch.errors import PhotoTooLarge, PhotoUnreadable
from colormatch.files import content_of
from colormatch.image.limits import MOST_BYTES


def bytes_of(path: Path) -> bytes:
    """Bytes of a photo file.

    Raises
    ------
    PhotoUnreadable
        Missing, not a regular file, or not readable.
    PhotoTooLarge
        Larger than :data:`MOST_BYTES`.
    """
    return content_of(path, MOST_BYTES, what="photo", unreadable=PhotoUnreadable, too_large=PhotoTooLarge)
