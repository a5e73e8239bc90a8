"""Large files on a page: offer downloads, and stream uploads to disk."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from html import escape
from pathlib import Path

import streamlit as st

from app.server import files
from app.state import session
from app.widgets import look
from colormatch.errors import ColorMatchError
from colormatch.library.limits import shown
from colormatch.library.progress import Progress

_HERE = Path(__file__).parent
_HTML = """
<div class="files">
  <label><span class="words"></span><input type="file"></label>
  <div class="way" hidden><progress max="1"></progress> <span class="far"></span>
    <button type="button" class="stop">Stop</button></div>
  <ul class="held"></ul>
  <p class="told" role="alert"></p>
</div>
"""
_component = st.components.v2.component(
    "colormatch_files",
    html=_HTML,
    css=(_HERE / "files.css").read_text(encoding="utf-8"),
    js=(_HERE / "files.js").read_text(encoding="utf-8"),
)
#: Starts the download of the preceding link, as if it had been clicked.
_START = "<script>document.currentScript.previousElementSibling.click()</script>"


@contextmanager
def telling_how_far(words: str) -> Iterator[Progress]:
    """Show a progress bar during a long operation."""
    bar = st.progress(0.0, words)

    def tell(words: str, done: int, count: int) -> None:
        if done * 100 // count != (done - 1) * 100 // count:  # not 25,000 times
            bar.progress(done / count, words)

    try:
        yield tell
    finally:
        bar.empty()


def offer(label: str, name: str, make: Callable[[Path, Progress], object], key: str, *, first: bool = False) -> None:
    """A button that makes a file and sends it to the browser; a link stays until the download is complete.

    Parameters
    ----------
    label : str
    name : str
        Name of the file.
    make : callable
        Writes it to a path, with progress. Errors are shown below the button.
    key : str
    first : bool
        Whether it is the main button of its page.
    """
    made = st.button(label, key=key, type="primary" if first else "secondary")
    if made:
        try:
            with telling_how_far("Collecting the records") as tell:
                session.hold(key, [files.hand_out(name, lambda path: make(path, tell))])
        except ColorMatchError as error:
            session.hold(key, [])
            st.error(look.plain(str(error)))
    for address in session.held(key):
        if size := files.size_of(address):
            link = f'<a class="download" href="{escape(address)}" download>{escape(name)}, {size}</a>'
            st.html(
                f"<p>Your browser saves it with its downloads; if it doesn't: {link}{_START if made else ''}</p>",
                unsafe_allow_javascript=made,
            )


def choose(label: str, endings: Sequence[str], key: str, *, several: bool = False) -> list[Path]:
    """Let the user choose files, stream them to disk, and return their paths until :func:`done_with` is called.

    Parameters
    ----------
    label : str
    endings : sequence of str
        Without their dot.
    key : str
    several : bool
        Whether more than one may be chosen.
    """

    def receive() -> None:
        done_with(key)
        session.hold(key, [str(token) for token in session.widget_value(f"{key}-choice")["files"] or ()])

    found = [path for token in session.held(key) if (path := files.arrived(token))]
    _component(
        key=f"{key}-choice",
        data={
            "label": label,
            "endings": [f".{ending}" for ending in endings],
            "several": several,
            "address": files.UPLOAD,
            "held": [f"{path.name}, {shown(path.stat().st_size)}" for path in found],
        },
        on_files_change=receive,
    )
    return found


def done_with(key: str) -> None:
    """Delete the chosen files."""
    for token in session.held(key):
        files.forget(token)
    session.hold(key, [])
