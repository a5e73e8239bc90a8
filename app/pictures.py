"""Pictures for the browser, each at an address of its own.

A page publishes a picture in every run; the browser fetches it once and keeps it, since the address is the hash of
what is in it. A phone on a weak link loads a photo once, not with every region that is drawn.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from threading import Lock
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.routing import Route

#: JPEGs kept; a page shows at most a handful, so these are the last few photos of everybody at work.
_KEPT = 40
_jpegs: OrderedDict[str, bytes] = OrderedDict()
_lock = Lock()


def publish(jpeg: bytes) -> str:
    """Address of a picture, good for as long as pages go on publishing it."""
    name = hashlib.sha256(jpeg).hexdigest()
    with _lock:
        _jpegs[name] = jpeg
        _jpegs.move_to_end(name)
        while len(_jpegs) > _KEPT:
            _jpegs.popitem(last=False)
    return f"/picture/{name}.jpg"


def route() -> Route:
    """What the server answers those addresses with."""
    from starlette.responses import Response
    from starlette.routing import Route

    def show(request: Request) -> Response:
        jpeg = _jpegs.get(request.path_params["name"])
        if jpeg is None:
            return Response(status_code=404)
        return Response(
            jpeg, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=31536000, immutable"}
        )

    return Route("/picture/{name}.jpg", show)
