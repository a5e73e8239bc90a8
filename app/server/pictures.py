"""Pictures for the browser, each at its own address.

A page publishes a picture in every run, but the browser loads it only once, because the address is the hash of its
content. A phone on a slow link doesn't reload the photo for each region drawn.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from pathlib import PurePosixPath
from threading import Lock
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

#: Pictures kept; a page shows a handful and the guide a dozen, so these are the most recent of all users.
_KEPT = 60
_pictures: OrderedDict[str, bytes] = OrderedDict()
_lock = Lock()


def publish(content: bytes, form: Literal["jpeg", "webp"] = "jpeg") -> str:
    """Address of a picture, valid as long as pages keep publishing it."""
    name = f"{hashlib.sha256(content).hexdigest()}.{form}"
    with _lock:
        _pictures[name] = content
        _pictures.move_to_end(name)
        while len(_pictures) > _KEPT:
            _pictures.popitem(last=False)
    return f"/picture/{name}"


def route() -> Route:
    """Route for those addresses."""
    from starlette.responses import Response
    from starlette.routing import Route

    def show(request: Request) -> Response:
        name = request.path_params["name"]
        content = _pictures.get(name)
        if content is None:
            return Response(status_code=404)
        form = PurePosixPath(name).suffix[1:]
        return Response(
            content, media_type=f"image/{form}", headers={"Cache-Control": "private, max-age=31536000, immutable"}
        )

    return Route("/picture/{name}", show)
