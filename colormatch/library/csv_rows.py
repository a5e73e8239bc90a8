"""Convert records to CSV text for spreadsheets, and back without loss."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Generic

from colormatch.errors import BadInput, ExchangeError
from colormatch.library import limits
from colormatch.library.columns import (
    Cell,
    Column,
    Kind,
    R,
    Record,
    Row,
    columns_of,
    number_of,
    record_of,
    row_of,
    tidy,
    tidy_text,
)
from colormatch.records import (
    CameraPhoto,
    CardKind,
    ClearCoatPair,
    Development,
    Ground,
    Lab,
    LightKind,
    OwnCard,
    Paint,
    ShopChip,
    Swatch,
)

#: Text that would start a formula in some spreadsheet (OWASP, "CSV Injection"): at its start, and after separators of
#: spreadsheets that use semicolons or tabs; also if our own escape already precedes it.
_SIGN = r"""'*[ "]*[=+\-@\uff1d\uff0b\uff0d\uff20]"""
_FORMULA = re.compile(rf"^(?={_SIGN}|'*[\t\r\n])|(?<=[;\t\r\n])(?={_SIGN})")
_ESCAPED = re.compile(rf"^'(?={_SIGN}|'*[\t\r\n])|(?<=[;\t\r\n])'(?={_SIGN})")
#: Most problems reported at once; a sheet with more is probably the wrong one.
_TOLD = 20
#: A valid record of each kind; with one cell of another record, it shows whether that cell is at fault.
_SOUND: dict[type, Record] = {
    Paint: Paint("paint"),
    Swatch: Swatch("paint", 1, 0, 1, "wood", Lab(50, 0, 0), Lab(50, 0, 0)),
    ClearCoatPair: ClearCoatPair("clear", Lab(50, 0, 0), Lab(50, 0, 0)),
    Ground: Ground("wood", Lab(50, 0, 0)),
    ShopChip: ShopChip("offcut", Lab(50, 0, 0)),
    OwnCard: OwnCard("card", CardKind.GRAY),
    CameraPhoto: CameraPhoto("photo", "camera", LightKind.DAYLIGHT, Development.DEVELOPED, 0.0, 0.0, "0,0,0,0,0,0"),
}


@dataclass(frozen=True)
class Read(Generic[R]):
    """A record and its position."""

    record: R
    #: First line of its row, from 1; the header is line 1.
    line: int


@dataclass(frozen=True)
class Problem:
    """A problem in a sheet."""

    file: str
    line: int
    #: Name of the column, or empty for the whole row.
    column: str
    what: str

    def __str__(self) -> str:
        column = f", column {self.column}" if self.column else ""
        return f"{self.file}, line {self.line}{column}: {self.what}"


def refuse(problems: Sequence[Problem]) -> None:
    """Raise for the first problem, with the number of others.

    Raises
    ------
    ExchangeError
        There are problems; its facts hold all of them.
    """
    if not problems:
        return
    first = problems[0]
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    raise ExchangeError(
        f"{first}{more}.",
        "Nothing was imported; correct it and import again.",
        file=first.file,
        line=first.line,
        column=first.column,
        problems=tuple(problems),
    )


# --- write -----------------------------------------------------------------------------------------------------------


def escaped(text: str) -> str:
    """Escape a text so that no spreadsheet takes it for a formula.

    Examples
    --------
    >>> escaped("=1+1"), restored("'=1+1"), restored(escaped("'=1")), escaped("plain")
    ("'=1+1", '=1+1', "'=1", 'plain')
    >>> escaped("Umber;=1+1")
    "Umber;'=1+1"
    """
    return _FORMULA.sub("'", text)


def restored(text: str) -> str:
    """Inverse of :func:`escaped`."""
    return _ESCAPED.sub("", text)


def write_rows(kind: type[Record], records: Iterable[Record]) -> bytes:
    """Write records of one kind as CSV: UTF-8, comma, header row, exact numbers.

    Additional columns of an import follow ours, sorted by name. Line ends are those of RFC 4180, which also makes the
    writer quote every line end inside a cell.
    """
    records = list(records)
    extra = sorted({name for record in records for name, _ in record.extra})
    ours = [column.name for column in columns_of(kind)]
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([*ours, *(escaped(name) for name in extra)])
    for record in records:
        row, further = row_of(record), dict(record.extra)
        writer.writerow([*(_written(row[name]) for name in ours), *(escaped(further.get(name, "")) for name in extra)])
    return text.getvalue().encode()


def _written(cell: Cell) -> str:
    if cell is None:
        return ""
    # repr gives the shortest decimal that reads back as the same number.
    return escaped(cell) if isinstance(cell, str) else repr(cell)


# --- read ------------------------------------------------------------------------------------------------------------


