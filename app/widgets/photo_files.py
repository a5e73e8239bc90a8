"""Photos that somebody chooses: what may be chosen, and where it is kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import streamlit as st

from app import cache
from app.server.start import UPLOAD_LIMIT
from app.state import session
from app.state.library import open_library

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

#: What the chooser lets through by name; the library looks at the content.
_ENDINGS = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "avif", "dng", "cr2", "cr3", "nef", "arw",
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
    upload = uploader(label, key)
    if upload is None or session.is_done_with(key, upload.file_id):
        return
    # Not in a callback: a large photo takes seconds to decode, and what a callback shows would shift the page.
    with st.spinner("Reading the photo"), session.telling():
        take(keep(upload.getvalue(), upload.name), upload.name)
    session.done_with(key, upload.file_id)
    st.rerun()


def uploader(label: str, key: str) -> UploadedFile | None:
    """Streamlit's uploader of one photo. What its filter refuses is told in our words, which the style sheet shows."""
    with st.container(gap="small", key=f"{key}-chooser"):
        upload = st.file_uploader(label, type=_ENDINGS, key=key)
        st.html(
            '<div class="refused" role="alert"><b>This file can\'t be taken: it is no photo, or too large.</b> '
            f"Choose another one: {FORMS}.</div>"
        )
    return upload


def keep(content: bytes, name: str) -> str:
    """Keep a photo in the library; its SHA-256.

    Raises
    ------
    PhotoError
        It is no photo.
    LibraryUnwritable
    """
    photos = open_library().photos
    photo = photos.add(content, name)
    cache.as_taken(photos.path(photo))
    return photo
