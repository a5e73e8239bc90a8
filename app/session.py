"""The repair that somebody is at work on, and the only file that touches ``st.session_state``.

The address of the page says which repair is open (``?repair=7``) and the library holds it, so a reload, a second window
and the browser's Back button all find the same thing. Nothing that a person entered lives in the session alone.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from threading import RLock
from typing import Any
from zoneinfo import ZoneInfo

import streamlit as st

from app import dried, history, work
from app.cached import library, ranking
from app.cached import stored as cached_records
from app.choices import Aim, Reference
from app.dried import Dried, DriedPhoto
from app.marks import Edit, as_document, from_document, joined
from app.phone import Door
from app.work import Mixing, Progress, Recipe
from colormatch.bench.schedule import Times
from colormatch.errors import ColorMatchError
from colormatch.library import Library, SavedRepair, Stored
from colormatch.library.columns import R
from colormatch.photo.neutral import CardChoice, parse_card_value
from colormatch.records import (
    CardKind,
    Ground,
    Lab,
    Layer,
    Limits,
    Match,
    OwnCard,
    Part,
    RankedWash,
    Region,
    RegionKind,
    ShopChip,
    SurfaceState,
)

#: Environment variable with the folder of the library; the user's own where it is unset.
LIBRARY_VARIABLE = "COLORMATCH_LIBRARY"
#: Name of the repair's number in the address.
QUERY = "repair"
_NOTE, _SEEN, _TOKEN = "note", "seen", "phone-token"
#: How often a page looks whether the repair was changed on another device, seconds.
FOLLOW_S = 2.0


@dataclass(frozen=True)
class OpenRepair:
    """One repair, as far as it has come."""

    #: Number in the library; None until there is something to keep.
    id: int | None = None
    name: str = ""
    #: SHA-256 in the library's photos.
    photo: str = ""
    #: Of the last edit of the regions; see `region_editor.Edit`.
    stamp: int = 0
    regions: tuple[Region, ...] = ()
    #: Whether the program has looked for the card in this photo.
    searched: bool = False
    card_kind: CardKind = CardKind.GRAY
    #: What the card's maker states, as typed; empty: the usual value of its kind.
    card_value: str = ""
    #: Name of the card in the library that these two are of; empty: none of them.
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
    area: str = "40 cm2"
    smallest: str = "1 ml"
    mixing: Mixing = field(default_factory=Mixing)
    times: Times = field(default_factory=Times)
    progress: Progress = field(default_factory=Progress)
    #: The wash as it was picked; None until somebody goes to mix it.
    recipe: Recipe | None = None
    check: Dried = field(default_factory=Dried)

    @property
    def edit(self) -> Edit:
        """Its regions, for the editor."""
        return Edit(self.photo, self.stamp, self.regions)

    def of_kind(self, kind: RegionKind) -> tuple[Region, ...]:
        """Its regions of one kind."""
        return tuple(region for region in self.regions if region.kind is kind)

    @property
    def surfaces(self) -> tuple[Region, ...]:
        """What is to be read, named as the editor labels it: sound wood and damage."""
        named = []
        for kind, word in SURFACES.items():
            found = self.of_kind(kind)
            named += [
                replace(region, name=f"{word} {number}" if len(found) > 1 else word)
                for number, region in enumerate(found, 1)
            ]
        return tuple(named)

    @property
    def to_match(self) -> tuple[Region, ...]:
        """Those of `surfaces` that washes are ranked for: of several damages only one where that was chosen."""
        surfaces = self.surfaces
        damage = [region for region in surfaces if region.kind is RegionKind.DAMAGE]
        if not 0 < self.spot <= len(damage):
            return surfaces
        return tuple(r for r in surfaces if r.kind is not RegionKind.DAMAGE or r is damage[self.spot - 1])

    @property
    def has_card(self) -> bool:
        """Whether the colors can be read: a card is marked, or said not to be there."""
        return self.card_kind is CardKind.NONE or bool(self.of_kind(RegionKind.CARD))

    def card(self) -> Reference:
        """The card as the person marked and described it, and what helps it: white places, shop chips.

        Raises
        ------
        BadInput
            Its value is of no known form.
        """
        chips = tuple(region for region in self.of_kind(RegionKind.CHIP) if region.name)
        known = {chip.name: chip for chip in shop_chips()} if chips else {}
        chips = tuple(chip for chip in chips if chip.name in known)
        settled = tuple(known[chip.name] for chip in chips)
        if self.card_kind is CardKind.NONE:
            return Reference(CardChoice(CardKind.NONE), (), chips, settled)
        value = parse_card_value(self.card_value, self.card_kind)
        choice = CardChoice(self.card_kind, value, region=self.of_kind(RegionKind.CARD)[0])
        return Reference(choice, self.of_kind(RegionKind.WHITE), chips, settled)

    def card_in(self, photo: DriedPhoto) -> Reference | None:
        """The same card in a photo of the dried paint; None where it isn't marked yet.

        Raises
        ------
        BadInput
            Its value is of no known form.
        """
        if self.card_kind is CardKind.NONE:
            return Reference(CardChoice(CardKind.NONE))
        marked = photo.of_kind(RegionKind.CARD)
        if not marked:
            return None
        value = parse_card_value(self.card_value, self.card_kind)
        return Reference(CardChoice(self.card_kind, value, region=marked[0]))


#: The surfaces that a repair reads, and what a page calls them.
SURFACES = {RegionKind.SOUND: "Sound wood", RegionKind.DAMAGE: "Damage"}


#: The limits a person sets on the Match page, besides what goes over the whole piece.
_LIMITS = ("coats", "layers", "mix", "paints", "on_hand", "clear")
#: Fields that undo leaves alone: they follow from the others or from the photo.
_APART = frozenset({"photo", "stamp", "searched", "progress", "recipe", "check"})


def _document(repair: OpenRepair) -> history.Document:
    plain = {one.name: getattr(repair, one.name) for one in fields(repair) if one.name != "id"}
    return plain | {
        "regions": as_document(repair.regions),
        **{name: work.document(getattr(repair, name)) for name in ("mixing", "times", "progress", "recipe")},
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
    "progress": lambda held: Progress(**held),
    "recipe": work.recipe_from,
    "check": dried.dried_from,
}


def opened(stored: Stored[SavedRepair]) -> OpenRepair:
    """A saved repair; what an earlier version did not know yet has its usual value."""
    held = {**json.loads(stored.record.document), "id": stored.id, "name": stored.record.name}
    known = [one.name for one in fields(OpenRepair) if one.name in held]
    return OpenRepair(**{name: _READ[name](held[name]) if name in _READ else held[name] for name in known})


def lacking(repair: OpenRepair) -> str:
    """What a repair still needs before washes can be ranked, in a sentence; empty where nothing is missing."""
    if not repair.photo:
        return "Choose a photo first."
    if not repair.has_card:
        return "The card is not marked in the photo."
    for kind, name in SURFACES.items():
        if not repair.of_kind(kind) and (kind is RegionKind.DAMAGE or repair.aim.kept is None):
            return f"No {name.lower()} is marked in the photo."
    for wet, name in ((repair.sound_wet, "sound wood"), (repair.damage_wet, "damage")):
        if wet:
            return (
                f"The {name} was wet when it was photographed. Wood and paint change color as they dry: let it dry, "
                "then take the photo again."
            )
    return ""


def ranked(repair: OpenRepair) -> Match | ColorMatchError:
    """The washes for a repair that lacks nothing, best first."""
    library = open_library()
    path = library.photos.path(repair.photo)
    return ranking(path, repair.card(), repair.to_match, library.folder, library.stamp(), repair.limits, repair.aim)


def shop_chips() -> tuple[ShopChip, ...]:
    """The library's settled chips."""
    return tuple(stored.record for stored in open_library().all(ShopChip))


