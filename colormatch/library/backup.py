"""Backups: a few dated copies of the database beside it."""

from __future__ import annotations

import os
import sqlite3
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from colormatch.errors import LibraryUnwritable
from colormatch.library import database
from colormatch.library.photos import TEMPORARY_PREFIX

#: Newest backups that always stay; besides, the newest of each of this many weeks and months. Our choice.
KEEP_NEWEST, KEEP_WEEKS, KEEP_MONTHS = 7, 5, 12
#: Time between two automatic backups.
DAILY = timedelta(days=1)
#: With microseconds, so that names are unique and the newest is always known.
_STAMP = "%Y%m%dT%H%M%S.%f"


@dataclass(frozen=True)
class Backup:
    """One backup of the database."""

    path: Path
    #: Time in UTC.
    made: datetime
    #: Reason: ``daily``, ``before-import``, ``before-update``, ``before-restore`` or ``asked``.
    reason: str


def backups(path: Path) -> list[Backup]:
    """Backups of a database file, newest first; those dated in the future, by a wrong clock, last."""
    found = []
    for copy in (path.parent / "backups").glob(f"{path.stem}-*{path.suffix}"):
        stamp, _, reason = copy.stem.removeprefix(path.stem + "-").partition("-")
        try:
            made = datetime.strptime(stamp, _STAMP).replace(tzinfo=UTC)
        except ValueError:
            continue
        found.append(Backup(copy, made, reason))
    now = datetime.now(UTC)
    return sorted(found, key=lambda backup: (backup.made <= now, backup.made), reverse=True)


def back_up(path: Path, reason: str) -> Path:
    """Copy the current database, check the copy, and thin out old ones.

    Raises
    ------
    LibraryDamaged
        The copy fails its check; no backup was made and none removed.
    LibraryUnwritable
        The folder or disk refuses.
    """
    folder = path.parent / "backups"
    with database.explained(path.parent):
        folder.mkdir(exist_ok=True, mode=0o700)
        stamp = datetime.now(UTC).strftime(_STAMP)
        target = folder / f"{path.stem}-{stamp}-{reason}{path.suffix}"
        descriptor, name = tempfile.mkstemp(prefix=TEMPORARY_PREFIX, dir=folder)
        os.close(descriptor)
        temporary = Path(name)
        try:
            copy_database(path, temporary)
            database.replace_file(temporary, target)
        finally:
            temporary.unlink(missing_ok=True)
        _thin(path)
    return target


def copy_database(source: Path, target: Path) -> None:
    """Make a checked copy of a database, even while others write to it.

    Raises
    ------
    LibraryDamaged
        The copy fails its check.
    """
    live = database.connect(source)
    copy = sqlite3.connect(target, isolation_level=None)
    try:
        live.backup(copy)
        database.check(copy, source.parent)
    finally:
        copy.close()
        live.close()


def back_up_daily(path: Path) -> bool:
    """Make a backup if the last one is a day old. A folder that can't be written has nothing new to save.

    Returns
    -------
    bool
        Whether a backup was made.

    Raises
    ------
    LibraryDamaged
        The database fails its check.
    """
    now = datetime.now(UTC)
    # Between now and a day ago: a clock that was once wrong must neither stop the backups nor trigger one each time.
    if any(timedelta(0) <= now - backup.made < DAILY for backup in backups(path)):
        return False
    try:
        back_up(path, "daily")
    except LibraryUnwritable:
        return False
    return True


def _thin(path: Path) -> None:
    kept: set[Path] = set()
    weeks: set[tuple[int, int]] = set()
    months: set[tuple[int, int]] = set()
    for number, backup in enumerate(backups(path)):
        week, month = backup.made.isocalendar()[:2], (backup.made.year, backup.made.month)
        if (
            number < KEEP_NEWEST
            or (week not in weeks and len(weeks) < KEEP_WEEKS)
            or (month not in months and len(months) < KEEP_MONTHS)
        ):
            kept.add(backup.path)
            weeks.add(week)
            months.add(month)
    for backup in backups(path):
        if backup.path not in kept:
            backup.path.unlink(missing_ok=True)
