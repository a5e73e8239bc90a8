"""The neutral reference of a photo, found or as marked, and the correction that follows from it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

import numpy as np

from colormatch.color.space import lab_from_linear, linear_from_encoded
from colormatch.errors import BadInput, CardNotFound
from colormatch.photo.card import find_card
from colormatch.photo.card_check import check_card
from colormatch.photo.chart import chart_correction, find_chart, read_chart
from colormatch.photo.chart_values import BEFORE_2014, SINCE_2014, read_chart_file
from colormatch.photo.chips import with_chips
from colormatch.photo.correct import (
    GRAY_CARD,
    Correction,
    gray_card_correction,
    neutral_linear,
    no_correction,
)
from colormatch.photo.light import card_parts, describe_light
from colormatch.photo.read import DecodedPhoto
from colormatch.photo.three_step import THREE_STEPS, find_steps, three_step_correction
from colormatch.records import (
    Box,
    Card,
    CardKind,
    Flag,
    FloatArray,
    Lab,
    Light,
    Region,
    RegionKind,
    lab_of,
)


class ChartIssue(StrEnum):
    """The two published issues of a 24-patch chart's values."""

    BEFORE_2014 = "before-2014"
    SINCE_2014 = "since-2014"


#: What a card's maker states: one reflectance, one color, the reflectances of a white, a gray and a black step, or of a
#: chart the issue or the file of its measured patches.
CardValue = float | Lab | tuple[float, float, float] | ChartIssue | Path
#: Place of the middle gray among a 24-patch chart's patches, in the order of its published values.
_NEUTRAL_5 = 21


@dataclass(frozen=True)
class CardChoice:
    """What the user says of the neutral reference."""

    kind: CardKind = CardKind.GRAY
    #: None: the usual value of its kind.
    value: CardValue | None = None
    #: Where it lies, as pixels or as a region; neither: it is looked for.
    box: Box | None = None
    region: Region | None = None


@dataclass(frozen=True, eq=False)
class Neutral:
    """A photo's neutral reference, and the correction that follows from it."""

    card: Card
    light: Light
    correction: Correction


def parse_card_value(text: str | None, kind: CardKind) -> CardValue | None:
    """The maker's figures as people write them.

    Parameters
    ----------
    text : str or None
        ``0.18``, ``18%``, a Lab ``49.5,0,0``, ``0.89/0.18/0.035`` for a three-step card; for a chart its issue,
        ``before-2014`` or ``since-2014``, or the name of a CGATS or CSV file of its measured patches.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> parse_card_value("18%", CardKind.GRAY), parse_card_value("0.89/0.18/0.035", CardKind.THREE_STEP)
    (0.18, (0.89, 0.18, 0.035))
    """
    if not text:
        return None
    if kind is CardKind.CHART24:
        return ChartIssue(text) if text in tuple(ChartIssue) else Path(text)
    try:
        if "," in text:
            return lab_of(text.split(","), "card's color")
        parts = [
            float(part.strip().rstrip("%")) / (100 if part.strip().endswith("%") else 1) for part in text.split("/")
        ]
    except ValueError:
        parts = []
    wanted = 3 if kind is CardKind.THREE_STEP else 1
    if len(parts) != wanted or not all(0 < part <= 1 for part in parts):
        raise BadInput(
            f"'{text}' is no value of a {kind} card.",
            "Give white/gray/black such as 0.89/0.18/0.035."
            if wanted == 3
            else "Give 0.18, 18% or a Lab such as 49.5,0,0.",
        )
    return (parts[0], parts[1], parts[2]) if wanted == 3 else parts[0]


def find_neutral(photo: DecodedPhoto, choice: CardChoice | None = None) -> Neutral:
    """The neutral reference of a photo, found or as marked, and the correction from it.

    Raises
    ------
    CardNotFound
        It was to be found, and the finder isn't sure.
    CardUnusable
        Clipped, black, too small, or no gray.
    RegionError
        The marked box lies outside the photo.
    """
    choice = choice or CardChoice()
    if choice.kind is CardKind.NONE:
        warning = Flag("no-card", "Without a gray card the colors are only as good as the camera's own white balance.")
        return Neutral(Card(CardKind.NONE, None, "none", flags=(warning,)), Light(cast=None), no_correction())
    region = choice.region
    if choice.box is not None:
        region = Region.from_box(RegionKind.CARD, choice.box, photo.facts.width, photo.facts.height, "card")
    if choice.kind is CardKind.GRAY:
        card = find_card(photo) if region is None else Card(choice.kind, region, "given")
        return _gray_card(photo, card, choice.value)
    if choice.kind is CardKind.CHART24:
        card = find_chart(photo) if region is None else Card(choice.kind, region, "given")
        return _chart(photo, card, choice.value)
    if region is None:
        raise CardNotFound("A three-step card isn't looked for by itself.", "Mark the whole card in the photo.")
    return _three_steps(photo, Card(choice.kind, region, "given"), choice.value)


