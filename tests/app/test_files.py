"""Large files in and out, asked of the routes directly: what is refused is told, and nothing is left behind."""

from __future__ import annotations

import asyncio
import json
import re
from pathlib import Path
from typing import Any

import pytest
from starlette.applications import Starlette

from app.server import files
from colormatch.library import limits


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("COLORMATCH_LIBRARY", str(tmp_path / "library"))
    return tmp_path / "library"


def left(folder: Path) -> list[Path]:
    """Files and folders on their way that lie there."""
    return list(folder.glob(".unfinished-*"))


def ask(
    method: str,
    address: str,
    query: str = "",
    pieces: tuple[bytes, ...] = (),
    length: str | None = "",
    cut: bool = False,
) -> tuple[int, dict[str, str], bytes]:
    """Status, headers and body; a browser that goes away where ``cut``."""
    coming = [{"type": "http.request", "body": piece, "more_body": True} for piece in pieces]
    coming.append({"type": "http.disconnect"} if cut else {"type": "http.request", "body": b"", "more_body": False})
    size = str(sum(map(len, pieces))) if length == "" else length
    scope = {
        "type": "http", "method": method, "path": address, "raw_path": address.encode(), "query_string": query.encode(),
        "headers": [] if size is None else [(b"content-length", size.encode())],
    }  # fmt: skip
    sent: list[Any] = []
    ended = asyncio.Event()

    async def receive() -> Any:
        if not coming:
            await ended.wait()
        return coming.pop(0)

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(Starlette(routes=files.routes())(scope, receive, send))
    headers = {name.decode(): value.decode() for name, value in sent[0]["headers"]}
    return sent[0]["status"], headers, b"".join(part.get("body", b"") for part in sent[1:])


def told(answer: tuple[int, dict[str, str], bytes]) -> str:
    """What a browser is told."""
    return str(json.loads(answer[2]).get("told", ""))


def test_a_file_is_handed_out_once_and_gone_then(folder: Path) -> None:
    content = bytes(range(256)) * 5000
    address = files.hand_out("all of it.zip", lambda path: path.write_bytes(content))
    assert files.size_of(address) == "1.3 MB"
    path = address.replace("%20", " ")
    assert ask("HEAD", path)[0] == 200
    status, headers, body = ask("GET", path)
    assert (status, body) == (200, content)
    assert headers["content-length"] == str(len(content))
    assert headers["content-disposition"] == "attachment; filename*=UTF-8''all%20of%20it.zip"
    assert left(folder) == []
    status, _, body = ask("GET", path)
    assert status == 410
    assert b"already downloaded" in body
    assert files.size_of(address) == ""


@pytest.mark.parametrize("address", ["/file/guess/x.zip", "/file/../x", "/file/%2e%2e/library.sqlite3"])
def test_no_other_file_is_handed_out(folder: Path, address: str) -> None:
    folder.mkdir()
    (folder / "library.sqlite3").write_bytes(b"secret")
    assert ask("GET", address)[0] in (404, 410)


def test_what_fails_while_it_is_made_leaves_nothing(folder: Path) -> None:
    def fails(path: Path) -> None:
        path.write_bytes(b"a part")
        raise OSError("the disk is full")

    with pytest.raises(OSError, match="full"):
        files.hand_out("x.zip", fails)
    assert left(folder) == []


def test_only_the_last_files_are_kept(folder: Path) -> None:
    addresses = [files.hand_out("x.zip", lambda path: path.write_bytes(b"x")) for _ in range(25)]
    assert sum(bool(files.size_of(address)) for address in addresses) == len(left(folder)) == 20


def test_a_file_comes_in_piece_by_piece(folder: Path) -> None:
    pieces = (b"one ", b"two ", b"three")
    _, _, body = ask("PUT", "/upload", "name=My%20shelf.zip", pieces)
    token = json.loads(body)["token"]
    path = files.arrived(token)
    assert path is not None
    assert (path.name, path.read_bytes()) == ("My shelf.zip", b"one two three")
    files.forget(token)
    assert files.arrived(token) is None
    assert left(folder) == []


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("../../etc/cron.d/x.zip", "x.zip"),
        ("C:\\Windows\\x.zip", "C__Windows_x.zip"),
        ("..", "file"),
        ("", "file"),
        ("a\0b\nc.zip", "a_b_c.zip"),
        ("l" * 5000 + ".zip", "l" * 56 + ".zip"),
        ("Größe 1.zip", "Größe 1.zip"),
    ],
)
def test_a_name_stays_inside_its_folder(folder: Path, name: str, plain: str) -> None:
    from urllib.parse import quote

    _, _, body = ask("PUT", "/upload", f"name={quote(name)}", (b"x",))
    path = files.arrived(json.loads(body)["token"])
    assert path is not None
    assert path.name == plain
    assert path.parent.parent == folder


@pytest.mark.parametrize(
    ("size", "words"),
    [
        ("0", r"x\.zip is empty\. Choose another file\."),
        ("", r"The size of x\.zip is unknown\. Reload the page"),
        ("-5", r"The size of x\.zip is unknown"),
        ("9" * 30, r"The size of x\.zip is unknown"),
        (str(2 * 2**40), r"x\.zip has 2,199\.0 GB, and the limit is"),
    ],
)
def test_what_cant_be_taken_is_told_before_and_while_it_is_sent(folder: Path, size: str, words: str) -> None:
    assert re.match(words, told(ask("GET", "/upload", f"name=x.zip&size={size}")))
    assert re.match(words, told(ask("PUT", "/upload", "name=x.zip", (b"x",), length=size or None)))
    assert left(folder) == []


def test_a_disk_without_room_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SPARE_BYTES", 2**62)
    assert "free" in told(ask("GET", "/upload", "name=x.zip&size=1000"))
    assert "free" in told(ask("PUT", "/upload", "name=x.zip", (b"x" * 1000,)))
    assert left(folder) == []


def test_a_browser_that_goes_away_leaves_nothing(folder: Path) -> None:
    assert ask("PUT", "/upload", "name=x.zip", (b"a part",), cut=True)[0] == 400
    assert left(folder) == []
