"""What is shipped with the program: the starter library, and where shipped files lie."""

from __future__ import annotations

from pathlib import Path

from colormatch.errors import LibraryError
from colormatch.library.exchange import read_exchange
from colormatch.library.merge import ImportPlan, import_exchange
from colormatch.library.store import Library
from colormatch.records import Shelf

_PACKAGE = Path(__file__).resolve().parent.parent


def bundled(name: str) -> Path:
    """A shipped folder, in an installed copy or in a checkout.

    Parameters
    ----------
    name : str
        ``swatches`` or ``app``.

    Raises
    ------
    LibraryError
        The installation lacks it.
    """
    for folder in (_PACKAGE / "_bundled" / name, _PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise LibraryError(f"The shipped folder '{name}' is missing.", "Install the program again.")


def starter_shelf() -> Shelf:
    """The starter library's paints, swatches and clear coats, for whoever has none of their own yet.

    Raises
    ------
    LibraryError
        The installation lacks it or it is spoiled.
    """
    return read_exchange(bundled("swatches")).shelf


def install_starter(library: Library) -> ImportPlan:
    """Import the starter library, as one step that can be undone."""
    return import_exchange(library, bundled("swatches"))