def _gray_card(photo: DecodedPhoto, card: Card, stated: CardValue | None) -> Neutral:
    assert card.region is not None
    value = GRAY_CARD if stated is None else stated
    if not isinstance(value, float | int | Lab):
        raise BadInput("The value given is none of a gray card.", "Give one, such as 0.18.")
    pixels = linear_pixels(photo, card.region)
    flags = check_card(photo, card.region, float(neutral_linear(value).mean()))
    correction = gray_card_correction(pixels, value, raw=photo.facts.raw)
    light = _light_on_card(photo, card.region, flags)
    return Neutral(replace(card, flags=(*card.flags, *flags)), light, correction)


def _three_steps(photo: DecodedPhoto, card: Card, stated: CardValue | None) -> Neutral:
    assert card.region is not None
    values = THREE_STEPS if stated is None else stated
    if not isinstance(values, tuple) or isinstance(values, Lab):
        raise BadInput("One value was given for a three-step card.", "Give three, such as 0.89/0.18/0.035.")
    box, inside = photo.mask(card.region)
    linear_rgb = photo.linear(box)
    means = np.stack([linear_rgb[step].mean(axis=0) for step in find_steps(linear_rgb, inside)])
    correction = three_step_correction(means, values, raw=photo.facts.raw)
    flags = correction.flags
    return Neutral(replace(card, flags=(*card.flags, *flags)), _cast(means[1]), correction)


def _chart(photo: DecodedPhoto, card: Card, stated: CardValue | None) -> Neutral:
    assert card.region is not None
    if isinstance(stated, Path):
        reference = read_chart_file(stated)
    elif stated in (None, ChartIssue.SINCE_2014):
        reference = SINCE_2014
    elif stated is ChartIssue.BEFORE_2014:
        reference = BEFORE_2014
    else:
        raise BadInput("A gray card's value was given for a chart.", "Say before-2014, since-2014, or name its file.")
    patches = read_chart(photo, card.region).linear_rgb
    correction = chart_correction(patches, reference)
    flags = correction.flags
    return Neutral(replace(card, flags=(*card.flags, *flags)), _cast(patches[_NEUTRAL_5]), correction)


def _cast(gray_linear_rgb: FloatArray) -> Light:
    before = lab_from_linear(np.asarray(gray_linear_rgb, dtype=float))
    return Light(cast=(round(float(before[1]), 2), round(float(before[2]), 2)))


def _light_on_card(photo: DecodedPhoto, region: Region, told: Sequence[Flag]) -> Light:
    """The light as parts of the card see it; what the check of the card has told is not told again."""
    box, inside = photo.mask(region)
    colors, places = card_parts(photo.linear(box), inside)
    size = np.array([photo.facts.width, photo.facts.height])
    light = describe_light(colors, (box[:2] + places * box[2:]) / size)
    if any(flag.code in ("card-uneven", "card-shadow") for flag in told):
        light = replace(light, flags=tuple(f for f in light.flags if f.code not in ("light-uneven", "light-patchy")))
    return light


def tie_to_chips(
    photo: DecodedPhoto, neutral: Neutral, regions: Sequence[Region], settled: Mapping[str, Lab]
) -> Neutral:
    """A neutral reference made better by shop chips that lie in the same photo.

    Parameters
    ----------
    photo : DecodedPhoto
    neutral : Neutral
    regions : sequence of Region
        Those of kind ``chip`` count, by their names.
    settled : mapping of Lab by name
        What the chips are.

    Raises
    ------
    BadInput
        A chip without a settled color, or one that looks unlike its color.
    """
    chips = [region for region in regions if region.kind is RegionKind.CHIP]
    if not chips:
        return neutral
    unknown = [chip.name for chip in chips if chip.name not in settled]
    if unknown:
        raise BadInput(f"The color of the chip {unknown[0]} is not settled.", "Give it as NAME@L,a,b=x,y,w,h.")
    colors = np.stack([linear_pixels(photo, chip).mean(axis=0, dtype=float) for chip in chips])
    return replace(neutral, correction=with_chips(neutral.correction, colors, [settled[chip.name] for chip in chips]))


def linear_pixels(photo: DecodedPhoto, region: Region) -> FloatArray:
    """(n, 3) float32; the photo's own linear light inside a region, uncorrected."""
    box, inside = photo.mask(region)
    return photo.linear(box)[inside]


def balanced(photo: DecodedPhoto, neutral: Neutral, longest_side: int) -> FloatArray:
    """(h, w, 3) float; a smaller picture of the photo in corrected linear sRGB, for previews."""
    small = photo.preview(longest_side).astype(np.float32) / np.float32(255)
    return neutral.correction.linear(linear_from_encoded(small))
