"""The bytes of a photo's file, and how large one may be."""

from __future__ import annotations

from pathlib import Path

from colormatch.errors import PhotoTooLarge, PhotoUnreadable

#: Pixels of the largest photo that is decoded. Phones reach 50 megapixels and medium-format cameras 102; above that
#: come stitched panoramas, scans and files made to exhaust the memory. 120 megapixels in 8 bits take 360 MB.
MOST_PIXELS = 120_000_000
#: Bytes of the largest file that is opened: MOST_PIXELS in 16-bit RGB without compression, and some to spare.
MOST_BYTES = 800_000_000


def bytes_of(path: Path) -> bytes:
    """What is in a file.

    Raises
    ------
    PhotoUnreadable
        Missing, no file, or not to be read.
    PhotoTooLarge
        More than :data:`MOST_BYTES`.
    """
    try:
        if path.is_dir():
            raise PhotoUnreadable(f"{path} is a folder.", "Choose a photo inside it.")
        if not path.exists():
            raise PhotoUnreadable(f"There is no file {path}.", "Check the name, or choose the photo again.")
        if not path.is_file():
            raise PhotoUnreadable(f"{path} is not a file.", "Choose a photo.")
        if path.stat().st_size > MOST_BYTES:
            raise PhotoTooLarge(
                f"{path.name} is larger than {MOST_BYTES // 1_000_000} MB.", "Save the photo as JPEG and choose that."
            )
        return path.read_bytes()
    except PermissionError:
        raise PhotoUnreadable(
            f"{path} may not be read.", "Change its permissions, or copy it somewhere else."
        ) from None
    except OSError as error:
        raise PhotoUnreadable(
            f"{path} can't be read: {error.strerror}.", "Check the disk or card it is on, then try again."
        ) from None
