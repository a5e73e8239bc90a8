"""Runs commands in this process, with an empty library of their own."""

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from colormatch.cli.main import main


class Done(NamedTuple):
    status: int
    out: str
    err: str


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Callable[..., Done]:
    monkeypatch.setenv("COLORMATCH_LIBRARY", str(tmp_path / "library"))

    def call(*arguments: object) -> Done:
        try:
            status = main([str(argument) for argument in arguments])
        except SystemExit as stop:
            status = int(stop.code or 0)
        captured = capsys.readouterr()
        return Done(status, captured.out, captured.err)

    return call
