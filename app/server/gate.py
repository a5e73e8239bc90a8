"""The gate before every request, HTTP and WebSocket alike: who may talk to the app.

On loopback it lets in pages of this machine's own address only, so that a foreign web page can't reach the app by
pointing its own name at 127.0.0.1 (DNS rebinding) or by opening a WebSocket to it. With the phone link, it asks for a
cookie besides, which a browser gets once for a one-time link. What leaves by it tells the browser to load nothing from
anywhere else, whatever stands on a page.
"""

from __future__ import annotations

import hashlib
import secrets
import time
from collections import deque
from collections.abc import Callable, Iterable
from http import HTTPStatus
from threading import Lock
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, urlencode

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Name of the one-time token in a link, and of the cookie that a browser gets for it.
QUERY, COOKIE = "enter", "colormatch-door"
#: Bytes of randomness in a token. 16 are beyond guessing; the QR code stays coarse enough for a bad camera.
_TOKEN_BYTES = 16
#: How long a link waits for its browser, seconds: time to walk to the bench with the phone.
LINK_LIFE_S = 600.0
#: Wrong tokens or cookies that one address may show within a while, and that while in seconds. Our choice: somebody who
#: scans an old link a few times is not locked out, and guessing is hopeless with or without it.
_TRIES, _WHILE_S = 10, 60.0
#: Addresses whose wrong tries are remembered; the oldest are forgotten first.
_REMEMBERED = 1000
#: A message that refuses a WebSocket for reasons of policy (RFC 6455, 7.4.1).
_POLICY = 1008
#: What a page may load: its own server's files and what it holds itself (Content Security Policy 3). Streamlit's page
#: carries one script in its text, its styles are set in place, and a component's script is a blob.
_POLICY_OF_PAGES = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' blob:; style-src 'self' 'unsafe-inline' blob:; "
    "img-src 'self' data: blob:; font-src 'self' data:; media-src 'self' data: blob:; worker-src 'self' blob:; "
    "frame-src 'none'; object-src 'none'; base-uri 'self'; form-action 'self'; frame-ancestors 'none'; "
    # Safari before 15.4 does not take 'self' for WebSockets.
    "connect-src 'self' ws://{host}"
)


