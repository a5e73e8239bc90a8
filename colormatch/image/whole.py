"""Quick check that a picture file is complete and decodable."""

from __future__ import annotations

from colormatch.errors import ColorMatchError, PhotoUnreadable
from colormatch.image.formats import decode, opened, quiet_pillow
from colormatch.image.limits import check_parts, check_size

#: Reduction, each way, when decoding a JPEG: the decoder's maximum. It still reads the whole file.
_SMALLER = 8


def refuse_unless_whole(data: bytes) -> None:
    """Decode a file of any supported kind and discard the result.

    Raises
    ------
    PhotoUnreadable
        Not a picture, damaged, or of an unsupported kind.
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
    except Exception as error:  # Decoders raise anything on damaged files.
        raise PhotoUnreadable("The photo is damaged.", "Copy it again.") from error
