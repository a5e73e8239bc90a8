"""Merge an exchange folder into a library: preview first, then one step that can be undone.

Paints, grounds, chips and cards are matched by name, ignoring capitals and spaces; swatches by wash, ground, date and
photo; clear coats by name and bare color; repairs by starting time. Their other fields are compared one by one.
"""

from __future__ import annotations

from collections import Counter, defaultdict, deque
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

from colormatch.errors import ColorMatchError
from colormatch.library import backup
from colormatch.library.changes import Changes
from colormatch.library.columns import WORDS, R, Record
from colormatch.library.database import explained
from colormatch.library.exchange import Exchange, read_exchange
from colormatch.library.photos import is_whole
from colormatch.library.pictures import Pictures
from colormatch.library.progress import Progress, told
from colormatch.library.sharing.names import record_renamed, repair_renamed
from colormatch.library.store import Library, SavedRepair, Stored
from colormatch.records import (
    CameraPhoto,
    ClearCoatPair,
    Flag,
    FlagCode,
    Ground,
    OwnCard,
    Paint,
    ShopChip,
    Swatch,
    name_key,
)
from colormatch.wash.doubts import no_trace


class Fate(StrEnum):
    """Result for an incoming record."""

    #: The library has no such record; it is added.
    NEW = "new"
    #: It adds to the library's record without contradicting it; gaps are filled.
    CHANGED = "changed"
    #: It contradicts the library's record; the caller decides, see :class:`Conflicts`.
    CONFLICT = "conflict"
    #: It adds nothing; the library's record stays.
    SAME = "same"


class Conflicts(StrEnum):
    """How to resolve a conflict."""

    #: Keep the library's record.
    MINE = "mine"
    #: Take the incoming one; gaps in it are filled from the library's.
    THEIRS = "theirs"
    #: Keep the library's and add the incoming one as a further measurement or repair; for records identified by name,
    #: keep the library's.
    BOTH = "both"


#: Everyday plural of each kind, with ``_`` for a space.
PLURALS: dict[type, str] = {
    Paint: "paints",
    Swatch: "swatches",
    ClearCoatPair: "clear_coats",
    Ground: "grounds",
    ShopChip: "chips",
    OwnCard: "cards",
    CameraPhoto: "camera_photos",
    SavedRepair: "repairs",
}


def counted(number: int, plural: str) -> str:
    """Count of records of one of :data:`PLURALS`, or of photos: ``1 swatch``, ``2 clear coats``."""
    words = plural.replace("_", " ")
    return f"{number} {words.removesuffix('es' if words.endswith('ches') else 's') if number == 1 else words}"


@dataclass(frozen=True)
class Incoming:
    """One record or repair of the exchange folder, compared with the library."""

    fate: Fate
    theirs: Record | SavedRepair
    #: The library's record it was compared with; None for a new one.
    mine: Stored[Any] | None = None

    def differences(self) -> tuple[str, ...]:
        """Fields that differ between the two."""
        if self.mine is None:
            return ()
        return tuple(
            item.name
            for item in fields(self.theirs)
            if getattr(self.theirs, item.name) != getattr(self.mine.record, item.name)
        )


@dataclass(frozen=True)
class ImportPlan:
    """Actions of an import, planned or done."""

    items: tuple[Incoming, ...]
    #: Doubts about the folder.
    flags: tuple[Flag, ...]

    def counts(self) -> dict[str, dict[str, int]]:
        """Number of records by kind (:data:`PLURALS`) and fate."""
        counted = Counter((type(item.theirs), item.fate) for item in self.items)
        return {name: {fate.value: counted[kind, fate] for fate in Fate} for kind, name in PLURALS.items()}


