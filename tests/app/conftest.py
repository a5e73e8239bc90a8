"""The app without a browser, on a library of its own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from colormatch.library import Library

MAIN = Path(__file__).parents[2] / "app" / "main.py"


@pytest.fixture
def library(tmp_path, monkeypatch) -> Library:
    monkeypatch.setenv("COLORMATCH_LIBRARY", str(tmp_path / "library"))
    return Library.open(tmp_path / "library")


@pytest.fixture
def open_app(library) -> Callable[..., AppTest]:
    """A new session, as after a reload: only the address is left of the one before."""

    def start(repair: int | None = None, page: str = "", **query: str) -> AppTest:
        app = AppTest.from_file(str(MAIN), default_timeout=60)
        if repair is not None:
            app.query_params["repair"] = str(repair)
        if page:
            app.switch_page(page)
            if repair is not None:
                app.query_params["repair"] = str(repair)
        for name, value in query.items():
            app.query_params[name] = value
        app.run()
        assert not app.exception
        return app

    return start


@pytest.fixture
def example(open_app) -> AppTest:
    """The example, opened by its button."""
    app = open_app()
    app.button(key="example").click().run()
    assert not app.exception
    return app
