"""A repair in progress: its content, its document in the library, and what is missing."""

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
    """One repair in progress."""

    #: Number in the library; None until something is saved.
    id: int | None = None
    name: str = ""
    #: Name of the library's card with this kind and value; empty: none.
    own_card: str = ""
    sound_state: SurfaceState = SurfaceState.BARE
    damage_state: SurfaceState = SurfaceState.BARE
    #: Whether the surface was wet in the photo.
    sound_wet: bool = False
    damage_wet: bool = False
    #: The library's wood that the sound wood is and was read as before; empty: none of them.
    known_wood: str = ""
    #: Card of this photo, or `NOTHING_TAUGHT`, when it last taught the program its camera; empty: it hasn't yet.
    taught: str = ""
    limits: Limits = field(default_factory=Limits)
    aim: Aim = field(default_factory=Aim)
    #: Number of the damage to rank washes for, from 1; 0: all of them together.
    spot: int = 0
    #: Whether it is the example, with guidance on each page.
    guided: bool = False
    #: Rank of the picked wash.
    picked: int = 1
    #: Size of the damage, and smallest measure, as typed and chosen on the Mix page.
    area: str = STAND_IN
    smallest: str = "1 ml"
    mixing: Mixing = field(default_factory=Mixing)
    times: Times = field(default_factory=Times)
    progress: Progress = field(default_factory=Progress)
    #: The picked wash; None until the user goes on to mix it.
    recipe: PickedRecipe | None = None
    #: The wash recommended by Check for the dried repair, once the user goes on to mix it; Mix then shows it instead.
    over: PickedRecipe | None = None
    check: Dried = field(default_factory=Dried)

    @property
    def states(self) -> tuple[SurfaceState, SurfaceState]:
        """Of the sound wood and of the damage."""
        return self.sound_state, self.damage_state

    @property
    def surfaces(self) -> tuple[Region, ...]:
        """Regions to read, named as in the editor: sound wood and damage."""
        return self.named(SURFACES)

    @property
    def to_match(self) -> tuple[Region, ...]:
        """The `surfaces` to rank washes for: with several damages, only the chosen one, if any."""
        surfaces = self.surfaces
        damage = [region for region in surfaces if region.kind is RegionKind.DAMAGE]
        if not 0 < self.spot <= len(damage):
            return surfaces
        return tuple(r for r in surfaces if r.kind is not RegionKind.DAMAGE or r is damage[self.spot - 1])

    def reference(self, settled: Sequence[ShopChip] = ()) -> Reference:
        """The card with its white areas, and the chips with known colors."""
        by_card = super().reference()
        white = () if self.card_kind is CardKind.NONE else self.of_kind(RegionKind.WHITE)
        known = {chip.name: chip for chip in settled}
        chips = tuple(region for region in self.of_kind(RegionKind.CHIP) if region.name in known)
        return replace(by_card, white=white, chips=chips, settled=tuple(known[chip.name] for chip in chips))


#: The surfaces of a repair, with their names on pages.
SURFACES = {kind: kind.words.capitalize() for kind in (RegionKind.SOUND, RegionKind.DAMAGE)}


#: Fields that undo leaves alone: they follow from the others or from the photo.
APART = frozenset({"photo", "stamp", "searched", "progress", "recipe", "over", "check", "taught"})


def document_of(repair: OpenRepair) -> history.Document:
    """The document: all fields except the number, which the library assigns."""
    return {name: value for name, value in plain(repair).items() if name != "id"}


def opened(stored: Stored[SavedRepair]) -> OpenRepair:
    """Open a saved repair; fields unknown to an earlier version get their default.

    Raises
    ------
    BadInput
        Its document is invalid. It stays unchanged.
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
            f"Opening the repair '{stored.record.name}' failed: another version of the program wrote it, or it was "
            "damaged.",
            "It is unchanged: open it with the version that wrote it, or choose another one on the Jobs page.",
        )
    return repair


def lacking(repair: OpenRepair) -> str:
    """What is missing for ranking washes, in a sentence; empty if nothing is."""
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
