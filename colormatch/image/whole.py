"""Whether a file is a whole picture, found out as quickly as can be."""

from __future__ import annotations

from colormatch.errors import ColorMatchError, PhotoUnreadable
from colormatch.image.formats import decode, opened, quiet_pillow
from colormatch.image.limits import check_parts, check_size

#: A JPEG's pixels are decoded at so much less than their size each way, the most that its decoder offers: all of the
#: file is still read.
_SMALLER = 8


def refuse_unless_whole(data: bytes) -> None:
    """Decode a file of any kind we read, and keep nothing of it.

    Raises
    ------
    PhotoUnreadable
        Not a picture, damaged, or of a kind that can't be decoded.
    PhotoTooLarge
        Beyond a limit of :mod:`colormatch.image.limits`.
    """
    if not data.startswith(b"\xff\xd8"):
        decode(data)
        return
    try:
        check_parts(data)
        with quiet_pillow:
            picture = opened(data)
            check_size(*picture.size)
            picture.draft(None, (max(1, picture.width // _SMALLER), max(1, picture.height // _SMALLER)))
            picture.load()
    except ColorMatchError:
        raise
    except Exception as error:  # Decoders raise whatever they like on damaged files.
        raise PhotoUnreadable("The photo is damaged.", "Copy it once more.") from error
