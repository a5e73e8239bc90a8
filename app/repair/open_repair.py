"""A repair, as far as it has come: what it holds, how the library keeps it, what it still needs."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

from app.cache import Aim, Reference
from app.repair import dried, history, work
from app.repair.dried import Dried
from app.repair.marks import MarkedByCard, as_document, from_document
from app.repair.well_formed import well_formed
from app.repair.work import Mixing, PickedRecipe, Progress
from colormatch.errors import BadInput, ColorMatchError
from colormatch.library import SavedRepair, Stored
from colormatch.mixing.schedule import Times
from colormatch.records import (
    CardKind,
    Lab,
    Layer,
    Limits,
    Part,
    Region,
    RegionKind,
    ShopChip,
    SurfaceState,
)

#: The size of a damage that nobody has said yet: so that the amounts can be looked at.
STAND_IN = "40 cm2"


@dataclass(frozen=True)
class OpenRepair(MarkedByCard):
    """One repair, as far as it has come."""

    #: Number in the library; None until there is something to keep.
    id: int | None = None
    name: str = ""
    #: Name of the card in the library that kind and value are of; empty: none of them.
    own_card: str = ""
    sound_state: SurfaceState = SurfaceState.BARE
    damage_state: SurfaceState = SurfaceState.BARE
    #: Whether it was still wet when the photo was taken.
    sound_wet: bool = False
    damage_wet: bool = False
    limits: Limits = field(default_factory=Limits)
    aim: Aim = field(default_factory=Aim)
    #: Which damage the washes are ranked for, counted from 1; 0: all of them taken together.
    spot: int = 0
    #: Whether it is the example, with a line on each page that says what to look at.
    guided: bool = False
    #: Rank of the wash that was picked.
    picked: int = 1
    #: How large the damage is, and the smallest measure at hand, as typed and chosen on the Mix page.
    area: str = STAND_IN
    smallest: str = "1 ml"
    mixing: Mixing = field(default_factory=Mixing)
    times: Times = field(default_factory=Times)
    progress: Progress = field(default_factory=Progress)
    #: The wash as it was picked; None until somebody goes to mix it.
    recipe: PickedRecipe | None = None
    #: What Check advised to lay over the dried repair, once somebody goes to mix it; Mix then shows it instead.
    over: PickedRecipe | None = None
    check: Dried = field(default_factory=Dried)

    @property
    def surfaces(self) -> tuple[Region, ...]:
        """What is to be read, named as the editor labels it: sound wood and damage."""
        return self.named(SURFACES)

    @property
    def to_match(self) -> tuple[Region, ...]:
        """Those of `surfaces` that washes are ranked for: of several damages only one where that was chosen."""
        surfaces = self.surfaces
        damage = [region for region in surfaces if region.kind is RegionKind.DAMAGE]
        if not 0 < self.spot <= len(damage):
            return surfaces
        return tuple(r for r in surfaces if r.kind is not RegionKind.DAMAGE or r is damage[self.spot - 1])

    def reference(self, settled: Sequence[ShopChip] = ()) -> Reference:
        """The card, and where there is one what helps it: white places, and those chips whose color is settled."""
        by_card = super().reference()
        white = () if self.card_kind is CardKind.NONE else self.of_kind(RegionKind.WHITE)
        known = {chip.name: chip for chip in settled}
        chips = tuple(region for region in self.of_kind(RegionKind.CHIP) if region.name in known)
        return replace(by_card, white=white, chips=chips, settled=tuple(known[chip.name] for chip in chips))


#: The surfaces that a repair reads, and what a page calls them.
SURFACES = {kind: kind.words.capitalize() for kind in (RegionKind.SOUND, RegionKind.DAMAGE)}


#: The limits a person sets on the Match page, besides what goes over the whole piece.
_LIMITS = ("coats", "layers", "mix", "paints", "on_hand", "smallest_ml", "clear", "invented")


#: Fields that undo leaves alone: they follow from the others or from the photo.
APART = frozenset({"photo", "stamp", "searched", "progress", "recipe", "over", "check"})


def document_of(repair: OpenRepair) -> history.Document:
    plain = {one.name: getattr(repair, one.name) for one in fields(repair) if one.name != "id"}
    return plain | {
        "regions": as_document(repair.regions),
        **{name: work.document(getattr(repair, name)) for name in ("mixing", "times", "progress", "recipe", "over")},
        "limits": {name: getattr(repair.limits, name) for name in _LIMITS}
        | {"paints": list(repair.limits.paints)}
        | {"then": [_layer_document(layer) for layer in repair.limits.then]},
        "check": dried.document(repair.check),
        "aim": vars(repair.aim) | {"kept": list(repair.aim.kept) if repair.aim.kept else None},
    }


def _layer_document(layer: Layer) -> dict[str, Any]:
    return {
        "paints": [[part.paint, part.parts] for part in layer.paints],
        "paint_fraction": layer.paint_fraction,
        "coats": layer.coats,
    }


def _limits(held: dict[str, Any]) -> Limits:
    then = tuple(
        Layer(tuple(Part(*part) for part in one["paints"]), one["paint_fraction"], one["coats"])
        for one in held.get("then", [])
    )
    return Limits(**held | {"paints": tuple(held.get("paints", ())), "then": then})


def _aim(held: dict[str, Any]) -> Aim:
    return Aim(**held | {"kept": Lab(*held["kept"]) if held.get("kept") else None})


#: From a field of the document to the field of the repair, where they differ.
_READ: dict[str, Callable[[Any], Any]] = {
    "regions": from_document,
    "card_kind": CardKind,
    "sound_state": SurfaceState,
    "damage_state": SurfaceState,
    "limits": _limits,
    "aim": _aim,
    "mixing": work.mixing_from,
    "times": lambda held: Times(**held),
    "progress": work.progress_from,
    "recipe": work.recipe_from,
    "over": work.recipe_from,
    "check": dried.dried_from,
}


def opened(stored: Stored[SavedRepair]) -> OpenRepair:
    """A saved repair; what an earlier version did not know yet has its usual value.

    Raises
    ------
    BadInput
        It holds what no version of the program writes. It is kept as it is.
    """
    try:
        document = json.loads(stored.record.document)
        held = {**document, "id": stored.id, "name": stored.record.name}
        known = [one.name for one in fields(OpenRepair) if one.name in held]
        repair = OpenRepair(**{name: _READ[name](held[name]) if name in _READ else held[name] for name in known})
        sound = well_formed(repair, OpenRepair) and history.is_sound(document)
    except (ArithmeticError, AttributeError, ColorMatchError, LookupError, RecursionError, TypeError, ValueError):
        sound = False
    if not sound:
        raise BadInput(
            f"The repair '{stored.record.name}' can't be opened: another version of the program wrote it, or it was "
            "damaged.",
            "It is kept as it is: open it with the version that wrote it, or take another one on the Jobs page.",
        )
    return repair


def lacking(repair: OpenRepair) -> str:
    """What a repair still needs before washes can be ranked, in a sentence; empty where nothing is missing."""
    if not repair.photo:
        return "Choose a photo first."
    if not repair.has_card:
        return "The card is not marked in the photo."
    for kind in SURFACES:
        if not repair.of_kind(kind) and (kind is RegionKind.DAMAGE or repair.aim.kept is None):
            return f"No {kind.words} is marked in the photo."
    for wet, kind in ((repair.sound_wet, RegionKind.SOUND), (repair.damage_wet, RegionKind.DAMAGE)):
        if wet:
            return (
                f"The {kind.words} was wet when it was photographed. Wood and paint change color as they dry: let it "
                "dry, then take the photo again."
            )
    return ""
