"""Results for a repair and the library: readings of its photos, and its washes."""

from __future__ import annotations

from dataclasses import replace

from app import cache
from app.cache import MarkedPhoto, Reference
from app.repair.dried import DriedPhoto
from app.repair.open_repair import OpenRepair
from app.state import cameras
from app.state.library import grounds, library_state, open_library, shop_chips
from colormatch.errors import ColorMatchError
from colormatch.records import CardKind, Match, RankedWash, Reading, Region, RegionKind
from colormatch.reference.known_colors import SeenBefore


def reference(repair: OpenRepair) -> Reference:
    """The references in a repair's photo, with the colors of the library's shop chips.

    Raises
    ------
    BadInput
        The card's value is invalid.
    """
    path = open_library().photos.path(repair.photo)
    plain = replace(repair.reference(shop_chips()), taught=cameras.through(path, repair.through))
    wood = next((wood for wood in grounds() if wood.name == repair.known_wood), None)
    if wood is None:
        return plain
    return replace(plain, known=tuple(SeenBefore(wood, place) for place in repair.of_kind(RegionKind.SOUND)))


def marked(repair: OpenRepair, regions: tuple[Region, ...]) -> MarkedPhoto:
    """A repair's photo, with regions to read or show.

    Raises
    ------
    BadInput
        The card's value is invalid.
    """
    return MarkedPhoto(open_library().photos.path(repair.photo), reference(repair), regions)


def marked_dried(repair: OpenRepair, photo: DriedPhoto, regions: tuple[Region, ...]) -> MarkedPhoto | None:
    """A photo of the dried paint with the same card, and regions of it; None if the card isn't marked yet.

    Raises
    ------
    BadInput
        Its value is invalid.
    """
    if photo.card_region is None and repair.card_kind is not CardKind.NONE:
        return None
    path = open_library().photos.path(photo.photo)
    reference = replace(repair.by_card(photo.card_region), taught=cameras.through(path, repair.through))
    return MarkedPhoto(path, reference, regions)


def read(repair: OpenRepair, regions: tuple[Region, ...]) -> Reading | ColorMatchError:
    """The colors of regions of a repair's photo."""
    try:
        return cache.reading(marked(repair, regions))
    except ColorMatchError as error:  # the typed value of the card
        return error


def read_dried(repair: OpenRepair, photo: DriedPhoto) -> Reading | ColorMatchError | None:
    """The colors in a photo of the dried paint; None if the card isn't marked yet."""
    try:
        found = marked_dried(repair, photo, photo.surfaces)
        return None if found is None else cache.reading(found)
    except ColorMatchError as error:  # the typed value of the card
        return error


def ranked(repair: OpenRepair) -> Match | ColorMatchError:
    """Ranked washes for a complete repair, best first."""
    return cache.ranking(marked(repair, repair.to_match), library_state(), repair.limits, repair.aim, repair.states)


def picked(repair: OpenRepair, match: Match) -> RankedWash:
    """The wash of a ranking picked by the user; the first if that rank no longer exists."""
    return next((wash for wash in match.washes if wash.rank == repair.picked), match.washes[0])