def import_exchange(
    library: Library,
    source: Path,
    *,
    preview: bool = False,
    conflicts: Conflicts = Conflicts.MINE,
    progress: Progress | None = None,
) -> ImportPlan:
    """Import an exchange folder or zip file.

    Parameters
    ----------
    library : Library
    source : Path
    preview : bool
        Only show what would be done.
    conflicts : Conflicts
        How to resolve conflicts.
    progress : Progress, optional

    Returns
    -------
    ImportPlan
        Actions done or planned for each record.

    Raises
    ------
    ExchangeError
        The source is unsafe or invalid; nothing was imported.
    LibraryUnwritable
        The folder or disk refuses; nothing was imported.
    """
    shelf = [_name(stored.record) for stored in library.all(Paint)]
    exchange = _in_own_names(library, read_exchange(source, progress, shelf=shelf))
    plan = _plan(library, exchange)
    wanted = {photo for item in plan.items if item.fate is not Fate.SAME for photo in _photos_of(item.theirs)}
    # Photos that are missing or damaged in the library's folder are restored by the same record.
    kept = {sha256: path for sha256, path in library.photos.all().items() if sha256 in exchange.photos}
    looked_at = told(kept.items(), len(kept), "Checking photos", progress)
    healed = {sha256 for sha256, path in looked_at if not is_whole(path, sha256)}
    wanted = (wanted | healed) & exchange.photos.keys()
    if preview or (all(item.fate is Fate.SAME for item in plan.items) and not wanted):
        return replace(plan, flags=(*plan.flags, *_healing(healed)))
    backup.back_up(library.database, "before-import")
    files: list[Path] = []
    try:
        with explained(library.folder), exchange.photo_reader() as source_files:
            names = [exchange.photos[sha256] for sha256 in sorted(wanted)]
            pictures = Pictures(source_files, names, "Importing photos", progress)
            for path in library.photos.put_files(pictures):
                files.append(path)  # one by one, so that those before a failure are known
        refused = set(pictures.refused)
        plan = replace(plan, flags=(*plan.flags, *_healing(healed - refused), *pictures.flags))
        exchange = _renamed(exchange, dict.fromkeys(refused - kept.keys(), ""))
        with library.step(f"imported {source.name}") as step:
            # Planned again inside the transaction: another window may have written in the meantime.
            plan = replace(_plan(step, exchange), flags=plan.flags)
            for item in plan.items:
                _apply(step, item, conflicts)
    except BaseException:
        with suppress(ColorMatchError):
            library.photos.discard(files)
        raise
    return plan


def _in_own_names(library: Library, exchange: Exchange) -> Exchange:
    """Map photos that this library exported back to its own names."""
    return _renamed(exchange, library.shared(exchange.photos))


def _renamed(exchange: Exchange, names: Mapping[str, str]) -> Exchange:
    """With photos under other names, or without those whose new name is empty."""
    if not names:
        return exchange
    return replace(
        exchange,
        records={kind: tuple(record_renamed(one, names) for one in rows) for kind, rows in exchange.records.items()},
        repairs=tuple(repair_renamed(one, names) for one in exchange.repairs),
        photos={sha256: name for sha256, name in exchange.photos.items() if sha256 not in names},
    )


def _healing(photos: set[str]) -> tuple[Flag, ...]:
    """Flag for photos that are missing or damaged in the library and present in the import."""
    if not photos:
        return ()
    which = (
        "1 photo that is missing or damaged in your library comes"
        if len(photos) == 1
        else (f"{len(photos)} photos that are missing or damaged in your library come")
    )
    return (Flag(FlagCode.PHOTOS_HEALED, f"{which} back with it.", len(photos)),)


def _photos_of(record: Record | SavedRepair) -> tuple[str, ...]:
    if isinstance(record, SavedRepair):
        return record.photos
    return (record.photo,) if isinstance(record, Paint | Swatch) and record.photo else ()


def _apply(step: Changes, item: Incoming, conflicts: Conflicts) -> None:
    theirs, mine = item.theirs, item.mine
    if item.fate is Fate.NEW:
        # Two new records with similar names are separate in their own library too.
        step.add_repair(theirs) if isinstance(theirs, SavedRepair) else step.add(theirs, even_if_alike=True)
    elif item.fate is Fate.CHANGED:
        assert mine is not None
        step.edit(mine.id, _filled(mine.record, theirs))
    elif item.fate is Fate.CONFLICT and conflicts is Conflicts.THEIRS:
        assert mine is not None
        if isinstance(theirs, SavedRepair):
            step.edit_repair(mine.id, theirs)
        else:
            # The library's spelling of a name stays, since swatches refer to it.
            kept = {} if isinstance(theirs, Swatch) else {"name": mine.record.name}
            step.edit(mine.id, replace(_filled(theirs, mine.record), **kept))
    elif item.fate is Fate.CONFLICT and conflicts is Conflicts.BOTH:
        if isinstance(theirs, SavedRepair):
            step.add_repair(theirs)
        elif isinstance(theirs, Swatch | ClearCoatPair):
            step.add(theirs)


