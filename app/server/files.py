"""Stream large files to and from the browser, by way of the disk.

They are beside the library, on the disk with space for them, rather than in the system's temporary folder, which may be
in memory. They are deleted when the program ends.
"""

from __future__ import annotations

import atexit
import os
import re
import secrets
import shutil
import tempfile
from collections import OrderedDict
from collections.abc import AsyncIterator, Callable
from functools import partial
from http import HTTPStatus
from pathlib import Path, PurePath
from threading import Lock
from typing import TYPE_CHECKING
from urllib.parse import quote

from colormatch.errors import BadInput, ColorMatchError
from colormatch.library.database import explained
from colormatch.library.limits import MAX_DATABASE_BYTES, MAX_PHOTOS_BYTES, refuse_full, shown
from colormatch.library.photos import TEMPORARY_PREFIX
from colormatch.library.store import default_folder

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

#: Files kept in each direction, oldest deleted first. More than anyone chooses at once.
_KEPT = 20
#: Largest file accepted, bytes: the largest backup. Disk space is usually the tighter limit.
_MOST = MAX_PHOTOS_BYTES + MAX_DATABASE_BYTES
#: Bytes read and sent at a time.
_PIECE = 2**18
#: Address for uploads; the file name is the query.
UPLOAD = "/upload"


class _Kept:
    """The last few files by token, each in its own folder."""

    def __init__(self) -> None:
        self._paths: OrderedDict[str, Path] = OrderedDict()
        self._lock = Lock()

    def put(self, path: Path) -> str:
        token = secrets.token_urlsafe(16)
        with self._lock:
            self._paths[token] = path
            old = [self._paths.popitem(last=False)[1] for _ in range(len(self._paths) - _KEPT)]
        for one in old:
            shutil.rmtree(one.parent, ignore_errors=True)
        return token

    def get(self, token: str) -> Path | None:
        return self._paths.get(token)

    def drop(self, token: str) -> None:
        with self._lock:
            path = self._paths.pop(token, None)
        if path:
            shutil.rmtree(path.parent, ignore_errors=True)


_out, _in = _Kept(), _Kept()


def _place() -> Path:
    """A new folder beside the library's files, gone when the program ends; after a crash the library clears it away.

    Where the library can only be read, it lies in the system's temporary folder.
    """
    folder = default_folder().expanduser().absolute()
    if folder.is_dir() and not os.access(folder, os.W_OK):
        folder = Path(tempfile.gettempdir())
    with explained(folder):
        folder.mkdir(parents=True, mode=0o700, exist_ok=True)
        place = folder / f"{TEMPORARY_PREFIX}{secrets.token_hex(8)}"
        place.mkdir(mode=0o700)
    atexit.register(partial(shutil.rmtree, place, ignore_errors=True))
    return place


# --- out -------------------------------------------------------------------------------------------------------------


def hand_out(name: str, make: Callable[[Path], object]) -> str:
    """Make a file for the browser to fetch once.

    Parameters
    ----------
    name : str
        Name of the file in the browser.
    make : callable
        Writes it to a path.

    Returns
    -------
    str
        Its address. The file is deleted once it was sent completely.

    Raises
    ------
    ColorMatchError
        ``make`` raised it, or the disk refuses; nothing is left behind.
    """
    place = _place()
    try:
        make(place / name)
    except BaseException:
        shutil.rmtree(place, ignore_errors=True)
        raise
    return f"/file/{_out.put(place / name)}/{quote(name)}"


def size_of(address: str) -> str:
    """Size of a file waiting for download, in words; empty once it is gone."""
    path = _out.get(address.split("/")[2])
    return shown(path.stat().st_size) if path and path.is_file() else ""


async def _send(request: Request) -> Response:
    from starlette.concurrency import run_in_threadpool
    from starlette.responses import PlainTextResponse, StreamingResponse

    token = request.path_params["token"]
    path = _out.get(token)
    if path is None or not path.is_file():
        words = "This file was already downloaded, or the program was restarted. Make it again on the app's page."
        return PlainTextResponse(words, HTTPStatus.GONE)

    async def pieces() -> AsyncIterator[bytes]:
        with path.open("rb") as stream:
            while piece := await run_in_threadpool(stream.read, _PIECE):
                yield piece
        _out.drop(token)  # not if the browser disconnected earlier: it may try again

    headers = {
        "Content-Length": str(path.stat().st_size),
        "Content-Disposition": f"attachment; filename*=UTF-8''{quote(path.name)}",
        "Cache-Control": "no-store",
    }
    if request.method == "HEAD":
        return PlainTextResponse(headers=headers)
    return StreamingResponse(pieces(), media_type="application/zip", headers=headers)


# --- in --------------------------------------------------------------------------------------------------------------


def arrived(token: str) -> Path | None:
    """Path of an uploaded file; None if it is gone."""
    path = _in.get(token)
    return path if path and path.is_file() else None


def forget(token: str) -> None:
    """Delete an uploaded file."""
    _in.drop(token)


async def _ask(request: Request) -> Response:
    """Whether a file would be accepted: a browser that is still sending would not see a refusal."""
    from starlette.responses import JSONResponse

    asked = request.query_params
    try:
        _refuse(_plain(asked.get("name", "")), asked.get("size", ""))
    except ColorMatchError as error:
        return JSONResponse({"told": str(error)})
    return JSONResponse({})


async def _receive(request: Request) -> Response:
    from starlette.concurrency import run_in_threadpool
    from starlette.requests import ClientDisconnect
    from starlette.responses import JSONResponse

    name = _plain(request.query_params.get("name", ""))
    try:
        # The server enforces the size announced by the browser.
        _refuse(name, request.headers.get("content-length", ""))
        place = _place()
        try:
            with explained(place.parent), (place / name).open("xb") as stream:
                async for piece in request.stream():
                    await run_in_threadpool(stream.write, piece)
        except BaseException:  # the disk is full, or the browser disconnected
            shutil.rmtree(place, ignore_errors=True)
            raise
    except ColorMatchError as error:
        return JSONResponse({"told": str(error)}, HTTPStatus.INSUFFICIENT_STORAGE)
    except ClientDisconnect:
        return JSONResponse({}, HTTPStatus.BAD_REQUEST)
    return JSONResponse({"token": _in.put(place / name)})


def _refuse(name: str, size: str) -> None:
    """Raise for an unacceptable announced file size."""
    if not (size.isascii() and size.isdecimal() and len(size) < 19):
        raise BadInput(f"The size of {name} is unknown.", "Reload the page and choose it again.")
    if int(size) == 0:
        raise BadInput(f"{name} is empty.", "Choose another file.")
    if int(size) > _MOST:
        raise BadInput(f"{name} has {shown(int(size))}, and the limit is {shown(_MOST)}.", "Choose another file.")
    folder = default_folder().expanduser().absolute()
    refuse_full(next(one for one in (folder, *folder.parents) if one.is_dir()), int(size))


def _plain(name: str) -> str:
    """A file name valid on every file system, with its ending."""
    plain = re.sub(r"[^\w .()-]", "_", PurePath(name).name)[-60:].strip(" .")
    return plain or "file"


def routes() -> list[Route]:
    """Routes for those addresses."""
    from starlette.routing import Route

    return [Route("/file/{token}/{name}", _send), Route(UPLOAD, _ask), Route(UPLOAD, _receive, methods=["PUT"])]
