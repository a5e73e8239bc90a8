"""Settings of the user, and a cache of slow fits, stored beside the records."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from colormatch.errors import LibraryUnwritable
from colormatch.library.database import reading, writing

#: Most fitted paints in the cache. Our choice: several versions of a large shelf, a few kilobytes each.
REMEMBERED_FITS = 2_000

#: Prefix of settings stored by :meth:`Memory.remember_shared`.
_SHARED = "shared-"


class Memory:
    """The part of the library for settings and cached fits; not subject to undo."""

    database: Path

    def setting(self, key: str, default: str = "") -> str:
        """A setting of the user."""
        with reading(self.database) as connection:
            row = connection.execute("SELECT value FROM setting WHERE key = ?", (key,)).fetchone()
        return default if row is None else str(row["value"])

    def set_setting(self, key: str, value: str) -> None:
        """Store a setting."""
        with writing(self.database) as connection:
            connection.execute("INSERT OR REPLACE INTO setting (key, value) VALUES (?, ?)", (key, value))

    def remember_shared(self, names: Mapping[str, str]) -> None:
        """Store the names under which photos were exported, to recognize them on import.

        Parameters
        ----------
        names : mapping
            From the SHA-256 of each exported photo to that of the library's own.
        """
        with writing(self.database) as connection:
            rows = [(_SHARED + new, own) for new, own in names.items()]
            connection.executemany("INSERT OR REPLACE INTO setting (key, value) VALUES (?, ?)", rows)

    def shared(self, photos: Iterable[str]) -> dict[str, str]:
        """The library's own names of photos that were exported under other names."""
        with reading(self.database) as connection:
            query = "SELECT value FROM setting JOIN photo ON sha256 = value WHERE key = ?"
            found = {new: connection.execute(query, (_SHARED + new,)).fetchone() for new in photos}
        return {new: row[0] for new, row in found.items() if row is not None}

    def remembered(self, key: str) -> bytes | None:
        """A cached fit by the hash of its inputs, or None."""
        with reading(self.database) as connection:
            row = connection.execute("SELECT value FROM fit WHERE key = ?", (key,)).fetchone()
        return None if row is None else bytes(row["value"])

    def remember(self, fits: dict[str, bytes]) -> None:
        """Cache fits by the hash of their inputs, so that no entry is ever stale.

        This only saves time: for a read-only library it does nothing, without an error.
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
