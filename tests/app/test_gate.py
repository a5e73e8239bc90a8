"""The gate, asked directly: every way in that must stay shut.

Sources: DNS rebinding and cross-site WebSocket hijacking are told in the OWASP Web Security Testing Guide (checks of
the Host and the Origin header); close code 1008 for a refused WebSocket is RFC 6455, 7.4.1.
"""

from __future__ import annotations

import asyncio
from functools import partial
from threading import Thread
from typing import Any

import pytest

from app.server import phone, pictures
from app.server.gate import COOKIE, LINK_LIFE_S, QUERY, Gate, Links
from colormatch.errors import BadInput

HOST = "192.168.0.12:8610"


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def links(clock: Clock) -> Links:
    return Links(clock)


async def _app(scope: Any, receive: Any, send: Any) -> None:
    if scope["type"] == "websocket":
        await receive()
        await send({"type": "websocket.accept"})
    else:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"inside"})


def ask(
    gate: Gate, path: str = "/", kind: str = "http", query: str = "", method: str = "GET", **headers: str
) -> tuple[int, dict[str, str], bytes]:
    """Status (or WebSocket close code, or 101 where it was accepted), headers and body."""
    sent: list[dict[str, Any]] = []
    named = {"host": HOST} | headers
    scope = {
        "type": kind,
        "method": method,
        "path": path,
        "query_string": query.encode(),
        "headers": [(name.encode(), value.encode()) for name, value in named.items()],
        "client": ("192.168.0.40", 50000),
    }

    async def receive() -> dict[str, str]:
        return {"type": "websocket.connect"} if kind == "websocket" else {"type": "http.request"}

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    asyncio.run(gate(scope, receive, send))
    if kind == "websocket":
        return (101 if sent[0]["type"] == "websocket.accept" else sent[0]["code"]), {}, b""
    given = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], given, sent[1].get("body", b"")


@pytest.fixture
def gate(links: Links) -> Gate:
    return Gate(_app, [HOST], links)


def enter(gate: Gate, token: str, **what: str) -> str:
    """Come in by a link; the cookie as the browser sends it back."""
    status, headers, _ = ask(gate, query=f"{QUERY}={token}", **what)
    assert status == 303
    return headers["set-cookie"].partition(";")[0]


def test_a_link_lets_one_browser_in(gate: Gate, links: Links) -> None:
    cookie = enter(gate, links.mint())
    assert ask(gate, cookie=cookie)[0] == 200
    assert ask(gate, "/_stcore/stream", "websocket", cookie=cookie, origin=f"http://{HOST}")[0] == 101


def test_the_cookie_is_out_of_reach_of_scripts_and_the_token_leaves_the_address(gate: Gate, links: Links) -> None:
    _, headers, _ = ask(gate, "/match", query=f"repair=7&{QUERY}={links.mint()}")
    assert headers["location"] == "/match?repair=7"
    assert "HttpOnly" in headers["set-cookie"]
    assert "SameSite=lax" in headers["set-cookie"]
    assert headers["referrer-policy"] == "no-referrer"


def test_the_way_on_stays_on_this_server(gate: Gate, links: Links) -> None:
    _, headers, _ = ask(gate, "//elsewhere.example/x", query=f"{QUERY}={links.mint()}")
    assert headers["location"] == "/elsewhere.example/x"


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize("cookie", ["", f"{COOKIE}=guessed"])
def test_nobody_comes_in_without_the_cookie(gate: Gate, kind: str, cookie: str) -> None:
    assert ask(gate, "/_stcore/stream", kind, cookie=cookie)[0] == (403 if kind == "http" else 1008)


def test_a_link_works_once(gate: Gate, links: Links) -> None:
    token = links.mint()
    enter(gate, token)
    assert ask(gate, query=f"{QUERY}={token}")[0] == 403


def test_a_link_gets_old(gate: Gate, links: Links, clock: Clock) -> None:
    token = links.mint()
    assert links.waits(token)
    clock.now += LINK_LIFE_S
    assert not links.waits(token)
    assert ask(gate, query=f"{QUERY}={token}")[0] == 403


def test_a_token_opens_no_websocket(gate: Gate, links: Links) -> None:
    assert ask(gate, "/_stcore/stream", "websocket", query=f"{QUERY}={links.mint()}")[0] == 1008


@pytest.mark.parametrize("kind", ["http", "websocket"])
@pytest.mark.parametrize(
    "headers",
    [
        {"host": "elsewhere.example:8610"},
        {"host": "192.168.0.12"},
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
    ],
)
def test_foreign_hosts_and_origins_are_refused_even_with_the_cookie(
    gate: Gate, links: Links, kind: str, headers: dict[str, str]
) -> None:
    cookie = enter(gate, links.mint())
    assert ask(gate, "/", kind, cookie=cookie, **headers)[0] == (403 if kind == "http" else 1008)


def test_loopback_refuses_foreign_hosts_and_origins() -> None:
    gate = Gate(_app, ["127.0.0.1:8610", "localhost:8610"])
    assert ask(gate, host="127.0.0.1:8610")[0] == 200
    assert ask(gate, host="localhost:8610", origin="http://localhost:8610")[0] == 200
    assert ask(gate, host="rebound.example:8610")[0] == 403
    assert ask(gate, "/_stcore/stream", "websocket", host="127.0.0.1:8610", origin="http://rebound.example")[0] == 1008


