"""What the library remembers beside the records: the user's settings, and fits that took time."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from colormatch.errors import LibraryUnwritable
from colormatch.library.database import reading, writing

#: Fitted paints that are remembered. Our choice: several versions of a large shelf; each is a few kilobytes.
REMEMBERED_FITS = 2_000

#: Begins the key of a setting that :meth:`Memory.remember_shared` keeps.
_SHARED = "shared-"


class Memory:
    """The library's side that remembers; none of it is a step of undo."""

    database: Path

    def setting(self, key: str, default: str = "") -> str:
        """A setting of the user."""
        with reading(self.database) as connection:
            row = connection.execute("SELECT value FROM setting WHERE key = ?", (key,)).fetchone()
        return default if row is None else str(row["value"])

    def set_setting(self, key: str, value: str) -> None:
        """Keep a setting."""
        with writing(self.database) as connection:
            connection.execute("INSERT OR REPLACE INTO setting (key, value) VALUES (?, ?)", (key, value))

    def remember_shared(self, names: Mapping[str, str]) -> None:
        """Keep under which name a photo of the library went out, so that it is known when it comes back.

        Parameters
        ----------
        names : mapping
            SHA-256 of each photo as it went out, and as the library has it.
        """
        with writing(self.database) as connection:
            rows = [(_SHARED + new, own) for new, own in names.items()]
            connection.executemany("INSERT OR REPLACE INTO setting (key, value) VALUES (?, ?)", rows)

    def shared(self, photos: Iterable[str]) -> dict[str, str]:
        """The library's own name of each photo that went out of it under another one."""
        with reading(self.database) as connection:
            query = "SELECT value FROM setting JOIN photo ON sha256 = value WHERE key = ?"
            found = {new: connection.execute(query, (_SHARED + new,)).fetchone() for new in photos}
        return {new: row[0] for new, row in found.items() if row is not None}

    def remembered(self, key: str) -> bytes | None:
        """A fit kept under the hash of all that it was computed from, or None."""
        with reading(self.database) as connection:
            row = connection.execute("SELECT value FROM fit WHERE key = ?", (key,)).fetchone()
        return None if row is None else bytes(row["value"])

    def remember(self, fits: dict[str, bytes]) -> None:
        """Keep fits, each under the hash of all that it was computed from, so that it can never be out of date.

        It only saves time: where the library can't be written, nothing is kept and nothing is said.
        """
        try:
            with writing(self.database) as connection:
                last = connection.execute("SELECT coalesce(max(made), 0) FROM fit").fetchone()[0]
                connection.executemany(
                    "INSERT OR REPLACE INTO fit (key, value, made) VALUES (?, ?, ?)",
                    [(key, value, last + 1) for key, value in fits.items()],
                )
                connection.execute(
                    "DELETE FROM fit WHERE key IN (SELECT key FROM fit ORDER BY made DESC LIMIT -1 OFFSET ?)",
                    (REMEMBERED_FITS,),
                )
        except LibraryUnwritable:
            return
