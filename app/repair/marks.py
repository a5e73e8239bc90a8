"""Marked regions, exchanged between library, page and browser."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Self

from app.cache import Reference
from app.repair.document import CONVERTER, read
from colormatch.errors import BadInput, RegionError
from colormatch.records import CardKind, Region, RegionKind
from colormatch.reference.card_choice import CardChoice, parse_card_value


@dataclass(frozen=True)
class Edit:
    """The user's marks, with their time."""

    #: SHA-256 of the photo.
    photo: str
    #: Increases with every edit: milliseconds since 1970, or slightly above the previous stamp if a clock was ahead.
    stamp: int
    regions: tuple[Region, ...]
    #: Stamps of the states it is based on: the program's state in the browser, and the browser's own edits since.
    bases: tuple[int, ...] = ()
    #: All regions of those states; the first ``seen`` are the program's.
    was: tuple[Region, ...] = ()
    seen: int = 0


def joined(held: Edit, edit: Edit) -> Edit | None:
    """Merge an edit into the stored state; None if it changes nothing or belongs to another photo.

    Two windows may work on one photo. An edit of outdated regions removes what it removed and adds what it added; marks
    made meanwhile in the other window stay. For a mark moved in both, the later move wins (:func:`overtaken`).
    """
    if edit.photo != held.photo or _is(held, edit):
        return None
    if held.stamp in edit.bases:
        return edit
    over = overtaken(held, edit)
    kept = [
        region for region in held.regions if region not in over and (region not in edit.was or region in edit.regions)
    ]
    added = [region for region in edit.regions if region not in edit.was and region not in kept]
    if any(region.kind is RegionKind.CARD for region in added):
        kept = [region for region in kept if region.kind is not RegionKind.CARD]
    regions = (*kept, *added)
    if regions == held.regions:
        return None
    return Edit(held.photo, max(held.stamp, edit.stamp) + 1, regions)


def overtaken(held: Edit, edit: Edit) -> tuple[Region, ...]:
    """Marks moved by another window that an edit moves too.

    Only if the correspondence is certain: every missing mark of a kind has a replacement.
    """
    if edit.photo != held.photo or _is(held, edit) or held.stamp in edit.bases:
        return ()
    over: list[Region] = []
    seen = edit.was[: edit.seen]
    for kind in RegionKind:
        gone = [region for region in seen if region.kind is kind and region not in held.regions]
        theirs = [region for region in held.regions if region.kind is kind and region not in edit.was]
        own_gone = [region for region in seen if region.kind is kind and region not in edit.regions]
        own = [region for region in edit.regions if region.kind is kind and region not in edit.was]
        own = [region for region in own if region not in theirs]
        if len(theirs) != len(gone) or len(own) < len(own_gone):
            continue
        for region in gone:
            nearest = min(theirs, key=lambda one: math.dist(_middle(one), _middle(region)))
            theirs.remove(nearest)
            if region in own_gone:
                over.append(nearest)
    return tuple(over)


def _is(held: Edit, edit: Edit) -> bool:
    """Whether an edit equals the stored one; two windows with slow clocks may use one stamp."""
    return edit.stamp == held.stamp and edit.regions == held.regions


def _middle(region: Region) -> tuple[float, ...]:
    return tuple(sum(places) / len(places) for places in zip(*region.points, strict=True))


def stamp_after(stamp: int) -> int:
    """Stamp for regions set by the program: newer than in any browser."""
    return max(stamp + 1, int(time.time() * 1000))


@dataclass(frozen=True, kw_only=True)
class Marked:
    """A photo and the regions marked in it."""

    #: SHA-256 in the library's photos; empty until one is chosen.
    photo: str = ""
    #: Stamp of the last edit of the regions; see :class:`Edit`.
    stamp: int = 0
    regions: tuple[Region, ...] = ()
    #: Whether the program has searched for the card in this photo.
    searched: bool = False

    @property
    def edit(self) -> Edit:
        """Its regions, for the editor."""
        return Edit(self.photo, self.stamp, self.regions)

    def of_kind(self, kind: RegionKind) -> tuple[Region, ...]:
        """Its regions of one kind."""
        return tuple(region for region in self.regions if region.kind is kind)

    def named(self, names: Mapping[RegionKind, str]) -> tuple[Region, ...]:
        """Its regions of some kinds, named by kind and numbered if there are several; strips always are."""
        named = []
        for kind, name in names.items():
            found = self.of_kind(kind)
            many = len(found) > 1 or kind is RegionKind.STRIP
            named += [replace(one, name=f"{name} {n}" if many else name) for n, one in enumerate(found, 1)]
        return tuple(named)

    @property
    def card_region(self) -> Region | None:
        """Region of the card."""
        return next(iter(self.of_kind(RegionKind.CARD)), None)

    def with_regions(self, *regions: Region) -> Self:
        """A copy with other regions, set by the program."""
        return replace(self, regions=regions, stamp=stamp_after(self.stamp))

    def with_edit(self, edit: Edit) -> Self | None:
        """A copy with an edit merged; None if nothing changes. See :func:`joined`."""
        taken = joined(self.edit, edit)
        return None if taken is None else replace(self, regions=taken.regions, stamp=taken.stamp)


#: Instead of a light: the gray card alone counts.
ALONE = "alone"


@dataclass(frozen=True, kw_only=True)
class MarkedByCard(Marked):
    """A marked photo with the user's description of its card."""

    card_kind: CardKind = CardKind.GRAY
    #: Value stated by the card's maker, as typed; empty: the usual value of its kind.
    card_value: str = ""
    #: Light in which what was learned of the photo's camera is used, or `ALONE`; empty: the only one it was learned in.
    through: str = ""

    @property
    def has_card(self) -> bool:
        """Whether colors can be read: a card is marked, or declared absent."""
        return self.card_kind is CardKind.NONE or self.card_region is not None

    def reference(self) -> Reference:
        """Reference for correcting the photo's colors; an unmarked card is searched for.

        Raises
        ------
        BadInput
            The card's value is invalid.
        """
        return self.by_card(self.card_region)

    def by_card(self, marked: Region | None) -> Reference:
        """The same card, marked in another photo.

        Raises
        ------
        BadInput
            Its value is invalid.
        """
        if self.card_kind is CardKind.NONE:
            return Reference(CardChoice(CardKind.NONE))
        return Reference(CardChoice(self.card_kind, parse_card_value(self.card_value, self.card_kind), region=marked))


#: Name of a region found by the program and not yet corrected.
FOUND = "found"


@CONVERTER.register_unstructure_hook
def _plain_region(region: Region) -> dict[str, Any]:
    name = {"auto": True} if region.name == FOUND else {"name": region.name} if region.name else {}
    return {"kind": region.kind.value, "points": [list(point) for point in region.points], **name}


@CONVERTER.register_structure_hook
def _region(held: Any, _: Any) -> Region:
    points = read(held["points"], tuple[tuple[float, float], ...])
    name = FOUND if held.get("auto") else read(held.get("name", ""), str)
    return Region(RegionKind(held["kind"]), tuple((float(x), float(y)) for x, y in points), name)


def from_document(document: object) -> tuple[Region, ...]:
    """Parse the regions sent by a browser.

    Raises
    ------
    RegionError
        A shape has fewer than three corners or reaches outside the photo, or the document is invalid.
    """
    try:
        return read(document, tuple[Region, ...])
    except RegionError:
        raise
    except BadInput:
        raise RegionError("The marks in the photo are unreadable.", "Reload the page and draw them again.") from None
