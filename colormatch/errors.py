"""Errors the library raises on purpose.

Each carries one plain sentence on *what* happened and one on what to do next (*fix*). The command line and the app show
both unchanged. Any other exception that escapes is a bug.
"""

from __future__ import annotations

#: Longest sentence shown, in characters. The program's own sentences are shorter; quoted user input may not be.
LONGEST_SENTENCE = 600


class ColorMatchError(Exception):
    """Base class of the library's errors.

    Parameters
    ----------
    what : str
        One sentence: what happened.
    fix : str
        One sentence: what the person can do next.
    **facts : object
        The numbers behind the sentence, for tests and logs.

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
    """Shorten a sentence that quotes very long input: cut out its middle."""
    if len(sentence) <= LONGEST_SENTENCE:
        return sentence
    half = LONGEST_SENTENCE // 2
    return f"{sentence[:half]} ... {sentence[-half:]}"


class BadInput(ColorMatchError, ValueError):
    """A typed or passed value is invalid."""


class WrongType(BadInput, TypeError):
    """An argument has the wrong type."""


def check_type(value: object, kinds: type | tuple[type, ...], what: str) -> None:
    """Raise unless an argument has one of the expected types; ``what`` is its name in the documentation.

    Raises
    ------
    WrongType
    """
    if not isinstance(value, kinds):
        wanted = " or ".join(kind.__name__ for kind in (kinds if isinstance(kinds, tuple) else (kinds,)))
        raise WrongType(f"The {what} is a {type(value).__name__}, not a {wanted}.", f"Pass a {wanted}.")


class WrongUsage(BadInput):
    """A command's arguments are missing, conflict, or are invalid whatever the files and library hold."""


class PhotoError(ColorMatchError):
    """The photo as a whole is unusable."""


class PhotoUnreadable(PhotoError, ValueError):
    """The file is not a picture, is damaged, or has an unsupported format."""


class PhotoTooLarge(PhotoError, ValueError):
    """The photo has more pixels than the program decodes."""


class RegionError(PhotoError, ValueError):
    """A marked region is empty, outside the photo or too small."""


class NeutralError(PhotoError):
    """The neutral reference is unusable for a white balance."""


class CardNotFound(NeutralError):
    """No gray card was found, or the finder is too unsure to continue."""


class CardUnusable(NeutralError, ValueError):
    """The marked card is clipped, too dark, too small, or not gray."""


class PaintError(ColorMatchError, ValueError):
    """A paint or its swatches don't exist or don't allow a model."""


class NothingToRank(ColorMatchError, ValueError):
    """The limits leave no wash to rank."""


class LibraryError(ColorMatchError):
    """The personal library is not readable or writable."""


class LibraryUnwritable(LibraryError, OSError):
    """The folder or disk refused a write."""


class LibraryDamaged(LibraryError):
    """The database or a photo in it failed its check."""


class LibraryTooNew(LibraryError):
    """A later version of the program wrote the library."""


class RecordLeftOut(UserWarning):
    """A record of the library is damaged; everything else was read."""


class LibraryReadOnly(UserWarning):
    """A copy of the library is read, since its disk can't be written: nothing can be saved."""


class ExchangeError(LibraryError, ValueError):
    """A file offered for import is malformed or unsafe; nothing was imported."""
