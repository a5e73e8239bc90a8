"""Remove personal data from one photo, and check that its colors stay the same."""

from __future__ import annotations

import numpy as np

from colormatch.errors import ColorMatchError
from colormatch.image.formats import DecodedFile, decode, kind_of, opened, quiet_pillow
from colormatch.library.sharing.chunks import clean_jpeg, clean_png, clean_webp
from colormatch.library.sharing.facts import KeptFacts, NotCleaned
from colormatch.library.sharing.heif import clean_heif
from colormatch.library.sharing.tiff import clean_tiff


def cleaned(content: bytes) -> bytes:
    """Remove location, owner, serial numbers, dates, captions, maker notes and thumbnails from a photo.

    Parameters
    ----------
    content : bytes
        A JPEG, PNG, WebP, TIFF, DNG, HEIC or AVIF file.

    Returns
    -------
    bytes
        A file of the same kind with the same pixels, not re-encoded, and the same orientation, color profile, and make
        and model of the camera. Cleaning it again changes nothing.

    Raises
    ------
    NotCleaned
        The data can't be removed safely; or it is not a picture.
    """
    try:
        before = decode(content)
        kind = kind_of(content)
        with quiet_pillow:
            clean = _without(content, kind)
        after = decode(clean)
    except NotCleaned:
        raise
    except ColorMatchError as error:
        raise NotCleaned(error.what, error.fix) from error
    if not _reads_the_same(before, after):
        raise NotCleaned("Without its personal data it would read differently.")
    return clean


def _without(content: bytes, kind: str) -> bytes:
    if kind in ("JPEG", "PNG", "WEBP"):
        exif = KeptFacts.of(opened(content)).exif()
        return {"JPEG": clean_jpeg, "PNG": clean_png, "WEBP": clean_webp}[kind](content, exif)
    if kind in ("TIFF", "DNG"):
        return clean_tiff(content)
    if kind in ("HEIF", "AVIF"):
        return clean_heif(content)
    raise NotCleaned(
        "A camera raw file of this kind contains personal data that the program doesn't know how to remove safely."
    )


def _reads_the_same(before: DecodedFile, after: DecodedFile) -> bool:
    first, second = before.pixels, after.pixels
    return (
        first.orientation == second.orientation
        and before.profile.name == after.profile.name
        and np.array_equal(before.profile.to_srgb, after.profile.to_srgb)
        and np.array_equal(np.asarray(first.stored), np.asarray(second.stored))
    )
