"""The docs' pictures can be made anew: the walk goes through, and makes the pictures that the repository holds."""

from __future__ import annotations

import pytest

from tests.browser.conftest import MAIN
from tests.browser.pictures import FOLDER, Walk

pytestmark = pytest.mark.browser


def test_the_walk_makes_every_picture(chromium, serve, tmp_path):
    Walk(chromium, serve(MAIN, COLORMATCH_LIBRARY=str(tmp_path / "library")), tmp_path, phone=False).go()
    assert {path.name for path in tmp_path.glob("*.webp")} == {path.name for path in FOLDER.glob("*-wide.webp")}
