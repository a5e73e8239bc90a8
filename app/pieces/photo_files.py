"""Photos that somebody chooses: what may be chosen, and where it is kept."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from app import cached
from app.repair import session
from app.serve.server import UPLOAD_LIMIT

#: What a chooser lets through by name; the library looks at the content.
ENDINGS = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "avif", "dng", "cr2", "cr3", "nef", "arw",
           "raf", "orf", "rw2", "pef"]  # fmt: skip
#: The same for people, with the size.
FORMS = f"JPEG, PNG, TIFF, WebP, HEIC or camera raw, up to {UPLOAD_LIMIT}\u00a0MB"


def choose(label: str, key: str, take: Callable[[str, str], None]) -> None:
    """Let a photo be chosen. It is kept at once, since a page that is left forgets its upload.

    Parameters
    ----------
    take : callable
        Receives its SHA-256 and the file's name. What it refuses is told at the top of the page.
    """
    st.file_uploader(label, type=ENDINGS, key=key, on_change=_take_upload, args=(key, take))


def _take_upload(key: str, take: Callable[[str, str], None]) -> None:
    upload = session.widget_value(key)
    if upload is not None:
        with session.telling():
            take(keep(upload.getvalue(), upload.name), upload.name)


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
