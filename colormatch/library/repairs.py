"""Repairs, open or done: documents that the library keeps as whoever works on them wrote them."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from colormatch.errors import BadInput
from colormatch.library.columns import Row, is_text, tidy_text
from colormatch.library.database import reading, writing
from colormatch.library.history import now, photos_of_row, read_row
from colormatch.library.photos import PhotoFolder
from colormatch.library.rows import Stored

#: Longest document, characters, and deepest nesting in one. Our choice: a hundred times what a busy repair holds.
MAX_DOCUMENT, MAX_DEPTH = 8 * 2**20, 50


@dataclass(frozen=True)
class SavedRepair:
    """A repair as it is kept: open or done."""

    name: str
    #: JSON text; what is in it is the writer's business.
    document: str
    #: Version of the document's form.
    version: int = 1
    #: SHA-256 of each photo that it speaks of.
    photos: tuple[str, ...] = ()
    #: ISO 8601, UTC; set by the library.
    created: str = ""
    changed: str = ""


class RepairKeeper:
    """The library's side that keeps repairs."""

    database: Path
    photos: PhotoFolder

    def save_repair(self, repair: SavedRepair, id: int | None = None) -> int:
        """Keep a repair, new or in the place of an earlier state of it, and return its number.

        Saving is no step of undo: it happens all the time while somebody works. The photos it names stay as long as
        it does.

        Raises
        ------
        BadInput
            The document is no JSON, the name no text, or the repair of that number is gone.
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
        """Every repair, the last changed first."""
        with reading(self.database) as connection:
            return all_repairs(connection)

    def repair(self, id: int) -> SavedRepair:
        """One repair.

        Raises
        ------
        BadInput
            There is none of that number.
        """
        with reading(self.database) as connection:
            return _repair(repair_row(connection, id))


def check_repair(repair: SavedRepair) -> None:
    """Refuse a repair that can't be kept and written out again.

    Raises
    ------
    BadInput
        Its document is no JSON, too long, nested too deep, or it holds a character that is no text.
    """
    tidy_text("repair's name", repair.name)
    document = repair.document
    if len(document) > MAX_DOCUMENT:
        raise BadInput(f"The repair has {len(document):,} characters.", f"Keep it under {MAX_DOCUMENT:,}.")
    try:
        content = json.loads(document)
    except (ValueError, RecursionError):
        raise BadInput("The repair is no JSON document.", "Please report it.") from None
    _check_part(content, MAX_DEPTH)


def _check_part(part: Any, depth: int) -> None:
    if depth == 0:
        raise BadInput(f"The repair's document is nested more than {MAX_DEPTH} deep.", "Please report it.")
    if isinstance(part, str) and not is_text(part):
        raise BadInput("The repair's document holds a character that is no text.", "Type its notes and names again.")
    if isinstance(part, dict):
        for name, value in part.items():
            _check_part(name, depth)
            _check_part(value, depth - 1)
    elif isinstance(part, list):
        for value in part:
            _check_part(value, depth - 1)


def all_repairs(connection: sqlite3.Connection) -> tuple[Stored[SavedRepair], ...]:
    """Every repair, the last changed first."""
    rows = connection.execute("SELECT * FROM repair ORDER BY changed DESC, id DESC").fetchall()
    return tuple(Stored(row["id"], _repair(dict(row))) for row in rows)


def repair_row(connection: sqlite3.Connection, id: int) -> Row:
    """Row of one repair.

    Raises
    ------
    BadInput
        There is none of that number.
    """
    row = read_row(connection, "repair", id)
    if row is None:
        raise BadInput(f"There is no repair number {id}.", "It may have been removed; look at the list again.")
    return row


def row_of_repair(repair: SavedRepair) -> Row:
    """A repair as a row."""
    return {
        "name": repair.name,
        "created": repair.created,
        "changed": repair.changed,
        "version": repair.version,
        "document": repair.document,
        "photos": json.dumps(repair.photos),
    }


def _repair(row: dict[str, Any]) -> SavedRepair:
    return SavedRepair(
        row["name"], row["document"], row["version"], tuple(json.loads(row["photos"])), row["created"], row["changed"]
    )