def own_cards() -> tuple[OwnCard, ...]:
    """The library's cards."""
    return tuple(stored.record for stored in open_library().all(OwnCard))


def grounds() -> tuple[Ground, ...]:
    """The library's kept colors of wood."""
    return tuple(stored.record for stored in open_library().all(Ground))


def picked(repair: OpenRepair, match: Match) -> RankedWash:
    """The wash of a ranking that the person picked; the first where that rank is not listed any more."""
    return next((wash for wash in match.washes if wash.rank == repair.picked), match.washes[0])


def open_library() -> Library:
    """The library of whoever started the app."""
    folder = os.environ.get(LIBRARY_VARIABLE)
    return library(Path(folder) if folder else None)


def stored(kind: type[R]) -> tuple[Stored[R], ...]:
    """Every record of a kind in the library, read again only when something has changed."""
    library = open_library()
    return cached_records(library.folder, library.stamp(), kind)


def current() -> OpenRepair:
    """The repair that the page's address names; an empty one where it names none.

    Raises
    ------
    BadInput
        There is none of that number.
    """
    number = st.query_params.get(QUERY, "")
    if not number.isdigit():
        return OpenRepair()
    saved = open_library().repair(int(number))
    st.session_state[_SEEN] = saved
    return opened(Stored(int(number), saved))


#: One change at a time: what a page read must still hold when it is written.
_writing = RLock()


def keep(repair: OpenRepair, *, undoable: bool = True) -> OpenRepair:
    """Save a repair and open it; what it changes can be undone unless the program itself changed it."""
    with _writing:
        document = _document(repair)
        if repair.id is not None:
            before = _held(repair.id)
            document = history.recorded(before, document, apart=_APART if undoable else frozenset(document))
        number = _save(document, repair.id)
    if repair.id is None:
        enter(number)
    return replace(repair, id=number)


def _held(id: int) -> history.Document:
    saved = open_library().repair(id)
    return {**json.loads(saved.document), "name": saved.name}


def _save(document: history.Document, id: int | None) -> int:
    plain = {name: value for name, value in document.items() if name != "name"}
    checked = [one["photo"] for one in document.get("check", {}).get("photos", ())]
    photos = tuple(photo for photo in (document["photo"], *checked) if photo)
    number = open_library().save_repair(SavedRepair(document["name"], json.dumps(plain), photos=photos), id)
    st.session_state[_SEEN] = open_library().repair(number)
    return number


