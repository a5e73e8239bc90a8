"""Check a whole library, and say what to do about each problem."""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime

from colormatch.errors import LibraryDamaged, LibraryError
from colormatch.library import backup, database, schema
from colormatch.library.columns import TABLES, WORDS, is_sha256
from colormatch.library.history import broken_steps, photos_of_row
from colormatch.library.photos import TEMPORARY_PREFIX, is_whole
from colormatch.library.progress import Progress, told
from colormatch.library.rows import ASIDE, rows_of
from colormatch.library.store import Everything, Library, everything
from colormatch.records import Swatch
from colormatch.wash.doubts import no_trace

_RESTORE = "Restore a backup with 'colormatch library restore', or under Swatches, Backups in the app."
_NEW_FOLDER = (
    "Another program wrote to it: save it with 'colormatch library backup --out all.zip' and restore that file into "
    "a new folder; only data that this program knows is restored."
)
_PHOTO_BACK = (
    "Restore a saved file or import an export that contains it, or choose the photo again; until then the record has "
    "no picture."
)
#: Most problems of one kind listed one by one. Our choice: a screenful.
_TOLD = 20


@dataclass(frozen=True)
class Damage:
    """One problem."""

    #: The problem, and what to do about it: one sentence each.
    what: str
    fix: str
    #: Whether `set_aside` moves it out of the library.
    aside: bool = False

    def __str__(self) -> str:
        return f"{self.what} {self.fix}"


@dataclass(frozen=True)
class Verification:
    """Result of checking a whole library."""

    #: Empty if all is well.
    problems: tuple[Damage, ...]
    #: Number of valid records; below, of photos.
    records: int
    photos: int
    #: Number of photo files without a record or repair, which are harmless.
    spare: int
    #: Oddities that are not problems, one sentence each.
    remarks: tuple[str, ...] = ()


def verify(library: Library, progress: Progress | None = None) -> Verification:
    """Check the database's structure, every record, repair, photo and undo step, and the backups.

    Raises
    ------
    LibraryUnwritable
        The library is unreadable.
    """
    try:
        with database.reading(library.database) as connection:
            broken = list(_structure(connection, library))
            if broken:
                return Verification(tuple(broken), 0, 0, 0)
            held = everything(connection)
            problems = [Damage(one.what, ASIDE, aside=True) for one in held.spoiled]
            problems += _schema(connection)
            problems += _orphans(connection)
            problems += _undo(connection)
            problems += _settings(connection)
            problems += _numbers(connection)
            named = _named_photos(connection)
            rows = {str(row[0]): tuple(row) for row in connection.execute("SELECT sha256, file, bytes FROM photo")}
            gone, doubts = _gone(connection, library)
            problems += gone
    except LibraryDamaged as error:
        return Verification((Damage(error.what, error.fix),), 0, 0, 0)
    problems += _photos(library, rows, named, progress)
    problems += _backups(library, progress)
    files = {rows[sha256][1] for sha256 in rows}
    spare = [
        path.name
        for path in sorted(library.photos.folder.glob("*"))
        if path.name not in files and path.name[:64] not in named and not path.name.startswith(TEMPORARY_PREFIX)
    ]
    remarks = [*doubts, *_odd(held), *_spare(spare)]
    records = sum(map(len, held.records.values())) + len(held.repairs)
    return Verification(tuple(problems), records, len(rows), len(spare), tuple(remarks))


def _odd(held: Everything) -> Iterator[str]:
    for swatch in held.records[Swatch]:
        if flag := no_trace(swatch):
            yield flag.text


def _spare(names: list[str]) -> list[str]:
    if not names:
        return []
    shown = ", ".join(name[:16] for name in names[:5]) + (", ..." if len(names) > 5 else "")
    return [f"Unused files in the photo folder, {len(names)}: {shown}. They do no harm."]


# --- the database ----------------------------------------------------------------------------------------------------


def _structure(connection: sqlite3.Connection, library: Library) -> Iterator[Damage]:
    if schema.version_of(connection, library.folder) == 0:
        yield Damage(f"The library in {library.folder} is empty.", _RESTORE)
    for row in connection.execute(f"PRAGMA integrity_check({_TOLD})"):
        if row[0] != "ok":
            yield Damage(f"The database is damaged: {' '.join(str(row[0]).split())}.", _RESTORE)


