"""Every error the library raises on purpose.

Each says in one plain sentence *what* happened and in one what to do about it (*fix*), so that the command line and
the app can show it as it is. Anything else that escapes is a defect of ours.
"""

from __future__ import annotations

#: Characters of a sentence that are shown: more than any of ours needs, less than hides what it says.
LONGEST_SENTENCE = 600


class ColorMatchError(Exception):
    """Root of the tree.

    Parameters
    ----------
    what : str
        One sentence: what happened.
    fix : str
        One sentence: what the person can do next.
    **facts : object
        The figures behind it, for tests and for logs.

    Notes
    -----
    ``what`` and ``fix`` are positional so that the error can be pickled.

    Examples
    --------
    >>> str(ColorMatchError("The photo is empty.", "Choose another photo."))
    'The photo is empty. Choose another photo.'
    """

    def __init__(self, what: str, fix: str = "", **facts: object) -> None:
        super().__init__(what, fix)
        self.what = _short(what)
        self.fix = _short(fix)
        self.facts = facts

    def __str__(self) -> str:
        return f"{self.what} {self.fix}".strip()


def _short(sentence: str) -> str:
    """A sentence that quotes endless input, with the middle left out."""
    if len(sentence) <= LONGEST_SENTENCE:
        return sentence
    half = LONGEST_SENTENCE // 2
    return f"{sentence[:half]} ... {sentence[-half:]}"


class BadInput(ColorMatchError, ValueError):
    """A value that a person typed or a program passed can't be right."""


class WrongType(BadInput, TypeError):
    """A program passed a value of another kind than the function takes."""


def check_type(value: object, kinds: type | tuple[type, ...], what: str) -> None:
    """Refuse an argument of another kind; ``what`` names it as its documentation does.

    Raises
    ------
    WrongType
    """
    if not isinstance(value, kinds):
        wanted = " or ".join(kind.__name__ for kind in (kinds if isinstance(kinds, tuple) else (kinds,)))
        raise WrongType(f"The {what} is a {type(value).__name__}, not a {wanted}.", f"Pass a {wanted}.")


class WrongUsage(BadInput):
    """A command's arguments are missing, don't go together, or can't be right whatever files and library hold."""


class PhotoError(ColorMatchError):
    """The photo as a whole can't be used."""


class PhotoUnreadable(PhotoError, ValueError):
    """Not a picture, damaged, or of a kind that can't be decoded."""


class PhotoTooLarge(PhotoError, ValueError):
    """More pixels than the program is willing to decode."""


class RegionError(PhotoError, ValueError):
    """A marked region is empty, outside the photo or too small."""


class NeutralError(PhotoError):
    """The neutral reference can't carry a white balance."""


class CardNotFound(NeutralError):
    """No gray card was found, or the finder isn't sure enough to go on by itself."""


class CardUnusable(NeutralError, ValueError):
    """The marked card is clipped, too dark, too small, or not gray."""


class PaintError(ColorMatchError, ValueError):
    """A paint or its swatches can't be modeled or don't exist."""


class NothingToRank(ColorMatchError, ValueError):
    """The limits leave no wash to choose from."""


class LibraryError(ColorMatchError):
    """The personal library can't be read or written."""


class LibraryUnwritable(LibraryError, OSError):
    """Folder or disk refuses the write."""


class LibraryDamaged(LibraryError):
    """The database or a photo in it fails its check."""


class LibraryTooNew(LibraryError):
    """Written by a later version of the program."""


class RecordLeftOut(UserWarning):
    """A record of the library is damaged; the rest was read without it."""


class LibraryReadOnly(UserWarning):
    """A copy of the library is read, since its disk can't be written: nothing can be saved."""


class ExchangeError(LibraryError, ValueError):
    """A file offered for import is malformed or unsafe; nothing was imported."""
