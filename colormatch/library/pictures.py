"""Photos of an import or a restore: each is decoded before it is stored; invalid ones are left out and flagged."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence

from colormatch.errors import ExchangeError, PhotoError, PhotoUnreadable
from colormatch.library.archive import PHOTOS, Source, read
from colormatch.library.progress import Progress, told
from colormatch.records import Flag, FlagCode


class Pictures:
    """The valid photos of a source.

    Parameters
    ----------
    files : Source
    names : sequence of str
        Names of the wanted photos, which contain the SHA-256 of their bytes.
    words : str
        Description of the work, for the progress.
    progress : Progress, optional
    """

    def __init__(self, files: Source, names: Sequence[str], words: str, progress: Progress | None) -> None:
        self._files, self._names, self._words, self._progress = files, names, words, progress
        #: SHA-256 of the invalid ones, after all were read.
        self.refused: list[str] = []

    def __iter__(self) -> Iterator[tuple[bytes, str]]:
        """Content and name of each."""
        from colormatch.image.whole import refuse_unless_whole

        for name in told(self._names, len(self._names), self._words, self._progress):
            sha256 = name.removeprefix(PHOTOS)[:64]
            try:
                content = read(self._files, name)
                if hashlib.sha256(content).hexdigest() != sha256:
                    raise PhotoUnreadable("Its content doesn't match its name.", "")
                refuse_unless_whole(content)
            except (ExchangeError, PhotoError):
                self.refused.append(sha256)
            else:
                yield content, name

    @property
    def flags(self) -> tuple[Flag, ...]:
        """Flags for the refused photos."""
        if not self.refused:
            return ()
        shown = ", ".join(sha256[:12] for sha256 in self.refused[:3]) + (" ..." if len(self.refused) > 3 else "")
        text = f"Unreadable photos were left out ({len(self.refused)}: {shown}); they are still in the file."
        return (Flag(FlagCode.PHOTOS_LEFT_OUT, text, len(self.refused)),)
