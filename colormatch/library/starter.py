"""What is shipped with the program: the starter library, and where shipped files lie."""

from __future__ import annotations

from pathlib import Path

from colormatch.errors import LibraryError

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
