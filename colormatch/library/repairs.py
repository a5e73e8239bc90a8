"""Repairs, open or finished, stored as documents exactly as written."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import MAXYEAR, MINYEAR, datetime
from pathlib import Path
from typing import Any

from colormatch.errors import BadInput, LibraryDamaged
from colormatch.library.columns import Row, is_sha256, is_text, tidy_text
from colormatch.library.database import reading, writing
from colormatch.library.history import now, photos_of_row, read_row
from colormatch.library.photos import PhotoFolder
from colormatch.library.rows import ASIDE, Spoiled, Stored, rows_of, warn_of

#: Longest document, characters, and its deepest nesting. Our choice: a hundred times the size of a busy repair.
MAX_DOCUMENT, MAX_DEPTH = 8 * 2**20, 50
#: Most photos that one repair may name. Our choice.
MAX_PHOTOS = 1000


@dataclass(frozen=True)
class SavedRepair:
    """A stored repair, open or finished."""

    name: str
    #: JSON text; its content is up to the writer.
    document: str
    #: Version of the document's format.
    version: int = 1
    #: SHA-256 of each photo it refers to.
    photos: tuple[str, ...] = ()
    #: ISO 8601, UTC; set by the library.
    created: str = ""
    changed: str = ""


class RepairKeeper:
    """The part of the library that stores repairs."""

    database: Path
    photos: PhotoFolder

    def save_repair(self, repair: SavedRepair, id: int | None = None) -> int:
        """Store a repair, new or in place of its earlier state, and return its number.

        Saving is not an undo step: it happens all the time during work. The photos it names are kept as long as the
        repair.

        Raises
        ------
        BadInput
            The document is not JSON, the name is not text, or the repair with that number is gone.
        """
        check_repair(repair)
        moment = now()
        row = (repair.name, moment, repair.version, repair.document, json.dumps(repair.photos))
        with writing(self.database) as connection:
            if id is None:
                cursor = connection.execute(
                    "INSERT INTO repair (name, changed, version, document, photos, created) VALUES (?, ?, ?, ?, ?, ?)",
                    (*row, moment),
                )
                assert cursor.lastrowid is not None
                return cursor.lastrowid
            before = repair_row(connection, id)
            connection.execute(
                "UPDATE repair SET name = ?, changed = ?, version = ?, document = ?, photos = ? WHERE id = ?",
                (*row, id),
            )
            dropped = set(photos_of_row("repair", before)) - set(repair.photos)
            released = self.photos.release(connection, dropped)
        self.photos.sweep(released)
        return id

    def repairs(self) -> tuple[Stored[SavedRepair], ...]:
        """All repairs, last changed first."""
        with reading(self.database) as connection:
            return all_repairs(connection)

    def repair(self, id: int) -> SavedRepair:
        """One repair.

        Raises
        ------
        BadInput
            No repair has that number.
        LibraryDamaged
            Its row is damaged.
        """
        with reading(self.database) as connection:
            row = repair_row(connection, id)
        try:
            return _repair(row)
        except (RecursionError, TypeError, ValueError) as error:
            raise LibraryDamaged(f"Repair number {id} is damaged.", ASIDE) from error


def check_repair(repair: SavedRepair) -> None:
    """Raise for a repair that can't be stored and exported.

    Raises
    ------
    BadInput
        Its document is not JSON, too long, nested too deep, or contains a character that is not text; or a time or its
        version is invalid.
    """
    tidy_text("repair's name", repair.name)
    for moment in (repair.created, repair.changed):
        if moment and not is_moment(moment):
            raise BadInput(f"'{moment[:40]}' is not a date and time.", "Please report it.")
    if not 1 <= repair.version < 2**31:
        raise BadInput(f"The version of its document is {repair.version}.", "Please report it.")
    if len(repair.photos) > MAX_PHOTOS:
        raise BadInput(f"The repair has {len(repair.photos):,} photos.", f"Keep it under {MAX_PHOTOS:,}.")
    document = repair.document
    if len(document) > MAX_DOCUMENT:
        raise BadInput(f"The repair has {len(document):,} characters.", f"Keep it under {MAX_DOCUMENT:,}.")
    try:
        content = json.loads(document)
    except (ValueError, RecursionError):
        raise BadInput("The repair is not a JSON document.", "Please report it.") from None
    check_part(content, MAX_DEPTH)


def is_moment(text: str) -> bool:
    """Whether it is an ISO 8601 date, or date and time, representable in every time zone."""
    try:
        return MINYEAR < datetime.fromisoformat(text).year < MAXYEAR
    except ValueError:
        return False


def check_part(part: Any, depth: int) -> None:
    """Raise for a part of a document that is nested deeper than ``depth`` or contains a character that is not text.

    Raises
    ------
    BadInput
    """
    if depth == 0:
        raise BadInput(f"The repair's document is nested more than {MAX_DEPTH} deep.", "Please report it.")
    if isinstance(part, str) and not is_text(part):
        raise BadInput("The repair's document contains a character that isn't text.", "Type its notes and names again.")
    if isinstance(part, dict):
        for name, value in part.items():
            check_part(name, depth)
            check_part(value, depth - 1)
    elif isinstance(part, list):
        for value in part:
            check_part(value, depth - 1)


def all_repairs(connection: sqlite3.Connection) -> tuple[Stored[SavedRepair], ...]:
    """All readable repairs, last changed first; each unreadable one causes a warning."""
    sound, spoiled = sorted_repairs(connection)
    warn_of(spoiled)
    return sound


def sorted_repairs(
    connection: sqlite3.Connection, *, strict: bool = False
) -> tuple[tuple[Stored[SavedRepair], ...], tuple[Spoiled, ...]]:
    """The valid repairs, last changed first, and the invalid rows; see :func:`rows.sorted_records`."""
    sound, spoiled = [], []
    for row in rows_of(connection, "repair"):
        try:
            repair = _repair(row)
            if strict:
                check_repair(repair)
            sound.append(Stored(row["id"], repair))
        except (AttributeError, RecursionError, TypeError, ValueError) as error:
            why = error.what if isinstance(error, BadInput) else "It contains values that this program never writes."
            name = row["name"] if isinstance(row["name"], str) and is_text(row["name"]) else ""
            spoiled.append(Spoiled("repair", row["id"], name[:60], why))
    sound.sort(key=lambda stored: (stored.record.changed, stored.id), reverse=True)
    return tuple(sound), tuple(spoiled)


def repair_row(connection: sqlite3.Connection, id: int) -> Row:
    """Row of one repair.

    Raises
    ------
    BadInput
        No repair has that number.
    """
    row = read_row(connection, "repair", id)
    if row is None:
        raise BadInput(f"The library has no repair number {id}.", "It may have been removed; look at the list again.")
    return row


def row_of_repair(repair: SavedRepair) -> Row:
    """Convert a repair to a row."""
    return {
        "name": repair.name,
        "created": repair.created,
        "changed": repair.changed,
        "version": repair.version,
        "document": repair.document,
        "photos": json.dumps(repair.photos),
    }


def _repair(row: Mapping[str, Any]) -> SavedRepair:
    """Convert a row to a repair.

    Raises
    ------
    TypeError, ValueError
        The row contains data that is never written.
    """
    texts = [row[name] for name in ("name", "document", "photos", "created", "changed")]
    photos = json.loads(row["photos"])
    if not all(isinstance(text, str) for text in texts) or type(row["version"]) is not int:
        raise TypeError("a column of another type")
    if not isinstance(photos, list) or not all(isinstance(one, str) and is_sha256(one) for one in photos):
        raise BadInput("Its list of photos is unreadable.")
    return SavedRepair(row["name"], row["document"], row["version"], tuple(photos), row["created"], row["changed"])