def test_a_forgotten_tab_after_a_restart_does_not_lock_its_phone_out(gate: Gate, links: Links) -> None:
    """It asks again and again with the cookie of a program that has ended, and by its old link when it is reloaded."""
    for _ in range(50):
        assert ask(gate, cookie=f"{COOKIE}=of-the-last-program")[0] == 403
        assert ask(gate, query=f"{QUERY}=used-up", cookie=f"{COOKIE}=of-the-last-program")[0] == 403
    cookie = enter(gate, links.mint(), cookie=f"{COOKIE}=of-the-last-program")
    assert ask(gate, cookie=cookie)[0] == 200


@pytest.mark.parametrize("method", ["HEAD", "OPTIONS", "POST", "PUT"])
def test_only_opening_a_link_uses_it_up(gate: Gate, links: Links, method: str) -> None:
    token = links.mint()
    status, headers, _ = ask(gate, query=f"{QUERY}={token}", method=method)
    assert (status, "set-cookie" in headers) == (403, False)
    enter(gate, token)


def test_shutting_out_ends_links_and_cookies(gate: Gate, links: Links) -> None:
    cookie, token = enter(gate, links.mint()), links.mint()
    links.shut_out()
    assert ask(gate, cookie=cookie)[0] == 403
    assert ask(gate, query=f"{QUERY}={token}")[0] == 403


def test_whoever_shuts_out_the_others_stays_in(gate: Gate, links: Links) -> None:
    own, other = enter(gate, links.mint()), enter(gate, links.mint())
    ended: list[str] = []
    for cookie in (own, other):
        assert links.admit(cookie.removeprefix(f"{COOKIE}="), partial(ended.append, cookie))
    links.shut_out(but=own.removeprefix(f"{COOKIE}="))
    assert ended == [other]
    assert (ask(gate, cookie=own)[0], ask(gate, cookie=other)[0], links.inside) == (200, 403, 1)
    assert ask(gate, cookie=enter(gate, links.mint()))[0] == 200  # by a new link


def test_a_cookie_that_never_came_in_keeps_nobody_in(gate: Gate, links: Links) -> None:
    cookie = enter(gate, links.mint())
    links.shut_out(but="guessed")
    assert ask(gate, cookie=cookie)[0] == ask(gate, cookie=f"{COOKIE}=guessed")[0] == 403


@pytest.mark.parametrize("kind", ["http", "websocket"])
def test_shutting_out_ends_what_is_open(links: Links, kind: str) -> None:
    async def endless(scope: Any, receive: Any, send: Any) -> None:
        if kind == "websocket":
            await receive()
            await send({"type": "websocket.accept"})
        else:
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b"a part", "more_body": True})
        began.set()
        await asyncio.Event().wait()

    sent: list[dict[str, Any]] = []

    async def send(message: dict[str, Any]) -> None:
        sent.append(message)

    async def receive() -> dict[str, str]:
        return {"type": f"{kind}.connect"}

    async def act() -> None:
        cookie = links.enter(links.mint())
        headers = [(b"host", HOST.encode()), (b"cookie", f"{COOKIE}={cookie}".encode())]
        scope = {"type": kind, "method": "GET", "path": "/", "query_string": b"", "headers": headers}
        served = asyncio.ensure_future(Gate(endless, [HOST], links)(scope, receive, send))
        await asyncio.wait_for(began.wait(), 10)
        Thread(target=links.shut_out).start()  # as the app's page does, which runs in a thread of its own
        await asyncio.wait_for(served, 10)

    began = asyncio.Event()
    asyncio.run(act())
    if kind == "websocket":
        assert sent[-1] == {"type": "websocket.close", "code": 1008}
    assert links.inside == 0


@pytest.mark.parametrize(
    "wanted",
    ["8.8.8.8", "example", "::1", "0.0.0.0", "255.255.255.255", "224.0.0.1", "198.18.0.1", "192.0.2.1", "100.64.0.1"],
)
def test_the_link_opens_on_a_home_network_only(wanted: str) -> None:
    with pytest.raises(BadInput, match="not an address of a home network"):
        phone.home_address(wanted)


@pytest.mark.parametrize("wanted", ["10.0.0.7", "172.16.3.4", "172.31.0.1", "192.168.0.12", "169.254.7.8"])
def test_it_opens_on_every_kind_of_home_network(wanted: str) -> None:
    """RFC 1918, section 3; RFC 3927, section 2.1."""
    assert phone.home_address(wanted) == wanted


def test_a_page_may_load_nothing_from_elsewhere() -> None:
    """Content Security Policy Level 3 (W3C): what is not named falls back to ``default-src``."""
    _, headers, _ = ask(Gate(_app, ["127.0.0.1:8610"]), host="127.0.0.1:8610")
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    own = {"'self'", "'none'", "'unsafe-inline'", "data:", "blob:", "ws://127.0.0.1:8610"}
    assert policy["default-src"] == "'self'"
    assert {source for sources in policy.values() for source in sources.split()} <= own
    assert policy["frame-ancestors"] == policy["object-src"] == "'none'"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"


def test_the_policy_goes_with_everything_that_comes_through_the_phone_link(gate: Gate, links: Links) -> None:
    cookie = enter(gate, links.mint())
    assert f"ws://{HOST}" in ask(gate, cookie=cookie)[1]["content-security-policy"]


@pytest.mark.parametrize("name", ["../gate.py", "../../etc/passwd", "/etc/passwd", "....//x.jpeg", "x.jpeg\0", ""])
def test_the_address_of_a_picture_leads_to_published_pictures_only(name: str) -> None:
    from starlette.applications import Starlette

    gate = Gate(Starlette(routes=[pictures.route()]), [HOST])
    assert ask(gate, pictures.publish(b"a picture"))[2] == b"a picture"
    assert ask(gate, f"/picture/{name}")[0] == 404
