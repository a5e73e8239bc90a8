"""A photo that is opened while the command imports what it needs, which takes as long."""

from __future__ import annotations

from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from colormatch.image.photo import DecodedPhoto


class Opening(Thread):
    """A photo that is being opened. A thread of its own: an executor takes longer to import than half of Pillow."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        # Before it starts: two threads that import take turns, and it would come to decode late.
        import colormatch.image.jpeg  # noqa: F401

        self._path = path
        self._opened: DecodedPhoto | Exception | None = None
        self.start()

    def run(self) -> None:
        from colormatch.image.file import bytes_of
        from colormatch.image.jpeg import decode_ahead

        try:
            data = bytes_of(self._path)
            ahead = decode_ahead(data)
            from colormatch.image.photo import open_photo

            self._opened = open_photo(data, ahead)
        except Exception as error:
            self._opened = error

    def photo(self) -> DecodedPhoto:
        """The photo, when it is there.

        Raises
        ------
        PhotoError
            See `open_photo`.
        """
        # What every command needs that reads a photo, imported meanwhile.
        import cv2  # noqa: F401
        import numpy.fft
        import numpy.ma  # noqa: F401  by its median

        import colormatch.repair  # noqa: F401

        self.join()
        assert self._opened is not None
        if isinstance(self._opened, Exception):
            raise self._opened
        return self._opened
