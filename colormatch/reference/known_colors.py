"""Things of known color in a photo: shop chips make its colors surer, and with wood that was read before they tell when
a learned camera is wrong in this photo.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.errors import BadInput
from colormatch.image.photo import DecodedPhoto
from colormatch.records import CardKind, Flag, FlagCode, Ground, Region, RegionKind, ShopChip
from colormatch.reference.chips import ALL_GRAYS, GRAY, with_chips
from colormatch.reference.neutral import Neutral, linear_pixels
from colormatch.reference.stand_in import STAND_INS

#: Radius that holds 99 of 100 errors over the one that holds 90, of a round error in three dimensions (chi
#: distribution, 3.368 / 2.500): a known color that is farther off contradicts a learned camera.
_SURELY = 1.35


class SeenBefore(NamedTuple):
    """A thing of known color, and where it lies in the photo."""

    what: ShopChip | Ground
    place: Region


def unless_contradicted(photo: DecodedPhoto, neutral: Neutral, known: Iterable[SeenBefore]) -> Neutral:
    """A neutral reference without the learned camera, and why, where something of known color reads otherwise by it."""
    if neutral.by_card is None:
        return neutral
    even = photo.evened(neutral.plane)
    told = []
    for what, place in known:
        read = neutral.correction.lab(linear_pixels(even, place).mean(axis=0, dtype=float))
        off = float(delta_e(read, np.asarray(what.lab)))
        if off > _SURELY * math.hypot(neutral.correction.systematic, what.uncertainty):
            text = (
                f"Through the learned camera {what.name} reads {off:.0f} ΔE from its known color, more than chance "
                "explains, so the photo is read by its gray card alone. Check that the light is the one in which the "
                f"camera was learned, and that {what.name} hasn't changed."
            )
            told.append(Flag(FlagCode.CAMERA_CONTRADICTED, text, round(off, 1)))
    if not told:
        return neutral
    card = replace(neutral.card, flags=(*neutral.card.flags, max(told, key=lambda flag: flag.value or 0.0)))
    return replace(neutral, card=card, correction=neutral.by_card, learned=None, by_card=None)


def tie_to_chips(
    photo: DecodedPhoto, neutral: Neutral, regions: Sequence[Region], settled: Iterable[ShopChip]
) -> Neutral:
    """A neutral reference made better by shop chips that lie in the same photo, unless they contradict it.

    Parameters
    ----------
    photo : DecodedPhoto
    neutral : Neutral
    regions : sequence of Region
        Those of kind ``chip`` count, by their names.
    settled : iterable of ShopChip
        What the chips are, by their names.

    Raises
    ------
    BadInput
        A chip without a settled color, or one that looks unlike its color.
    """
    chips = sorted((region for region in regions if region.kind is RegionKind.CHIP), key=lambda region: region.order)
    if not chips:
        return neutral
    known = {chip.name: chip for chip in settled}
    unknown = [chip.name for chip in chips if chip.name not in known]
    if unknown:
        raise BadInput(f"The color of the chip {unknown[0]} is unknown.", "Give it as NAME@L,a,b=x,y,w,h.")
    neutral = unless_contradicted(photo, neutral, [SeenBefore(known[chip.name], chip) for chip in chips])
    even = photo.evened(neutral.plane)
    colors = np.stack([linear_pixels(even, chip).mean(axis=0, dtype=float) for chip in chips])
    # Linear light needs no tone curve undone: a gain that is right for one gray is right for all.
    one = neutral.card.kind is CardKind.GRAY and not photo.facts.raw
    unknown_grays = neutral.card.kind is CardKind.NONE or neutral.card.kind in STAND_INS
    grays = () if unknown_grays else GRAY if one else ALL_GRAYS
    correction = with_chips(neutral.correction, colors, [known[chip.name] for chip in chips], grays)
    return replace(neutral, correction=correction)
