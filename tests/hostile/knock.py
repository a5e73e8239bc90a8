"""Hostile requests to the running app: of everything that a network or a foreign web page can send, nothing gets in.

    python -m tests.hostile.knock --requests 2000

Requests are drawn from a table: addresses (real ones, and ways out of a folder), methods, hosts (DNS rebinding),
origins (cross-site requests and WebSockets), cookies and links (none, guessed, spoiled, a good one in a wrong place).
Each goes over a connection of its own. What gets in is printed with what was sent.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import socket
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.browser.conftest import ROOT, free_port

ADDRESSES = (
    "/", "/match", "/swatches?view=backups", "/phone", "/jobs", "/_stcore/health", "/_stcore/stream",
    "/_stcore/host-config", "/_stcore/script-health-check", "/_stcore/upload_file/session/file", "/_stcore/metrics",
    "/media/0.zip", "/component/x/index.html", "/static/index.html", "/app/static/x", "/picture/x.jpeg",
    "/picture/../../etc/passwd", "/..%2f..%2fetc/passwd", "//etc/passwd", "/%00", "/\\..\\x", "/favicon.png",
    "http://elsewhere.example/", "*", "/" + "a" * 3000, "/file/x/y.zip", "/file/..%2f../x",
    "/upload?name=x.zip", "/upload/../x", "/auth/login", "/oauth2callback",
)  # fmt: skip
METHODS = ("GET", "GET", "GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE", "CONNECT", "get", "BREW")
#: ``{own}`` is the address that the app has.
HOSTS = ("{own}", "{own}", "{own}", "rebound.example", "rebound.example:{port}", "127.0.0.1", "", "{own}.",
         "[::1]:{port}", "{own}\r\nHost: rebound.example", "0.0.0.0:{port}", "LOCALHOST:{port}")  # fmt: skip
ORIGINS = ("", "", "http://{own}", "http://rebound.example", "null", "https://{own}", "file://", "http://{own}.example")
#: ``{link}`` is a good token, which only a GET to the app's own address may use.
LINKS = ("", "", "enter=", "enter=guess", "enter=guess&enter=again", "enter=%00", "enter=" + "a" * 5000, "ENTER={link}",
         "x={link}", "enter[]={link}")  # fmt: skip
COOKIES = ("", "", "colormatch-door=", "colormatch-door=guess", 'colormatch-door="guess"; colormatch-door=again',
           "colormatch-door=" + "a" * 5000, "colormatch-door={link}", "Colormatch-Door={link}", "=; ;;=",
           "colormatch-door=\x80\xff", "_streamlit_user=guess; _streamlit_xsrf=guess")  # fmt: skip
#: Answers that let nobody in: refused, or not HTTP that the server takes.
REFUSALS = {400, 403, 404, 405, 413, 414, 426, 431, 501, 505}


def _request(chance: random.Random, own: str, link: str) -> bytes:
    port = own.rpartition(":")[2]
    method, query = chance.choice(METHODS), chance.choice(LINKS)
    if method != "GET" and chance.random() < 0.3:
        query = "enter={link}"
    address = chance.choice(ADDRESSES)
    lines = [f"{method} {address}{'&' if '?' in address else '?'}{query} HTTP/1.1" if query else
             f"{method} {address} HTTP/1.1"]  # fmt: skip
    lines.append("Host: " + chance.choice(HOSTS))
    if origin := chance.choice(ORIGINS):
        lines.append("Origin: " + origin)
    if cookie := chance.choice(COOKIES):
        lines.append("Cookie: " + cookie)
    if method == "GET" and chance.random() < 0.5:
        lines += ["Connection: Upgrade", "Upgrade: websocket", "Sec-WebSocket-Version: 13"]
        lines.append("Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==")
    else:
        lines.append("Connection: close")
    body = b"x" * 20 if method in ("POST", "PUT", "PATCH") else b""
    if body:
        lines += ["Content-Type: application/x-www-form-urlencoded", f"Content-Length: {len(body)}"]
    text = "\r\n".join(lines).replace("{own}", own).replace("{port}", port).replace("{link}", link)
    return text.encode("latin-1") + b"\r\n\r\n" + body


def is_foreign(request: bytes, own: str) -> bool:
    """Whether a request names another host than the app's, or comes from a page that is not the app's."""
    own_hosts, port = {own, own.replace("127.0.0.1", "localhost")}, own.rpartition(":")[2]
    hosts = re.findall(rb"^Host: (.*?)\r$", request, re.MULTILINE)
    origins = re.findall(rb"^Origin: (.*?)\r$", request, re.MULTILINE)
    assert port
    return {host.decode() for host in hosts} - own_hosts != set() or any(
        origin.decode() not in {f"http://{host}" for host in own_hosts} for origin in origins
    )


def answer(own: str, request: bytes) -> int:
    """Status of what the server answers; 0 where it closes the connection without a word."""
    host, _, port = own.rpartition(":")
    with socket.create_connection((host, int(port)), timeout=20) as connection:
        connection.sendall(request)
        head = b""
        while b"\r\n" not in head and (part := connection.recv(4096)):
            head += part
    found = re.match(rb"HTTP/1\.[01] (\d{3})", head)
    return int(found[1]) if found else 0


def knock(own: str, link: str, requests: int, seed: int = 1) -> Counter[int]:
    """Send hostile requests to the app at ``own``; the statuses of the answers.

    Parameters
    ----------
    own : str
        Its host and port.
    link : str
        A token of a link that has not been opened; empty where the app asks for none: then only requests count that
        name a foreign host or come from a foreign page.
    """
    chance, statuses = random.Random(seed), Counter[int]()
    while statuses.total() < requests:
        request = _request(chance, own, link or "no-link")
        if not link and not is_foreign(request, own):
            continue
        try:
            status = answer(own, request)
        except TimeoutError:
            raise AssertionError(f"no answer to {request!r}") from None
        statuses[status] += 1
        if status and status not in REFUSALS:
            raise AssertionError(f"{status} to {request!r}")
    return statuses


@contextmanager
def started(*arguments: str) -> Iterator[tuple[str, str]]:
    """The app as its command starts it: its host and port, and the token of its link."""
    port = free_port()
    with tempfile.TemporaryDirectory() as folder:
        line = [sys.executable, "-m", "colormatch.cli.main", "app", "--no-browser", "--port", str(port), *arguments]
        line += ["--library", str(Path(folder) / "library")]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        with subprocess.Popen(
            line, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        ) as process:
            try:
                assert process.stdout is not None
                told = next(text for text in process.stdout if "bench app is at" in text)
                own = f"127.0.0.1:{port}"
                while process.poll() is None:
                    try:
                        answer(own, f"GET / HTTP/1.1\r\nHost: {own}\r\nConnection: close\r\n\r\n".encode())
                        break
                    except OSError:
                        continue
                yield own, told.partition("enter=")[2].strip()
            finally:
                process.terminate()


def main() -> None:
    """Knock at the app as it is by default, and as it is where links are asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--requests", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    for arguments in ((), ("--ask-link",), ("--phone", "127.0.0.1")):
        with started(*arguments) as (own, link):
            statuses = knock(own, link, args.requests, args.seed)
        told = ", ".join(f"{status or 'closed'}: {count}" for status, count in sorted(statuses.items()))
        print(f"app {' '.join(arguments) or '(loopback)'}: {statuses.total():,} hostile requests, none got in ({told})")


if __name__ == "__main__":
    main()
