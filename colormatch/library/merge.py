"""Bring an exchange folder into a library: first said what would happen, then done as one step that can be undone.

A paint is known by its name; a swatch by what was painted, on which ground, when, and in which photo; a clear coat by
its name and the bare color under it. What the two sides say beyond that is compared field by field.
"""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from colormatch.library import backup
from colormatch.library.columns import R, Record
from colormatch.library.exchange import Exchange, read_exchange
from colormatch.library.store import Library, Stored
from colormatch.records import ClearCoatPair, Flag, Paint, Swatch


class Fate(StrEnum):
    """What becomes of an incoming record."""

    #: The library has none like it; it is added.
    NEW = "new"
    #: It says more than the library's, and nothing against it; the gaps are filled.
    CHANGED = "changed"
    #: It says something else; the caller decides, see :class:`Conflicts`.
    CONFLICT = "conflict"
    #: It says nothing new; nothing is done.
    SAME = "same"


class Conflicts(StrEnum):
    """What to do with a conflict."""

    #: Keep the library's record.
    MINE = "mine"
    #: Take the incoming one; gaps in it are filled from the library's.
    THEIRS = "theirs"
    #: Keep the library's and add the incoming one as a further measurement; of a paint, keep the library's.
    BOTH = "both"


@dataclass(frozen=True)
class Incoming:
    """One record of the exchange folder, against the library."""

    fate: Fate
    theirs: Record
    #: The library's record that it was compared with; None for a new one.
    mine: Stored[Any] | None = None


@dataclass(frozen=True)
class ImportPlan:
    """What an import does, or has done."""

    items: tuple[Incoming, ...]
    #: Doubts about the folder.
    flags: tuple[Flag, ...]

    def counts(self) -> dict[str, dict[str, int]]:
        """Number of records by kind (``paints``, ``swatches``, ``clear_coats``) and fate."""
        names = {Paint: "paints", Swatch: "swatches", ClearCoatPair: "clear_coats"}
        counted = Counter((type(item.theirs), item.fate) for item in self.items)
        return {name: {fate.value: counted[kind, fate] for fate in Fate} for kind, name in names.items()}


def import_exchange(
    library: Library, source: Path, *, preview: bool = False, conflicts: Conflicts = Conflicts.MINE
) -> ImportPlan:
    """Import an exchange folder or zip file.

    Parameters
    ----------
    library : Library
    source : Path
    preview : bool
        Only say what would be done.
    conflicts : Conflicts
        What to do where both sides say something else.

    Returns
    -------
    ImportPlan
        What was, or would be, done with each record.

    Raises
    ------
    ExchangeError
        The source is unsafe or not sound as a whole; nothing was imported.
    LibraryUnwritable
        Folder or disk refuses; nothing was imported.
    """
    exchange = read_exchange(source)
    plan = _plan(library.all, exchange)
    if preview or all(item.fate is Fate.SAME for item in plan.items):
        return plan
    backup.back_up(library.database, "before-import")
    _keep_photos(library, exchange, plan)
    with library.step(f"imported {source.name}") as step:
        # Planned again inside the transaction: another window may have written since.
        plan = _plan(step.all, exchange)
        for item in plan.items:
            if item.fate is Fate.NEW:
                step.add(item.theirs)
            elif item.fate is Fate.CHANGED:
                assert item.mine is not None
                step.edit(item.mine.id, _filled(item.mine.record, item.theirs))
            elif item.fate is Fate.CONFLICT:
                assert item.mine is not None
                if conflicts is Conflicts.THEIRS:
                    step.edit(item.mine.id, _filled(item.theirs, item.mine.record))
                elif conflicts is Conflicts.BOTH and not isinstance(item.theirs, Paint):
                    step.add(item.theirs)
    return plan


def _keep_photos(library: Library, exchange: Exchange, plan: ImportPlan) -> None:
    wanted = {
        item.theirs.photo for item in plan.items if isinstance(item.theirs, Swatch) and item.fate is not Fate.SAME
    }
    with exchange.photo_reader() as files:
        for sha256 in sorted(wanted & exchange.photos.keys()):
            name = exchange.photos[sha256]
            library.photos.add(files.read(name), name)


def _plan(mine: Callable[[type[Any]], tuple[Stored[Any], ...]], exchange: Exchange) -> ImportPlan:
    shelf = exchange.shelf
    items = [
        *_compare(mine(Paint), shelf.paints, lambda paint: paint.name),
        *_compare(mine(Swatch), shelf.swatches, _swatch_key),
        *_compare(mine(ClearCoatPair), shelf.clear_coats, lambda pair: (pair.name, pair.on, pair.bare_lab)),
    ]
    return ImportPlan(tuple(items), exchange.flags)


def _swatch_key(swatch: Swatch) -> Hashable:
    return (
        swatch.paint, swatch.paint_parts, swatch.water_parts, swatch.coats, swatch.ground, swatch.ground_lab,
        swatch.state, swatch.taken, swatch.photo,
    )  # fmt: skip


def _compare(mine: Iterable[Stored[R]], theirs: Sequence[R], key: Callable[[R], Hashable]) -> list[Incoming]:
    """Pair the records of both sides: equal ones first, then those of one key in their order."""
    equal: defaultdict[R, deque[Stored[R]]] = defaultdict(deque)
    for stored in mine:
        equal[stored.record].append(stored)
    partners: list[Stored[R] | None] = [equal[record].popleft() if equal.get(record) else None for record in theirs]
    similar: defaultdict[Hashable, deque[Stored[R]]] = defaultdict(deque)
    for stored in sorted((stored for rest in equal.values() for stored in rest), key=lambda stored: stored.id):
        similar[key(stored.record)].append(stored)
    items = []
    for record, partner in zip(theirs, partners, strict=True):
        if partner is None and similar.get(key(record)):
            partner = similar[key(record)].popleft()
        items.append(Incoming(_fate(record, partner), record, partner))
    return items


def _fate(theirs: R, mine: Stored[R] | None) -> Fate:
    if mine is None:
        return Fate.NEW
    filled = _filled(mine.record, theirs)
    if filled == mine.record:
        # Nothing to fill: the same, or it differs where the library has its own word.
        return Fate.SAME if _filled(theirs, mine.record) == mine.record else Fate.CONFLICT
    return Fate.CHANGED if filled == _filled(theirs, mine.record) else Fate.CONFLICT


def _filled(record: R, other: R) -> R:
    """The record, with what it leaves empty taken from the other."""
    changes: dict[str, Any] = {}
    for item in fields(record):
        own, foreign = getattr(record, item.name), getattr(other, item.name)
        if item.name == "extra":
            changes["extra"] = tuple(sorted({**dict(foreign), **dict(own)}.items()))
        elif own in ("", None):
            changes[item.name] = foreign
    return replace(record, **changes)
