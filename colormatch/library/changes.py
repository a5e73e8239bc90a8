"""Changes to records within one undo step."""

from __future__ import annotations

import sqlite3
from typing import TypeGuard

from colormatch.errors import BadInput, PaintError
from colormatch.library.columns import TABLES, WORDS, R, Record, row_of, tidy
from colormatch.library.history import UndoStep, photos_of_row
from colormatch.library.repairs import SavedRepair, all_repairs, repair_row, row_of_repair
from colormatch.library.rows import Stored, all_records, describe, one_record
from colormatch.records import CameraPhoto, ClearCoatPair, Ground, OwnCard, Paint, ShopChip, Swatch, name_key


class Changes:
    """Changes to records inside one transaction; see :meth:`Library.step`."""

    def __init__(self, connection: sqlite3.Connection, what: str) -> None:
        self._connection = connection
        self._what = what
        self._log: UndoStep | None = None
        #: Photos named by rows before or after the change.
        self.photos: set[str] = set()
        # Names in use, by table: from the key of a name to its spellings and their numbers.
        self._names: dict[str, dict[str, dict[int, str]]] = {}

    def _logged(self, what: str) -> UndoStep:
        if self._log is None:
            self._log = UndoStep(self._connection, self._what or what)
        return self._log

    # --- records -----------------------------------------------------------------------------------------------------

    def all(self, kind: type[R]) -> tuple[Stored[R], ...]:
        """All records of a kind, including changes of this step."""
        return all_records(self._connection, kind)

    def add(self, record: Record, *, even_if_alike: bool = False) -> int:
        """Add a record; see :meth:`Library.add`.

        Parameters
        ----------
        record : Record
        even_if_alike : bool
            Allow a name that differs from another only in capitals or spaces.
        """
        record = tidy(record)
        self._check_name(record, None, even_if_alike)
        row, table = row_of(record), TABLES[type(record)]
        self.photos.update(photos_of_row(table, row))
        id = self._logged(f"added the {describe(record)}").insert(table, row)
        if _is_named(record):
            self._names_in(table).setdefault(name_key(record.name), {})[id] = record.name
        return id

    def edit(self, id: int, record: Record) -> None:
        """Replace a record; see :meth:`Library.edit`."""
        table, record = TABLES[type(record)], tidy(record)
        before = row_of(one_record(self._connection, type(record), id))
        row = row_of(record)
        if row == before:
            return
        if row.get("name") != before.get("name"):
            self._check_name(record, id, even_if_alike=False)
            self._names.pop(table, None)
        elif isinstance(record, Swatch):
            self._check_paint(record)
        self.photos.update(photos_of_row(table, before), photos_of_row(table, row))
        self._logged(f"changed the {describe(record)}").update(table, id, row)

    def remove(self, kind: type[Record], id: int) -> None:
        """Remove a record; see :meth:`Library.remove`."""
        record = one_record(self._connection, kind, id)
        step = self._logged(f"removed the {describe(record)}")
        if isinstance(record, Paint):
            for swatch, photo in self._connection.execute(
                "SELECT id, photo FROM swatch WHERE paint = ?", (record.name,)
            ).fetchall():
                self.photos.update({photo} - {""})
                step.delete("swatch", swatch)
        self.photos.update(photos_of_row(TABLES[kind], row_of(record)))
        step.delete(TABLES[kind], id)
        self._names.pop(TABLES[kind], None)

    # --- repairs -----------------------------------------------------------------------------------------------------

    def repairs(self) -> tuple[Stored[SavedRepair], ...]:
        """All repairs, last changed first."""
        return all_repairs(self._connection)

    def add_repair(self, repair: SavedRepair) -> int:
        """Add a repair with its own times."""
        self.photos.update(repair.photos)
        return self._logged(f"added the repair {repair.name}").insert("repair", row_of_repair(repair))

    def edit_repair(self, id: int, repair: SavedRepair) -> None:
        """Replace a repair, with the new one's own times."""
        self.photos.update(photos_of_row("repair", repair_row(self._connection, id)), repair.photos)
        self._logged(f"changed the repair {repair.name}").update("repair", id, row_of_repair(repair))

    def remove_repair(self, id: int) -> None:
        """Remove a repair; see :meth:`Library.remove_repair`."""
        row = repair_row(self._connection, id)
        self.photos.update(photos_of_row("repair", row))
        self._logged(f"removed the repair {row['name']}").delete("repair", id)

    # --- names -------------------------------------------------------------------------------------------------------

    def _check_name(self, record: Record, id: int | None, even_if_alike: bool) -> None:
        if isinstance(record, Swatch):
            self._check_paint(record)
        elif _is_named(record):
            word = WORDS[type(record)]
            alike = self._names_in(TABLES[type(record)]).get(name_key(record.name), {})
            taken = [name for number, name in alike.items() if number != id]
            if record.name in taken:
                raise BadInput(
                    f"There is already a {word} named {record.name}.", "Choose another name, or edit that one."
                )
            if taken and not even_if_alike:
                raise BadInput(
                    f"You already have the {word} {taken[0]}; {record.name} differs only in capitals, spaces or "
                    "invisible characters.",
                    f"Use {taken[0]}, or choose a clearly different name.",
                )

    def _check_paint(self, swatch: Swatch) -> None:
        query = "SELECT 1 FROM paint WHERE name = ?"
        if self._connection.execute(query, (swatch.paint,)).fetchone() is None:
            raise PaintError(f"The shelf has no paint named {swatch.paint}.", "Add the paint first, or check its name.")

    def _names_in(self, table: str) -> dict[str, dict[int, str]]:
        if table not in self._names:
            names: dict[str, dict[int, str]] = {}
            for id, name in self._connection.execute(f'SELECT id, name FROM "{table}" ORDER BY id'):
                names.setdefault(name_key(name), {})[id] = name
            self._names[table] = names
        return self._names[table]


def _is_named(record: Record) -> TypeGuard[Paint | Ground | ShopChip | OwnCard | CameraPhoto]:
    """Whether the record's name must be unique; clear-coat pairs of one can may share it, one for each wood."""
    return not isinstance(record, Swatch | ClearCoatPair)
