"""The public surface: listed, present, documented, typed, and quick to import."""

from __future__ import annotations

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import colormatch


def test_what_type_checkers_see_is_what_there_is() -> None:
    tree = ast.parse(Path(colormatch.__file__).read_text(encoding="utf-8"))
    typed = {
        alias.name: node.module
        for block in tree.body
        if isinstance(block, ast.If)
        for node in block.body
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("colormatch.")
        for alias in node.names
    }
    assert typed == {name: f"colormatch.{home}" for name, home in colormatch._HOMES.items()}


@pytest.mark.parametrize("name", colormatch.__all__)
def test_every_name_is_there_and_says_what_it_is(name: str) -> None:
    assert inspect.getdoc(getattr(colormatch, name))
    assert name in dir(colormatch)


def test_no_other_name_is_made_up() -> None:
    with pytest.raises(AttributeError, match="nothing_of_the_kind"):
        colormatch.nothing_of_the_kind  # noqa: B018


def test_importing_it_loads_nothing_heavy() -> None:
    code = "import sys, colormatch; print([m for m in ('numpy', 'cv2', 'scipy', 'colour') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"
