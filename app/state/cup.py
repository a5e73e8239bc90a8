"""Amounts for a repair, shared by page, report and label."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from app import cache
from app.repair.marks import FOUND
from app.repair.open_repair import OpenRepair
from app.repair.work import BATCH, MARKED
from app.state.library import open_library
from colormatch.errors import BadInput
from colormatch.mixing.amounts import Amounts, mix_job
from colormatch.mixing.area import MarkedArea, marked_area
from colormatch.mixing.measures import Practice, parse_area, parse_card_size
from colormatch.records import CardKind, Layer, Paint, RegionKind
from colormatch.wash.ratio import parse_volume

#: The library's setting for the real size of the user's card, as typed.
CARD_SIZE = "card-size"


@dataclass(frozen=True)
class Cup:
    """Amounts, and their inputs."""

    amounts: Amounts
    practice: Practice
    #: Painted area, cm²; None if a batch was asked for.
    area_cm2: float | None


def card_size() -> str:
    """The real size of the card as typed, or empty."""
    return open_library().setting(CARD_SIZE)


def marked(repair: OpenRepair) -> MarkedArea:
    """The area of the marked damage.

    Raises
    ------
    BadInput
        The photo has no card, or the card's size is unknown.
    """
    card, size = repair.card_region, card_size()
    if card is None:
        raise BadInput("The photo has no card to measure by.", "Type the size of the damage instead.")
    if not size:
        raise BadInput("The size of your card is not known yet.", "Measure it and type it above, such as 100x65mm.")
    return marked_area(
        repair.of_kind(RegionKind.DAMAGE),
        card,
        cache.size(open_library().photos.path(repair.photo)),
        parse_card_size(size),
        found=card.name == FOUND and repair.card_kind is CardKind.GRAY,
    )


def fill(repair: OpenRepair, layers: tuple[Layer, ...], paints: Mapping[str, Paint]) -> Cup:
    """Compute the content of the cup.

    Raises
    ------
    BadInput
        Typed input is invalid, or the size is unknown.
    """
    practice = repair.mixing.practice(repair.smallest)
    area = volume = None
    if repair.mixing.amount_by == BATCH:
        volume = parse_volume(repair.mixing.batch, practice.drop_ml)
    elif repair.mixing.amount_by == MARKED:
        area = marked(repair).cm2
    else:
        area = parse_area(repair.area)
    return Cup(mix_job(layers, paints, practice, area_cm2=area, batch_ml=volume), practice, area)
