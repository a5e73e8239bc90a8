"""Set damaged records aside: move them out of the library into a file beside it, so that work can go on."""

from __future__ import annotations

import json
import os
import sqlite3
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from colormatch.library.columns import row_of
from colormatch.library.database import sync_folder, writing
from colormatch.library.history import UndoStep, broken_steps, now
from colormatch.library.rows import rows_of
from colormatch.library.store import Library, everything
from colormatch.records import Paint


@dataclass(frozen=True)
class Aside:
    """Records that were set aside."""

    #: Number of rows, including undo steps.
    count: int
    #: The JSON file with them; None if there were none.
    kept: Path | None = None


def set_aside(library: Library) -> Aside:
    """Move every damaged record, repair, draft and undo step out of the library, into a file in ``damaged``.

    A damaged paint with swatches keeps its name and swatches but loses its other fields. Can be undone, for rows that
    can be written as text.

    Raises
    ------
    LibraryUnwritable
        The folder or disk refuses; nothing was changed.
    """
    with writing(library.database) as connection:
        spoiled = {(one.table, one.id) for one in everything(connection).spoiled}
        rows = {
            (table, row["id"]): row
            for table in sorted({table for table, _ in spoiled})
            for row in rows_of(connection, table)
            if (table, row["id"]) in spoiled
        }
        steps = _rows(connection, "SELECT * FROM step WHERE id = ?", list(broken_steps(connection)))
        changes = _rows(connection, "SELECT * FROM change WHERE step = ?", [step["id"] for step in steps])
        drafts = [
            dict(row)
            for row in connection.execute("SELECT key, value FROM setting WHERE key GLOB 'draft-*'")
            if not _is_json(row["value"])
        ]
        count = len(rows) + len(steps) + len(drafts)
        if not count:
            return Aside(0)
        document = {
            "records": [{"table": table, "row": row} for (table, _), row in rows.items()],
            "steps": steps,
            "changes": changes,
            "drafts": drafts,
        }
        kept = _write(library, document)
        connection.executemany("DELETE FROM step WHERE id = ?", [(step["id"],) for step in steps])
        connection.executemany("DELETE FROM setting WHERE key = ?", [(draft["key"],) for draft in drafts])
        # Changes the library's stamp, and marks older backups as outdated for checking missing records.
        connection.execute("INSERT OR REPLACE INTO setting (key, value) VALUES ('restored', ?)", (now(),))
        can_be_logged = any(_is_text(row) for row in rows.values())
        log = UndoStep(connection, "set damaged records aside") if can_be_logged else None
        for (table, id), row in sorted(rows.items(), key=lambda item: item[0][0] == "paint"):  # swatches first
            _take_out(connection, log, table, id, row)
    return Aside(count, kept)


def _rows(connection: sqlite3.Connection, query: str, keys: list[int]) -> list[dict[str, Any]]:
    return [dict(row) for key in keys for row in connection.execute(query, (key,))]


def _is_json(text: Any) -> bool:
    try:
        json.loads(text)
    except (TypeError, ValueError, RecursionError):
        return False
    return True


def _write(library: Library, document: dict[str, Any]) -> Path:
    folder = library.folder / "damaged" / datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%f")
    folder.mkdir(parents=True)
    path = folder / "records.json"
    with path.open("x", encoding="utf-8") as stream:
        # Bytes that are not text as hexadecimal digits, other non-JSON numbers as their name.
        json.dump(document, stream, indent=1, default=lambda value: {"bytes": bytes(value).hex()})
        stream.flush()
        os.fsync(stream.fileno())
    sync_folder(folder)
    sync_folder(folder.parent)
    return path


def _is_text(row: dict[str, Any]) -> bool:
    """Whether the history, which is JSON, can hold the row."""
    return not any(isinstance(value, bytes) for value in row.values())


def _take_out(connection: sqlite3.Connection, log: UndoStep | None, table: str, id: int, row: dict[str, Any]) -> None:
    step = log if _is_text(row) else None
    name = row.get("name")
    if table == "paint":
        swatches = [
            one[0]
            for one in connection.execute(
                "SELECT swatch.id FROM swatch JOIN paint ON paint = name WHERE paint.id = ?", (id,)
            )
        ]
        if swatches and isinstance(name, str) and name.strip():
            blank = row_of(Paint(name, notes="Its other fields were damaged and have been set aside."))
            if step is not None:
                step.update(table, id, blank)
            else:
                marks = ", ".join(f'"{column}" = ?' for column in blank)
                connection.execute(f"UPDATE paint SET {marks} WHERE id = ?", (*blank.values(), id))
            return
        connection.executemany("DELETE FROM swatch WHERE id = ?", [(swatch,) for swatch in swatches])
    if step is not None:
        step.delete(table, id)
    else:
        connection.execute(f'DELETE FROM "{table}" WHERE id = ?', (id,))
