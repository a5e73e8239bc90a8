"""Access control in front of every request, HTTP and WebSocket.

On loopback, only pages from this machine's own address are accepted, so that a foreign web page can't reach the app by
pointing its own name at 127.0.0.1 (DNS rebinding) or by opening a WebSocket. If links are required, a cookie is needed
too, which a browser gets once for a one-time link. Response headers forbid pages to load anything from elsewhere.

Wrong tokens are not counted: guessing 128 bits is hopeless at any rate, and a limit would only lock out users with an
old tab.
"""

from __future__ import annotations

import hashlib
import secrets
import time
from collections.abc import Callable, Iterable
from http import HTTPStatus
from threading import Lock
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, urlencode

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Name of the one-time token in a link, and of the cookie that a browser gets for it.
QUERY, COOKIE = "enter", "colormatch-door"
#: Bytes of randomness in a token. 16 can't be guessed, and keep the QR code coarse enough for a poor camera.
_TOKEN_BYTES = 16
#: Lifetime of a link, seconds: time to walk to the bench with the phone.
LINK_LIFE_S = 600.0
#: Close code that refuses a WebSocket for reasons of policy (RFC 6455, 7.4.1).
_POLICY = 1008
#: Message for a browser without a valid cookie.
NOT_IN = (
    "This browser has no access: its link was already used or is too old, or it was shut out. Make a new link on the "
    "Phone or Link page of the app, in a browser that has access, or restart the program, and open the new link."
)
#: Resources a page may load: its own server's files and inline content (Content Security Policy 3). Streamlit's page
#: has one inline script, inline styles, and component scripts as blobs.
_POLICY_OF_PAGES = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' blob:; style-src 'self' 'unsafe-inline' blob:; "
    "img-src 'self' data: blob:; font-src 'self' data:; media-src 'self' data: blob:; worker-src 'self' blob:; "
    "frame-src 'none'; object-src 'none'; base-uri 'self'; form-action 'self'; frame-ancestors 'none'; "
    # Safari before 15.4 does not accept 'self' for WebSockets.
    "connect-src 'self' ws://{host}"
)


class Links:
    """One-time links, and the browsers admitted by them. Tokens are stored as hashes; nothing is written to disk."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._waiting: dict[bytes, float] = {}
        self._inside: set[bytes] = set()
        #: Callback that ends each open connection, and the browser it belongs to.
        self._open: dict[Callable[[], object], bytes] = {}
        self._lock = Lock()

    def mint(self) -> str:
        """Make a token that admits one browser, once, within :data:`LINK_LIFE_S`."""
        token = secrets.token_urlsafe(_TOKEN_BYTES)
        with self._lock:
            moment = self._clock()
            self._waiting = {key: end for key, end in self._waiting.items() if end > moment}
            self._waiting[_hashed(token)] = moment + LINK_LIFE_S
        return token

    def waits(self, token: str) -> bool:
        """Whether a token is still valid."""
        with self._lock:
            return self._waiting.get(_hashed(token), 0.0) > self._clock()

    def enter(self, token: str) -> str | None:
        """Exchange a token for a cookie; None if it is wrong, used or expired."""
        with self._lock:
            if self._waiting.pop(_hashed(token), 0.0) <= self._clock():
                return None
            cookie = secrets.token_urlsafe(_TOKEN_BYTES)
            self._inside.add(_hashed(cookie))
        return cookie

    def admit(self, cookie: str, end: Callable[[], object]) -> bool:
        """Register a connection of an admitted browser; ``end`` is called when the browser is shut out."""
        with self._lock:
            if _hashed(cookie) not in self._inside:
                return False
            self._open[end] = _hashed(cookie)
        return True

    def close(self, end: Callable[[], object]) -> None:
        """Unregister a closed connection."""
        with self._lock:
            self._open.pop(end, None)

    @property
    def inside(self) -> int:
        """Number of browsers admitted."""
        return len(self._inside)

    def shut_out(self, but: str = "") -> None:
        """Invalidate all existing links and cookies, and end every open connection.

        Parameters
        ----------
        but : str
            Cookie of a browser that stays, to make new links.
        """
        stays = _hashed(but)
        with self._lock:
            self._waiting.clear()
            self._inside &= {stays}
            ends = tuple(end for end, whose in self._open.items() if whose not in self._inside)
        for end in ends:
            end()


def _hashed(token: str) -> bytes:
    return hashlib.sha256(token.encode()).digest()


class Gate:
    """ASGI middleware for access control.

    Parameters
    ----------
    app : ASGI application
    hosts : iterable of str
        Addresses as used by a browser, with the port, such as ``127.0.0.1:8610``.
    links : Links, optional
        If given, a cookie is required.
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
        cookie = asked.cookies.get(COOKIE)
        if cookie and await self._served(self._links, cookie, scope, receive, send):
            return
        # Only a GET uses up a link: messengers and virus scanners try a link with HEAD before anyone opens it.
        token = asked.query_params.get(QUERY) if scope["type"] == "http" and scope["method"] == "GET" else None
        if token and (given := self._links.enter(token)):
            await _let_in(scope, receive, send, given)
            return
        await _refuse(scope, receive, send, HTTPStatus.FORBIDDEN, NOT_IN)

    async def _served(self, links: Links, cookie: str, scope: Scope, receive: Receive, send: Send) -> bool:
        """Serve an admitted browser until it is shut out; False if it was not admitted."""
        import asyncio

        from anyio import CancelScope

        loop = asyncio.get_running_loop()
        with CancelScope() as until_shut_out:

            def end() -> None:  # from any thread
                loop.call_soon_threadsafe(until_shut_out.cancel)

            if not links.admit(cookie, end):
                return False
            try:
                await self._app(scope, receive, send)
            finally:
                links.close(end)
        if until_shut_out.cancelled_caught and scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": _POLICY})
        return True


def _guarded(send: Send, host: str) -> Send:
    """Wrap ``send`` to add headers that keep foreign content off a page."""
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
    """Set the cookie and redirect to the same address without the token, so that no history keeps it."""
    from starlette.responses import RedirectResponse

    rest = [(name, value) for name, value in parse_qsl(scope["query_string"].decode("latin-1")) if name != QUERY]
    # Leading slashes would make a browser take the path for another site.
    path = "/" + scope["path"].lstrip("/\\")
    response = RedirectResponse(path + ("?" + urlencode(rest) if rest else ""), HTTPStatus.SEE_OTHER)
    response.headers["Cache-Control"] = "no-store"
    # Lax, not strict: a link opened from another page must still work. Foreign pages are refused by origin.
    response.set_cookie(COOKIE, cookie, httponly=True, samesite="lax", path="/")
    await response(scope, receive, send)


async def _refuse(scope: Scope, receive: Receive, send: Send, status: HTTPStatus, words: str) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.close", "code": _POLICY})
        return
    from starlette.responses import PlainTextResponse

    await PlainTextResponse(words, status, {"Cache-Control": "no-store"})(scope, receive, send)