def _schema(connection: sqlite3.Connection) -> Iterator[Damage]:
    """Differences between the tables and ours."""
    found = schema.strangers(connection, len(schema.MIGRATIONS))
    for kind, name in found.further:
        yield Damage(f"The database contains the {kind} '{name}', which this program did not make.", _NEW_FOLDER)
    for kind, name in found.missing:
        yield Damage(f"The database lacks the {kind} '{name}'.", _RESTORE)
    with closing(sqlite3.connect(":memory:")) as ours:
        schema.build(ours, len(schema.MIGRATIONS))
        for name in found.altered:
            should, has = _columns(ours, name), _columns(connection, name)
            foreign, missing = sorted(has - should), sorted(should - has)
            if foreign:
                yield Damage(f"The table '{name}' has columns from another program: {', '.join(foreign)}.", _NEW_FOLDER)
            if missing:
                yield Damage(f"The table '{name}' lacks columns: {', '.join(missing)}.", _RESTORE)
            if not foreign and not missing:
                yield Damage(f"'{name}' in the database was changed by another program.", _NEW_FOLDER)


def _columns(connection: sqlite3.Connection, table: str) -> set[str]:
    return {row[1] for row in connection.execute(f'PRAGMA table_xinfo("{table}")')}


def _orphans(connection: sqlite3.Connection) -> Iterator[Damage]:
    for table, id, parent, _ in connection.execute("PRAGMA foreign_key_check").fetchmany(_TOLD):
        if table == "swatch":
            paint = connection.execute("SELECT paint FROM swatch WHERE rowid = ?", (id,)).fetchone()[0]
            yield Damage(
                f"Swatch number {id} is of the paint {str(paint)[:60]}, which is missing.",
                "Add a paint of that name, or restore a backup with 'colormatch library restore'.",
            )
        else:
            yield Damage(f"A row of {table} refers to a missing row of {parent}.", ASIDE)


def _undo(connection: sqlite3.Connection) -> Iterator[Damage]:
    for step, what in list(broken_steps(connection).items())[:_TOLD]:
        told = "An undo step" if not what else f"The undo step '{what[:80]}'"
        yield Damage(
            f"{told} (number {step}) is damaged and no longer works.",
            "Your records are unharmed; remove the step with 'colormatch library verify --set-aside', or under "
            "Swatches, Backups in the app.",
            aside=True,
        )
    last = connection.execute("SELECT max(id) FROM step WHERE NOT undone").fetchone()[0]
    if last is not None and connection.execute("SELECT 1 FROM step WHERE undone AND id < ?", (last,)).fetchone():
        yield Damage(
            "The undo steps are out of order: one that was undone lies before one that was not.",
            "Your records are unharmed; restore a backup before you use undo.",
        )


def _settings(connection: sqlite3.Connection) -> Iterator[Damage]:
    for key, value in connection.execute("SELECT key, value FROM setting WHERE key GLOB 'draft-*'"):
        try:
            json.loads(value)
        except (TypeError, ValueError, RecursionError):
            yield Damage(f"An unsaved draft ({key}) is unreadable.", ASIDE, aside=True)


def _numbers(connection: sqlite3.Connection) -> Iterator[Damage]:
    """A reused number would make undo change the wrong record."""
    last = dict(connection.execute("SELECT name, seq FROM sqlite_sequence").fetchall())
    for table in (*TABLES.values(), "repair", "step"):
        most = connection.execute(f'SELECT max(id) FROM "{table}"').fetchone()[0]
        if most is not None and int(last.get(table) or 0) < most:
            yield Damage(f"The table '{table}' could assign the same number twice.", _RESTORE)


