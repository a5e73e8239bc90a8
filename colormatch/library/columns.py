"""Records as rows of plain cells, the common form of the database, its undo history and the exchange files.

A row is a ``dict`` from column name to text, number or None. A color field ``x_lab`` takes the three columns ``x_L``,
``x_a``, ``x_b`` (the field ``lab``: ``L``, ``a``, ``b``); every other field takes the column of its own name. Corners
are written ``x,y x,y ...``.
"""

from __future__ import annotations

import json
import math
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime
from enum import StrEnum
from typing import Any, TypeVar, get_type_hints

from colormatch.errors import BadInput
from colormatch.records import CameraPhoto, ClearCoatPair, Ground, Lab, OwnCard, Paint, ShopChip, Swatch, tidy_name

Record = Paint | Swatch | ClearCoatPair | Ground | ShopChip | OwnCard | CameraPhoto
R = TypeVar("R", bound=Record)
Cell = str | int | float | None
Row = dict[str, Cell]

#: Table of each kind of record, in an order that allows writing: a swatch needs its paint first.
TABLES: dict[type, str] = {
    Paint: "paint",
    Swatch: "swatch",
    ClearCoatPair: "clear_coat",
    Ground: "ground",
    ShopChip: "chip",
    OwnCard: "card",
    CameraPhoto: "camera_photo",
}
#: Everyday word for one record of each kind.
WORDS: dict[type, str] = {
    Paint: "paint",
    Swatch: "swatch",
    ClearCoatPair: "clear coat",
    Ground: "ground",
    ShopChip: "shop chip",
    OwnCard: "card",
    CameraPhoto: "camera's photo",
}
#: Columns with names: compared letter for letter, so stripped and in one Unicode form.
NAME_COLUMNS = frozenset({"name", "paint", "ground"})
#: Longest name and longest other text, characters. Our choice: far longer than any label or note.
MAX_NAME, MAX_TEXT = 200, 20_000
#: Largest number in any cell, and thinnest wash of a swatch (volume of paint). Our choice: far outside real values.
MAX_NUMBER, MIN_PAINT_FRACTION = 1e9, 1e-4
#: Control characters allowed in a note; others are not preserved in a text file.
_ALLOWED_CONTROLS = "\t\n\r"
#: Most corners of a swatch's spot in its photo. Our choice: a cell has four, a traced spot a few dozen.
MAX_CORNERS = 200
_Points = tuple[tuple[float, float], ...]


class Kind(StrEnum):
    """Type of a column's content."""

    TEXT = "text"
    NUMBER = "number"
    WHOLE = "whole number"
    #: A number that may be missing.
    OPTIONAL = "number or nothing"
    #: One of the words of an enumeration.
    WORD = "word"


@dataclass(frozen=True)
class Column:
    """One column of a kind of record."""

    name: str
    kind: Kind
    #: Allowed words, for :attr:`Kind.WORD`.
    words: tuple[str, ...] = ()
    #: False if the record has a default for it.
    required: bool = False


@dataclass(frozen=True)
class _Field:
    name: str
    #: Its columns: three for a color, otherwise one.
    columns: tuple[Column, ...]
    #: Enumeration of its text, if any.
    words: type[StrEnum] | None = None
    #: Whether it holds corners, listed as text.
    corners: bool = False


def _find_fields(record: type[Record]) -> tuple[_Field, ...]:
    hints = get_type_hints(record)
    found = []
    for item in fields(record):
        hint, needed = hints[item.name], item.default is item.default_factory  # both are MISSING
        if item.name == "extra":
            continue
        if hint is Lab:
            prefix = item.name.removesuffix("lab")
            columns = tuple(Column(prefix + axis, Kind.NUMBER, required=needed) for axis in Lab._fields)
            found.append(_Field(item.name, columns))
        elif isinstance(hint, type) and issubclass(hint, StrEnum):
            column = Column(item.name, Kind.WORD, tuple(word.value for word in hint), needed)
            found.append(_Field(item.name, (column,), hint))
        elif hint == _Points:
            found.append(_Field(item.name, (Column(item.name, Kind.TEXT),), corners=True))
        else:
            kind = {str: Kind.TEXT, float: Kind.NUMBER, int: Kind.WHOLE}.get(hint, Kind.OPTIONAL)
            found.append(_Field(item.name, (Column(item.name, kind, required=needed),)))
    return tuple(found)


_FIELDS = {record: _find_fields(record) for record in TABLES}


def columns_of(record: type[Record]) -> tuple[Column, ...]:
    """Columns of a kind of record in standard order, without additional columns of an import."""
    return tuple(column for item in _FIELDS[record] for column in item.columns)


def row_of(record: Record) -> Row:
    """Convert a record to a row; additional columns of an import become one JSON text in the column ``extra``.

    Examples
    --------
    >>> row_of(ShopChip("offcut", Lab(62, 9, 25)))
    {'name': 'offcut', 'L': 62, 'a': 9, 'b': 25, 'uncertainty': 1.0, 'notes': '', 'extra': '[]'}
    """
    row: Row = {}
    for item in _FIELDS[type(record)]:
        value = getattr(record, item.name)
        if isinstance(value, Lab):
            row.update(zip((column.name for column in item.columns), value, strict=True))
        elif item.corners:
            row[item.name] = " ".join(f"{x!r},{y!r}" for x, y in value)
        else:
            row[item.name] = str(value) if isinstance(value, StrEnum) else value
    row["extra"] = json.dumps(record.extra, ensure_ascii=False)
    return row


