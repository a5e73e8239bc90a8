"""Choose photos: accepted files, and storing them."""

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

#: File endings accepted by the chooser; the library checks the content.
_ENDINGS = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic", "heif", "avif", "dng", "cr2", "cr3", "nef", "arw",
           "raf", "orf", "rw2", "pef"]  # fmt: skip
#: The same in words, with the size limit.
FORMS = f"JPEG, PNG, TIFF, WebP, HEIC or camera raw, up to {UPLOAD_LIMIT}\u00a0MB"


def choose(label: str, key: str, take: Callable[[str, str], None]) -> None:
    """Let the user choose a photo, and store it at once, since leaving the page would discard it.

    Parameters
    ----------
    take : callable
        Receives its SHA-256 and the file's name. Its errors are shown at the top of the page.
    """
    upload = uploader(label, key)
    if upload is None or session.is_done_with(key, upload.file_id):
        return
    # Not in a callback: a large photo takes seconds to decode, and output of a callback would shift the page.
    with st.spinner("Reading the photo"), session.telling():
        take(keep(upload.getvalue(), upload.name), upload.name)
    session.done_with(key, upload.file_id)
    st.rerun()


def uploader(label: str, key: str) -> UploadedFile | None:
    """Streamlit's uploader for one photo, with our own text for files that its filter refuses."""
    with st.container(gap="small", key=f"{key}-chooser"):
        upload = st.file_uploader(label, type=_ENDINGS, key=key)
        st.html(
            '<div class="refused" role="alert"><b>The program doesn\'t accept this file: it isn\'t a photo, or it is '
            f"too large.</b> Choose another one: {FORMS}.</div>"
        )
    return upload


def keep(content: bytes, name: str) -> str:
    """Store a photo in the library; return its SHA-256.

    Raises
    ------
    PhotoError
        It is not a photo.
    LibraryUnwritable
    """
    photos = open_library().photos
    photo = photos.add(content, name)
    cache.as_taken(photos.path(photo))
    return photo