def read_rows(kind: type[R], name: str, content: bytes) -> tuple[list[Read[R]], list[Problem]]:
    """Read the records of a CSV file, and its problems.

    Parameters
    ----------
    kind : type
        ``Paint``, ``Swatch`` ...
    name : str
        Name of the file, for messages.
    content : bytes
        UTF-8, with or without a byte order mark; line ends of any system.

    Returns
    -------
    records, problems : lists
        Both may be non-empty; the records are usable only without problems.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        return [], [Problem(name, line, "", "the text is not UTF-8; save it as 'CSV UTF-8'")]
    if "\0" in text:
        return [], [
            Problem(name, text[: text.index("\0")].count("\n") + 1, "", "it contains a NUL byte, so it isn't text")
        ]
    rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    found: list[Read[R]] = []
    problems: list[Problem] = []
    line, header, brought = 1, None, 0
    try:
        for cells in rows:
            first, line = line, rows.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            if header is None:
                header = _Header(kind, name, first, cells)
                problems += header.problems
            else:
                try:
                    record = _record(kind, header, cells)
                    found.append(Read(record, first))
                    brought += len(record.extra)
                    if brought > limits.MAX_CELLS:
                        what = f"the sheet has more than {limits.MAX_CELLS:,} cells in extra columns"
                        problems.append(Problem(name, first, "", what))
                        break
                except _BadCell as bad:
                    problems.append(Problem(name, first, bad.column, bad.what))
            if len(problems) >= _TOLD or header.problems:
                break
    except csv.Error as error:
        problems.append(Problem(name, line, "", f"the row is unreadable ({error})"))
    if header is None and not problems:
        problems.append(Problem(name, 1, "", "the file is empty; its first line must name the columns"))
    return found, problems


class _BadCell(Exception):
    def __init__(self, column: str, what: str) -> None:
        self.column, self.what = column, what.rstrip(".")


class _Header:
    """The first row: position of each column."""

    def __init__(self, kind: type[Any], file: str, line: int, cells: list[str]) -> None:
        self.problems: list[Problem] = []
        self.names: list[str] = []
        if len(cells) > limits.MAX_COLUMNS:
            self.problems.append(Problem(file, line, "", f"it has more than {limits.MAX_COLUMNS:,} columns"))
            return
        seen: set[str] = set()
        for number, cell in enumerate(cells, 1):
            try:
                name = tidy_text("name", restored(cell))
            except BadInput as error:
                self.problems.append(Problem(file, line, f"number {number}", error.what))
                name = ""
            if name and name in seen:
                self.problems.append(Problem(file, line, name, "the column appears twice"))
            seen.add(name)
            self.names.append(name)
        self.ours = {column.name: column for column in columns_of(kind)}
        missing = [column.name for column in self.ours.values() if column.required and column.name not in self.names]
        if len(cells) == 1 and ";" in cells[0]:
            self.problems.append(Problem(file, line, "", "it uses semicolons; save it as CSV with commas"))
        elif missing:
            self.problems.append(
                Problem(file, line, missing[0], f"the column is missing; needed: {', '.join(missing)}")
            )


def _record(kind: type[R], header: _Header, cells: list[str]) -> R:
    if len(cells) != len(header.names):
        raise _BadCell("", f"it has {len(cells)} cells, but the first line has {len(header.names)}")
    row: Row = {}
    extra: list[tuple[str, str]] = []
    for name, cell in zip(header.names, cells, strict=True):
        column = header.ours.get(name)
        if column is not None:
            value = _parsed(column, cell)
            if value is not None or column.kind is Kind.OPTIONAL:
                row[name] = value
        elif cell and not name:
            raise _BadCell("", f"{cell[:30]!r} is in a column without a name")
        elif cell:
            extra.append((name, restored(cell)))
    if extra:
        row["extra"] = json.dumps(extra)
    try:
        return tidy(record_of(kind, row))
    except BadInput as error:
        raise _BadCell(_at_fault(kind, row), f"{error.what} {error.fix}") from None


def _parsed(column: Column, cell: str) -> Cell:
    """Value of a cell; None if it is empty and the record has a default."""
    plain = cell.strip()
    if column.kind is Kind.TEXT:
        return restored(cell)
    if not plain:
        if column.required:
            raise _BadCell(column.name, "it is empty")
        return None
    shown = repr(plain[:30])
    if column.kind is Kind.WORD:
        if plain.lower() not in column.words:
            raise _BadCell(column.name, f"{shown} is not one of {', '.join(column.words)}")
        return plain.lower()
    try:
        number = number_of(plain)
    except ValueError:
        hint = "; write it with a decimal point" if "," in plain else ""
        raise _BadCell(column.name, f"{shown} is not a number{hint}") from None
    if column.kind is Kind.WHOLE:
        if number != int(number):
            raise _BadCell(column.name, f"{shown} is not a whole number")
        return int(number)
    return number


def _at_fault(kind: type[Any], row: Row) -> str:
    """Column whose cell invalidates an otherwise valid record, or empty if only the combination is invalid."""
    sound = row_of(_SOUND[kind])
    for name, cell in row.items():
        trial: dict[str, Any] = {**sound, name: cell}
        try:
            tidy(record_of(kind, trial))
        except BadInput:
            return name
    return ""
