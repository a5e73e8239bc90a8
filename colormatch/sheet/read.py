"""Read many swatches from one photo, with or without the printed sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from colormatch.errors import BadInput
from colormatch.image.photo import DecodedPhoto
from colormatch.records import CardKind, FlagCode, Lab, Paint, Swatch, name_key
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.correction import GRAY_CARD
from colormatch.reference.neutral import Neutral, find_neutral, linear_pixels
from colormatch.sheet.cells import BoardReading, card_region, check_plan, find_sheet, map_corners, map_sheet, read_cells
from colormatch.sheet.layout import Plan
from colormatch.sheet.light import light_on_sheet, margin_of, sheet_correction

if TYPE_CHECKING:
    from colormatch.library import Library


def read_sheet(photo: DecodedPhoto, plan: Plan, card: CardChoice | None = None) -> tuple[BoardReading, Neutral]:
    """Read a photographed swatch sheet; unless marked, the gray or three-step card is in its printed place.

    Raises
    ------
    PhotoError, BadInput
        See `find_sheet` and `check_plan`, and :func:`find_neutral` for the card.
    """
    found = find_sheet(photo)
    check_plan(found, plan)
    where = map_sheet(found, plan)
    choice = card or CardChoice()
    if choice.kind in (CardKind.GRAY, CardKind.THREE_STEP) and choice.box is None and choice.region is None:
        choice = replace(choice, region=card_region(photo, plan, where))
    neutral = find_neutral(photo, choice)
    # White paper around the card is not a sign of different light.
    told = tuple(flag for flag in neutral.card.flags if flag.code is not FlagCode.CARD_OTHER_LIGHT)
    neutral = replace(neutral, card=replace(neutral.card, flags=told))
    margin, correction = margin_of(photo, plan, where), neutral.correction
    region, value = neutral.card.region, GRAY_CARD if choice.value is None else choice.value
    if choice.kind is CardKind.GRAY and region is not None and isinstance(value, float | Lab):
        correction = sheet_correction(margin, plan, correction, linear_pixels(photo, region), value)
    light, flags = light_on_sheet(margin, plan, correction)
    board = read_cells(photo, plan, where, correction, light)
    return replace(board, flags=(*board.flags, *flags)), replace(neutral, correction=correction)


def plan_in(photo: DecodedPhoto, plans: Sequence[Plan]) -> Plan | None:
    """Find which of several printed sheets is in a photo, from its markers; None if none of them is.

    Raises
    ------
    PhotoError
        No sheet was found in the photo, or more than one.
    """
    found = find_sheet(photo)
    for plan in plans:
        try:
            check_plan(found, plan)
        except BadInput:
            continue
        return plan
    return None


def read_board(
    photo: DecodedPhoto, plan: Plan, corners: Sequence[tuple[float, float]], card: CardChoice | None = None
) -> tuple[BoardReading, Neutral]:
    """Read a board of swatches without markers, from the four corners of its cells, clockwise from the top left.

    Raises
    ------
    PhotoError, BadInput
        See `map_corners` and :func:`find_neutral`.
    """
    where = map_corners(plan, corners)
    neutral = find_neutral(photo, card)
    return read_cells(photo, plan, where, neutral.correction), neutral


def keep_swatches(library: Library, swatches: Sequence[Swatch], what: str) -> list[int]:
    """Add swatches to a library as one undo step, with a paint for each new name.

    A known paint keeps its spelling.

    Parameters
    ----------
    library : Library
    swatches : sequence of Swatch
    what : str
        Description of the step, such as "added 12 swatches of a board".

    Returns
    -------
    list of int
        Numbers of the swatches.

    Raises
    ------
    BadInput, LibraryUnwritable
        Nothing was added.
    """
    spelled = {name_key(stored.record.name): stored.record.name for stored in library.all(Paint)}
    known = set(spelled)
    named = [replace(swatch, paint=spelled.setdefault(name_key(swatch.paint), swatch.paint)) for swatch in swatches]
    new = [Paint(name) for key, name in spelled.items() if key not in known]
    return library.add_all([*new, *named], what)[len(new) :]