def undo(*, again: bool = False) -> None:
    """Take back the last change of the open repair, or make it again: a callback."""
    with telling(), _writing:
        repair = current()
        document = None if repair.id is None else history.taken_back(_held(repair.id), again=again)
        if document is not None:
            _save({**document, "stamp": next_stamp(repair)}, repair.id)


def next_undo(*, again: bool = False) -> str:
    """What :func:`undo` would change, in words; empty: nothing."""
    repair = current()
    return "" if repair.id is None else history.next_change(_held(repair.id), again=again)


def change(**what: Any) -> None:
    """Change the open repair: the callback of a widget. A refusal is told at the top of the page."""
    with telling(), _writing:
        keep(replace(current(), **what))


def enter(number: int) -> None:
    """Open a repair of the library."""
    st.query_params[QUERY] = str(number)


def leave() -> None:
    """Close the open repair; it stays in the library."""
    st.query_params.pop(QUERY, None)


def take_edit(edit: Edit) -> None:
    """Take regions from the editor; see `joined`."""
    with _writing:
        repair = current()
        taken = joined(repair.edit, edit)
        if taken is not None:
            keep(replace(repair, regions=taken.regions, stamp=taken.stamp))


def change_check(**what: Any) -> None:
    """Change what the open repair holds of its checks: the callback of a widget."""
    with telling(), _writing:
        repair = current()
        keep(replace(repair, check=replace(repair.check, **what)))


def put_dried(photo: DriedPhoto) -> None:
    """Put a photo of dried paint in the place of the one that it follows."""
    with _writing:
        repair = current()
        keep(replace(repair, check=repair.check.with_photo(photo)))


def take_dried_edit(light: int, edit: Edit) -> None:
    """Take regions of a photo of dried paint from the editor; see `joined`."""
    with _writing:
        held = current().check.shown(light)
        taken = joined(held.edit, edit) if held else None
        if held and taken:
            put_dried(replace(held, regions=taken.regions, stamp=taken.stamp))


def next_stamp(marked: OpenRepair | DriedPhoto) -> int:
    """Stamp for regions that the program itself sets."""
    return max(marked.stamp + 1, int(time.time() * 1000))


def link() -> dict[str, str]:
    """Query of a link to another page of the same repair."""
    number = st.query_params.get(QUERY)
    return {QUERY: number} if number else {}


# --- what Streamlit holds --------------------------------------------------------------------------------------------


def widget_value(key: str) -> Any:
    """What the widget of that key holds, for a callback."""
    return st.session_state[key]


def time_zone() -> ZoneInfo | None:
    """The time zone of whoever looks; None, this machine's, where the browser does not tell."""
    name = st.context.timezone
    return ZoneInfo(name) if name else None


def showing(key: str, value: Any) -> str:
    """Key of a widget that shows a value of the open repair, even where undo or another window has changed it."""
    if key not in st.session_state or st.session_state[key] != value:  # setting it would undo what is being typed
        st.session_state[key] = value
    return key


def changer(name: str, key: str, read: Callable[[Any], Any] = lambda value: value) -> Callable[[], None]:
    """Callback that puts a widget's value into a field of the open repair."""
    return lambda: change(**{name: read(widget_value(key))})


def part_changer(
    name: str, part: str, key: str, read: Callable[[Any], Any] = lambda value: value
) -> Callable[[], None]:
    """Callback that puts a widget's value into one part of a field of the open repair that has several."""

    def change_part() -> None:
        with telling():
            change(**{name: replace(getattr(current(), name), **{part: read(widget_value(key))})})

    return change_part


def limit_changer(name: str, key: str, read: Callable[[Any], Any] = lambda value: value) -> Callable[[], None]:
    """Callback that puts a widget's value into the open repair's limits."""
    return lambda: change(limits=replace(current().limits, **{name: read(widget_value(key))}))


@st.fragment(run_every=FOLLOW_S)
def follow() -> None:
    """Run the page anew when the open repair was changed in another window or on another device."""
    number = st.query_params.get(QUERY, "")
    if not number.isdigit():
        return
    try:
        changed = open_library().repair(int(number)) != st.session_state.get(_SEEN)
    except ColorMatchError:  # it is gone, which the page will say
        changed = st.session_state.get(_SEEN) is not None
    if changed:
        st.session_state[_SEEN] = None
        st.rerun()


def phone_link(door: Door) -> str:
    """One-time link to the open repair: the same until it is used or too old."""
    token = st.session_state.get(_TOKEN, "")
    if not door.links.waits(token):
        token = st.session_state[_TOKEN] = door.links.mint()
    return door.address(token, **link())


class telling:  # noqa: N801 - reads as a verb: with telling(): ...
    """Context of a callback: an error of ours is told at the top of the next run instead of ending it."""

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> bool:
        if not isinstance(error, ColorMatchError):
            return False
        st.session_state[_NOTE] = str(error)
        return True


def take_note() -> str:
    """What a callback had to tell; told once."""
    return str(st.session_state.pop(_NOTE, ""))