def _gone(connection: sqlite3.Connection, library: Library) -> tuple[list[Damage], list[str]]:
    """Records of the newest backup that are missing, although no step removed them; remarks if steps were forgotten."""
    now = datetime.now(UTC)
    newest = next((one for one in backup.backups(library.database) if one.made <= now), None)
    if newest is None:
        return [], []
    try:
        copy = sqlite3.connect(f"{newest.path.resolve().as_uri()}?mode=ro", uri=True)
    except sqlite3.Error:
        return [], []
    damages, remarks = [], []
    try:
        if copy.execute("PRAGMA user_version").fetchone()[0] != len(schema.MIGRATIONS):
            return [], []
        if _restored(copy) != _restored(connection):  # made before another backup was restored
            return [], []
        since = copy.execute("SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'step'").fetchone()[0]
        made = connection.execute("SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'step'").fetchone()[0]
        steps = {row[0] for row in connection.execute("SELECT id FROM step")}
        kept = sum(step > since for step in steps)
        forgotten = {row[0] for row in copy.execute("SELECT id FROM step")} - steps
        for table in (*TABLES.values(), "repair"):
            before = dict(
                copy.execute(f'SELECT id, {"paint" if table == "swatch" else "name"} FROM "{table}"').fetchall()
            )
            present = {row[0] for row in connection.execute(f'SELECT id FROM "{table}"')}
            # A step that removed a row holds it.
            changed = {
                row[0]
                for row in connection.execute(
                    "SELECT row FROM change WHERE kind = ? AND document IS NOT NULL", (table,)
                )
            }
            for id in sorted(before.keys() - present - changed)[:_TOLD]:
                word = next((WORDS[kind] for kind, name in TABLES.items() if name == table), table)
                what = f"The {word} number {id} ({str(before[id])[:60]}) is in the newest backup but missing here"
                if made - since == kept and not forgotten:
                    fix = f"'colormatch library restore {newest.path}' restores the library as it was then."
                    damages.append(Damage(f"{what}, although nobody removed it.", fix))
                else:
                    remarks.append(f"{what}; the reason is no longer known.")
    except sqlite3.Error:  # told with the backups
        return [], []
    finally:
        copy.close()
    return damages, remarks


def _restored(connection: sqlite3.Connection) -> str:
    """Identifies the last time that a backup was restored."""
    row = connection.execute("SELECT value FROM setting WHERE key = 'restored'").fetchone()
    return "" if row is None else str(row[0])


# --- photos ----------------------------------------------------------------------------------------------------------


def _named_photos(connection: sqlite3.Connection) -> dict[str, list[str]]:
    """Descriptions of the records that name each photo."""
    named: defaultdict[str, list[str]] = defaultdict(list)
    for table in ("paint", "swatch", "repair"):
        for row in rows_of(connection, table):
            try:
                photos = list(photos_of_row(table, row))
            except (TypeError, ValueError):  # reported as a damaged record
                continue
            for photo in photos:
                named[photo].append(f"{table} number {row['id']}")
    return dict(named)


def _photos(
    library: Library, rows: dict[str, tuple[str, str, int]], named: dict[str, list[str]], progress: Progress | None
) -> Iterator[Damage]:
    folder, trash = library.photos.folder, library.photos.trash
    for sha256, file, size in told(list(rows.values()), len(rows), "Checking photos", progress):
        by = f", named by {', '.join(named[sha256][:3])}" if sha256 in named else ""
        if not is_sha256(sha256) or file[:64] != sha256 or "/" in file or "\\" in file:
            yield Damage(f"The row of the photo {sha256[:12]} names the wrong file.", _NEW_FOLDER)
            continue
        path = folder / file
        if path.is_symlink():
            yield Damage(f"The photo {file} is a link to another place{by}.", "Put the file itself there.")
        elif not path.is_file():
            where = " (it is in the trash folder)" if (trash / file).is_file() else ""
            yield Damage(f"The photo {file} is missing{where}{by}.", _PHOTO_BACK)
        elif not is_whole(path, sha256):
            yield Damage(f"The photo {file} is damaged{by}.", _PHOTO_BACK)
        elif path.stat().st_size != size:
            yield Damage(f"The row of the photo {file} states a different size from its file.", _NEW_FOLDER)
    for sha256 in sorted(named.keys() - rows.keys()):
        by = ", ".join(named[sha256][:3])
        lies = any(folder.glob(f"{sha256}*")) if is_sha256(sha256) else False
        where = "its file exists, but its row is missing" if lies else "the library does not have it"
        yield Damage(f"The photo {sha256[:12]} is used by {by}, but {where}.", _PHOTO_BACK)


# --- backups ---------------------------------------------------------------------------------------------------------


def _backups(library: Library, progress: Progress | None) -> Iterator[Damage]:
    found = backup.backups(library.database)
    for one in told(found, len(found), "Checking backups", progress):
        try:
            connection = sqlite3.connect(f"{one.path.resolve().as_uri()}?mode=ro", uri=True)
            try:
                schema.version_of(connection, one.path)
                database.check(connection, one.path, quick=True)
            finally:
                connection.close()
        except (sqlite3.Error, LibraryError, UnicodeDecodeError):
            yield Damage(
                f"The backup {one.path.name} is damaged.",
                "Make a new one with 'colormatch library backup'; this one may be deleted.",
            )