def _plan(mine: Library | Changes, exchange: Exchange) -> ImportPlan:
    flags = list(exchange.flags)
    items: list[Incoming] = []
    spelled: dict[str, str] = {}
    for kind in (Paint, Ground, ShopChip, OwnCard, CameraPhoto):
        compared = _compare(mine.all(kind), exchange.records[kind], [_name, _alike])
        for theirs, ours in ((_name(item.theirs), _name(item.mine.record)) for item in compared if item.mine):
            if theirs != ours:
                flags.append(Flag(FlagCode.ALIKE, f"The {WORDS[kind]} {theirs} is treated as your {ours}."))
                if kind is Paint:
                    spelled[theirs] = ours
        items += compared
    theirs_too = {paint.name for paint in exchange.records[Paint]}
    ours_by_key = {name_key(stored.record.name): stored.record.name for stored in mine.all(Paint)}
    for paint in {swatch.paint for swatch in exchange.records[Swatch]} - theirs_too:
        spelled[paint] = ours_by_key.get(name_key(paint), paint)
    swatches = [
        replace(swatch, paint=spelled[swatch.paint]) if swatch.paint in spelled else swatch
        for swatch in exchange.records[Swatch]
    ]
    compared_swatches = _compare(mine.all(Swatch), swatches, [_swatch_key, _reading])
    incoming = (swatch for swatch, item in zip(swatches, compared_swatches, strict=True) if item.fate is not Fate.SAME)
    flags += filter(None, map(no_trace, incoming))
    items += compared_swatches
    items += _compare(mine.all(ClearCoatPair), exchange.records[ClearCoatPair], [_pair_key])
    items += _compare_repairs(mine.repairs(), exchange.repairs)
    return ImportPlan(tuple(items), tuple(flags))


def _name(record: Any) -> str:
    return str(record.name)


def _alike(record: Any) -> Hashable:
    return name_key(record.name)


def _pair_key(pair: ClearCoatPair) -> Hashable:
    return pair.name, pair.on, pair.bare_lab


def _swatch_key(swatch: Swatch) -> Hashable:
    return (
        swatch.paint, swatch.paint_parts, swatch.water_parts, swatch.coats, swatch.ground, swatch.ground_lab,
        swatch.state, swatch.taken, swatch.photo,
    )  # fmt: skip


def _reading(swatch: Swatch) -> Hashable:
    """Identity of a swatch without its photo."""
    return replace(swatch, photo="", region=(), notes="", measured="", extra=())


def _compare(mine: Iterable[Stored[R]], theirs: Sequence[R], keys: Sequence[Callable[[R], Hashable]]) -> list[Incoming]:
    """Pair the records of both sides: equal ones first, then in order those with equal keys, for each key in turn."""
    left = {stored.id: stored for stored in mine}
    partners: list[Stored[R] | None] = [None] * len(theirs)

    def same(record: R) -> Hashable:
        return record

    for key in (same, *keys):
        free: defaultdict[Hashable, deque[int]] = defaultdict(deque)
        for id, stored in left.items():
            free[key(stored.record)].append(id)
        for place, record in enumerate(theirs):
            if partners[place] is None and free.get(key(record)):
                partners[place] = left.pop(free[key(record)].popleft())
    return [Incoming(_fate(record, partner), record, partner) for record, partner in zip(theirs, partners, strict=True)]


def _compare_repairs(mine: Iterable[Stored[SavedRepair]], theirs: Iterable[SavedRepair]) -> list[Incoming]:
    """Pair repairs by starting time; several with the same time (or none) by their content."""
    free: defaultdict[str, list[Stored[SavedRepair]]] = defaultdict(list)
    for stored in mine:
        free[stored.record.created].append(stored)
    items = []
    for repair in theirs:
        rivals = free[repair.created]
        equal = [stored for stored in rivals if _says_no_more(repair, stored.record)]
        partner = next(iter(equal or rivals), None)
        if partner is None:
            items.append(Incoming(Fate.NEW, repair))
        else:
            rivals.remove(partner)
            items.append(Incoming(Fate.SAME if equal else Fate.CONFLICT, repair, partner))
    return items


def _says_no_more(theirs: SavedRepair, mine: SavedRepair) -> bool:
    """Whether it is the same repair, whenever it was last saved; photos may be missing."""
    return replace(theirs, changed="", photos=()) == replace(mine, changed="", photos=()) and (
        set(theirs.photos) <= set(mine.photos)
    )


def _fate(theirs: R, mine: Stored[R] | None) -> Fate:
    if mine is None:
        return Fate.NEW
    filled = _filled(mine.record, theirs)
    if filled == mine.record:
        # Nothing to fill: it is the same, or differs in a field that the library has.
        return Fate.SAME if _filled(theirs, mine.record) == mine.record else Fate.CONFLICT
    return Fate.CHANGED if filled == _filled(theirs, mine.record) else Fate.CONFLICT


def _filled(record: R, other: R) -> R:
    """The record with its empty fields filled from the other."""
    changes: dict[str, Any] = {}
    for item in fields(record):
        own, foreign = getattr(record, item.name), getattr(other, item.name)
        if item.name == "extra":
            changes["extra"] = tuple(sorted({**dict(foreign), **dict(own)}.items()))
        elif own in ("", None, ()):
            changes[item.name] = foreign
    return replace(record, **changes)
