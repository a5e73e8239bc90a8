"""A repair, as far as it has come: what it holds, how the library keeps it, what it still needs."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace

from app.cache import Aim, Reference
from app.repair import history
from app.repair.document import plain, read
from app.repair.dried import Dried
from app.repair.marks import MarkedByCard
from app.repair.work import Mixing, PickedRecipe, Progress
from colormatch.errors import BadInput, ColorMatchError
from colormatch.library import SavedRepair, Stored
from colormatch.mixing.schedule import Times
from colormatch.records import (
    CardKind,
    Limits,
    Region,
    RegionKind,
    ShopChip,
    SurfaceState,
)

#: Somebody doesn't want a photo to teach.
NOTHING_TAUGHT = "nothing"
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
    #: The library's wood that the sound wood is and was read as before; empty: none of them.
    known_wood: str = ""
    #: Card of this photo, or `NOTHING_TAUGHT`, when it last taught the program its camera; empty: it hasn't yet.
    taught: str = ""
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


#: Fields that undo leaves alone: they follow from the others or from the photo.
APART = frozenset({"photo", "stamp", "searched", "progress", "recipe", "over", "check", "taught"})


def document_of(repair: OpenRepair) -> history.Document:
    """All but its number, which the library gives."""
    return {name: value for name, value in plain(repair).items() if name != "id"}


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
        known = {one.name: held[one.name] for one in fields(OpenRepair) if one.name in held}
        repair = read(known, OpenRepair)
        sound = history.is_sound(document)
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
