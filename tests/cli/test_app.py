"""How the app's command opens the browser where a link is asked for."""

from __future__ import annotations

import socket
import stat
import urllib.parse
from pathlib import Path
from threading import Event

import pytest

from colormatch.cli.app import _open_when_up


@pytest.mark.parametrize("asks", [True, False], ids=["by a link", "without"])
def test_no_program_is_started_with_the_link_in_its_command_line(
    asks: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every user of a machine may read the command lines of all."""
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    used, opened, seen = Event(), Event(), []

    def start(address: str) -> None:
        seen.append(address)
        if asks:
            page = Path(urllib.parse.unquote(urllib.parse.urlsplit(address).path))
            seen.append(page.read_text(encoding="utf-8"))
            seen.append(stat.S_IMODE(page.parent.stat().st_mode))
        opened.set()

    monkeypatch.setattr("webbrowser.open", start)
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()
        port = server.getsockname()[1]
        address = f"http://127.0.0.1:{port}/?enter=secret"
        thread = _open_when_up("127.0.0.1", port, address, lambda: asks and not used.is_set())
        assert opened.wait(20)
        used.set()
        thread.join(20)
    if asks:
        assert seen[0].startswith(tmp_path.as_uri())
        assert "secret" not in seen[0]
        assert f"url={address}" in seen[1]
        assert seen[2] == 0o700
    else:
        assert seen == [address]
    assert list(tmp_path.iterdir()) == []
