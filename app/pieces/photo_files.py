"""Photos that somebody chooses: what may be chosen, and where it is kept."""

from __future__ import annotations

from app import cached
from app.repair import session

#: What a chooser lets through by name; the library looks at the content.
ENDINGS = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "avif", "dng", "cr2", "cr3", "nef", "arw",
           "raf", "orf", "rw2", "pef"]  # fmt: skip


def keep(content: bytes, name: str) -> str:
    """Keep a photo in the library; its SHA-256.

    Raises
    ------
    PhotoError
        It is no photo.
    LibraryUnwritable
    """
    photos = session.open_library().photos
    photo = photos.add(content, name)
    cached.decoded(photos.path(photo))
    return photo