def record_of(record: type[R], row: Mapping[str, Any]) -> R:
    """Convert a row to a record; the inverse of :func:`row_of`.

    Missing columns take the record's default.

    Raises
    ------
    BadInput
        The record's own checks refuse it.
    """
    values: dict[str, Any] = {}
    for item in _FIELDS[record]:
        first = item.columns[0].name
        if len(item.columns) == 3:
            if all(column.name in row for column in item.columns):
                values[item.name] = Lab(*[row[column.name] for column in item.columns])
        elif item.corners and first in row:
            values[item.name] = _corners(row[first])
        elif first in row:
            values[item.name] = item.words(row[first]) if item.words else row[first]
    if row.get("extra", "[]") != "[]":
        values["extra"] = tuple((name, text) for name, text in json.loads(row["extra"]))
    return record(**values)


def _corners(text: str) -> _Points:
    try:
        corners = tuple((number_of(x), number_of(y)) for x, y in (corner.split(",") for corner in text.split()))
    except ValueError:
        corners = None
    if corners is None or len(corners) > MAX_CORNERS:
        raise BadInput(f"'{text[:40]}' is not a list of corners.", "Write each as x,y with a space between them.")
    return corners


# --- text that every file can carry ----------------------------------------------------------------------------------


def tidy(record: R) -> R:
    """The record in the form in which it is kept: names stripped, words of their enumeration, numbers as floats.

    Columns that an import brought along are sorted.

    Raises
    ------
    BadInput
        A text that files can't hold or that is too long, an invalid date, or an additional column named like one of
        ours.
    """
    changes: dict[str, Any] = {}
    for item in _FIELDS[type(record)]:
        value = getattr(record, item.name)
        if item.words:
            changes[item.name] = item.words(value)
        elif isinstance(value, str):
            changes[item.name] = tidy_text(item.name, value)
        elif item.corners:
            changes[item.name] = tuple((float(x) + 0.0, float(y) + 0.0) for x, y in value)
        elif isinstance(value, Lab):
            changes[item.name] = Lab(*(_tidy_number(item.name, number) for number in value))
        elif value is not None:
            number = _tidy_number(item.name, value)
            changes[item.name] = int(number) if item.columns[0].kind is Kind.WHOLE else number
    if isinstance(record, Swatch) and record.paint_fraction < MIN_PAINT_FRACTION:
        raise BadInput(
            f"A swatch of {record.paint} has less than 1 part of paint in {1 / MIN_PAINT_FRACTION:,.0f}.",
            "Check its parts of paint and water.",
        )
    changes["extra"] = _tidy_extra(record)
    return replace(record, **changes)


def _tidy_number(name: str, number: float) -> float:
    if abs(number) > MAX_NUMBER:
        raise BadInput(f"The {name} {number:g} is too large.", f"Keep it under {MAX_NUMBER:,.0f}.")
    return float(number) + 0.0  # takes the sign off a negative zero, which SQLite doesn't keep


def tidy_text(column: str, text: str) -> str:
    """Normalize a text for storage.

    Raises
    ------
    BadInput
        See :func:`tidy`.
    """
    if column in NAME_COLUMNS:
        text = _checked_text(column, tidy_name(text), MAX_NAME)
    else:
        text = _checked_text(column, text, MAX_TEXT)
    if column == "taken" and text:
        _check_date(text)
    if column == "photo" and text and not is_sha256(text):
        raise BadInput(
            f"'{text[:20]}' is not the name of a photo.", "A photo is named by its SHA-256, 64 digits and letters."
        )
    return text


def _checked_text(column: str, text: str, longest: int) -> str:
    if len(text) > longest:
        raise BadInput(f"The {column} is {len(text):,} characters long.", f"Keep it under {longest:,}.")
    if not is_text(text):
        raise BadInput(f"The {column} contains a character that isn't text.", "Type it again.")
    return text


def is_text(text: str) -> bool:
    """Whether a text file preserves every character."""
    # Printable text contains none of them, and is checked a hundred times as fast.
    return text.isprintable() or not any(
        unicodedata.category(c) in ("Cc", "Cs") and c not in _ALLOWED_CONTROLS for c in text
    )


def _check_date(text: str) -> None:
    try:
        datetime.fromisoformat(text)
    except ValueError:
        raise BadInput(f"'{text[:40]}' is not a date.", "Write it as year-month-day, for example 2025-03-31.") from None


def is_sha256(text: str) -> bool:
    """Whether it is a SHA-256 in lowercase hexadecimal."""
    return len(text) == 64 and set(text) <= set("0123456789abcdef")


def _tidy_extra(record: Record) -> tuple[tuple[str, str], ...]:
    ours = {column.name for column in columns_of(type(record))}
    kept: dict[str, str] = {}
    for name, text in record.extra:
        clean = tidy_text("name", name)
        if not clean or clean in ours or clean in kept:
            raise BadInput(f"The name of the extra column '{clean}' is already taken.", "Give it another name.")
        kept[clean] = _checked_text(clean, text, MAX_TEXT)  # whatever its name means elsewhere
    return tuple(sorted((name, text) for name, text in kept.items() if text))


def number_of(text: str) -> float:
    """Parse a finite number with a decimal point.

    Raises
    ------
    ValueError
        It is not a finite number.
    """
    number = float(text)
    if not math.isfinite(number) or "_" in text:
        raise ValueError(text)
    return number