class Links:
    """One-time links, and the browsers that came in by them. Tokens are held as hashes; nothing is written to disk."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._waiting: dict[bytes, float] = {}
        self._inside: set[bytes] = set()
        self._wrong: dict[str, deque[float]] = {}
        self._lock = Lock()

    def mint(self) -> str:
        """A token that lets one browser in, once, within :data:`LINK_LIFE_S`."""
        token = secrets.token_urlsafe(_TOKEN_BYTES)
        with self._lock:
            moment = self._clock()
            self._waiting = {key: end for key, end in self._waiting.items() if end > moment}
            self._waiting[_hashed(token)] = moment + LINK_LIFE_S
        return token

    def waits(self, token: str) -> bool:
        """Whether a token is still good."""
        with self._lock:
            return self._waiting.get(_hashed(token), 0.0) > self._clock()

    def enter(self, token: str, address: str) -> str | None:
        """The cookie for a browser that shows a token; None where it is wrong, used or too old."""
        with self._lock:
            if self._waiting.pop(_hashed(token), 0.0) <= self._clock():
                self._note_wrong(address)
                return None
            cookie = secrets.token_urlsafe(_TOKEN_BYTES)
            self._inside.add(_hashed(cookie))
        return cookie

    def knows(self, cookie: str, address: str) -> bool:
        """Whether a browser came in by a link."""
        with self._lock:
            if _hashed(cookie) in self._inside:
                return True
            self._note_wrong(address)
            return False

    def tires(self, address: str) -> bool:
        """Whether an address has shown too many wrong tokens of late."""
        with self._lock:
            times = self._wrong.get(address, ())
            return sum(moment > self._clock() - _WHILE_S for moment in times) >= _TRIES

    @property
    def inside(self) -> int:
        """How many browsers came in."""
        return len(self._inside)

    def shut_out(self) -> None:
        """Let nobody in any more by the links and cookies given so far."""
        with self._lock:
            self._waiting.clear()
            self._inside.clear()

    def _note_wrong(self, address: str) -> None:
        times = self._wrong.pop(address, deque(maxlen=_TRIES))
        times.append(self._clock())
        self._wrong[address] = times
        while len(self._wrong) > _REMEMBERED:
            del self._wrong[next(iter(self._wrong))]


def _hashed(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()


class Gate:
    """ASGI application before another.

    Parameters
    ----------
    app : ASGI application
    hosts : iterable of str
        Addresses as a browser names them, with the port, such as ``127.0.0.1:8610``.
    links : Links, optional
        Asked for a cookie where given.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str], links: Links | None = None) -> None:
        self._app = app
        self._hosts = frozenset(hosts)
        self._origins = frozenset(f"http://{host}" for host in self._hosts)
        self._links = links

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        from starlette.requests import HTTPConnection

        asked = HTTPConnection(scope)
        if asked.headers.get("host") not in self._hosts or asked.headers.get("origin", None) not in {
            None,
            *self._origins,
        }:
            await _refuse(scope, receive, send, HTTPStatus.FORBIDDEN, "This address is not the app's own.")
            return
        send = _guarded(send, asked.headers["host"])
        if self._links is None:
            await self._app(scope, receive, send)
            return
        address = asked.client.host if asked.client else ""
        if self._links.tires(address):
            await _refuse(scope, receive, send, HTTPStatus.TOO_MANY_REQUESTS, "Too many wrong links. Wait a minute.")
            return
        cookie = asked.cookies.get(COOKIE)
        if cookie and self._links.knows(cookie, address):
            await self._app(scope, receive, send)
            return
        if scope["type"] == "http" and (token := asked.query_params.get(QUERY)):
            given = self._links.enter(token, address)
            if given:
                await _let_in(scope, receive, send, given)
                return
        await _refuse(
            scope,
            receive,
            send,
            HTTPStatus.FORBIDDEN,
            "This link is used up or too old. Make a new one on the Phone page of the app, and open that.",
        )


def _guarded(send: Send, host: str) -> Send:
    """Sending with the headers that keep everything foreign off a page."""
    more = {
        b"content-security-policy": _POLICY_OF_PAGES.format(host=host).encode(),
        b"x-content-type-options": b"nosniff",
        b"referrer-policy": b"no-referrer",
    }

    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            held = [(name, value) for name, value in message.get("headers", ()) if name.lower() not in more]
            message = {**message, "headers": [*held, *more.items()]}
        await send(message)

    return sent


async def _let_in(scope: Scope, receive: Receive, send: Send, cookie: str) -> None:
    """Hand the cookie over and go on to the same address without the token, so that no history keeps it."""
    from starlette.responses import RedirectResponse

    rest = [(name, value) for name, value in parse_qsl(scope["query_string"].decode("latin-1")) if name != QUERY]
    # Slashes in front of a path would make a browser take it for another site.
    path = "/" + scope["path"].lstrip("/\\")
    response = RedirectResponse(path + ("?" + urlencode(rest) if rest else ""), HTTPStatus.SEE_OTHER)
    response.headers["Cache-Control"] = "no-store"
    # Lax, not strict: a link that is opened from another page must still arrive. Foreign pages are refused by origin.
    response.set_cookie(COOKIE, cookie, httponly=True, samesite="lax", path="/")
    await response(scope, receive, send)


async def _refuse(scope: Scope, receive: Receive, send: Send, status: HTTPStatus, words: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": _POLICY})
        return
    from starlette.responses import PlainTextResponse

    await PlainTextResponse(words, status, {"Cache-Control": "no-store"})(scope, receive, send)
