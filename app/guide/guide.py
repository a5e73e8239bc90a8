"""Guide page: the text of ``guide.md`` with its pictures, for a laptop or a phone."""

from __future__ import annotations

import re
from functools import lru_cache
from html import unescape
from pathlib import Path

import streamlit as st
from PIL import Image

from app.server import pictures
from app.widgets import look

_TEXT, _LICENSES = (Path(__file__).with_name(name) for name in ("guide.md", "licenses.md"))
#: A picture in a paragraph of its own.
_PICTURE = re.compile(r"^!\[(?P<words>[^]]*)\]\((?P<file>[^)]+)\)$", re.MULTILINE)
#: Endings of the file names of a picture's two widths; the text uses the first, for readers outside the app.
_WIDE, _PHONE = "-wide.webp", "-phone.webp"


def show() -> None:
    """The page."""
    text = _TEXT.read_text(encoding="utf-8")
    with st.container(key="guide-text"):
        end = 0
        for found in _PICTURE.finditer(text):
            st.markdown(text[end : found.start()])
            _show_picture(_TEXT.parent / found["file"], unescape(found["words"]))
            end = found.end()
        st.markdown(text[end:])
        with st.expander("Licenses of what is installed with it"):
            st.markdown(_LICENSES.read_text(encoding="utf-8"))


def _show_picture(path: Path, words: str) -> None:
    if path.suffix == ".svg":
        st.html(look.drawing(path.read_text(encoding="utf-8"), words))
        return
    phone = path.with_name(path.name.replace(_WIDE, _PHONE))
    for place, one in (("wide", path), ("narrow", phone)):
        content, width, height = _loaded(one)
        st.html(f'<div class="{place}">{look.picture(pictures.publish(content, "webp"), width, height, words)}</div>')


@lru_cache
def _loaded(path: Path) -> tuple[bytes, int, int]:
    with Image.open(path) as picture:
        return path.read_bytes(), *picture.size


show()
