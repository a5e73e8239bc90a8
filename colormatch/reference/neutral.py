"""The neutral reference of a photo, found or marked, and the correction from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from colormatch.color.space import RGB_TO_XYZ, lab_from_linear, linear_from_encoded
from colormatch.errors import BadInput, CardNotFound, RegionError
from colormatch.image.flat_field import FlatField
from colormatch.image.photo import DecodedPhoto
from colormatch.records import (
    Card,
    CardKind,
    Flag,
    FlagCode,
    FloatArray,
    Lab,
    LearnedFrom,
    Light,
    Region,
    RegionKind,
)
from colormatch.reference.camera import LearnedCamera
from colormatch.reference.card_choice import CardChoice, CardValue, ChartIssue
from colormatch.reference.correction import GRAY_CARD, Correction, gray_card_correction, neutral_linear, no_correction
from colormatch.reference.gray_card_check import check_card
from colormatch.reference.gray_card_find import find_card
from colormatch.reference.light import NO_PLACES, Places, describe_light, fit_flat_field, surface_parts
from colormatch.reference.local_tones import tone_flags
from colormatch.reference.stand_in import STAND_INS, stand_in_correction, stand_in_linear
from colormatch.reference.tone import CLIPPED

#: Kinds of one plain gray or white, from whose parts the light on it is read.
_PLAIN = (CardKind.GRAY, CardKind.PAPER, CardKind.CARDBOARD)
#: Index of the middle gray among a 24-patch chart's patches, in published order.
_NEUTRAL_5 = 21
#: Largest share of clipped pixels in a white area.
_CLIPPED_SHARE = 0.02
#: Largest brightness ratio at which a white area counts as the card's own surface: paper is 4 to 5 times as light as a
#: gray card, and two areas in one usable light differ by less than this.
_SAME_SURFACE = 2.0
#: Ratio of the light on wood and card from which dividing it out is flagged: it leaves up to 1 ΔE00 at 20 % and up to 4
#: at 40 %, where white paper comes close to clipping (tests/studies/light.py).
_OTHER_LIGHT = 1.25
_OTHER_THAN_LEARNED = Flag(
    FlagCode.CAMERA_OTHER_LIGHT,
    "The gray card looks different than in the photos that this camera was learned from, so the light may be "
    "different: the photo is read by its gray card alone.",
)


@dataclass(frozen=True, eq=False)
class Neutral:
    """A photo's neutral reference, and the correction from it."""

    card: Card
    light: Light
    correction: Correction
    #: Illumination measured from white areas, if any; divided out of the photo before the correction.
    plane: FlatField | None = None
    #: The learned camera that the correction goes through, and what the gray card says without it.
    learned: LearnedFrom | None = None
    by_card: Correction | None = None


class _Reading(NamedTuple):
    """Correction and light from a card."""

    #: (3,) float; uncorrected linear sRGB of its gray.
    gray_linear_rgb: FloatArray
    correction: Correction
    flags: tuple[Flag, ...]


def find_neutral(
    photo: DecodedPhoto,
    choice: CardChoice | None = None,
    white: Sequence[Region] = (),
    learned: LearnedCamera | None = None,
) -> Neutral:
    """Find or read the neutral reference of a photo, and make the correction from it.

    Parameters
    ----------
    photo : DecodedPhoto
    choice : CardChoice, optional
        By default, find a gray card.
    white : sequence of Region
        Areas of one neutral surface such as a white sheet, or of a second card like the first; they give the
        illumination, which is divided out.
    learned : LearnedCamera, optional
        The photo's camera; used with a gray card unless the card contradicts it.

    Raises
    ------
    CardNotFound
        The finder isn't sure.
    CardUnusable
        Clipped, black, too small, or not gray.
    RegionError
        The marked box lies outside the photo.
    """
    choice = choice or CardChoice()
    card = locate(photo, choice)
    white = sorted(white, key=lambda region: region.order)
    usable = [region for region in white if _overexposed(photo, region) <= _CLIPPED_SHARE]
    places = _neutral_places(photo, card, usable)
    if not usable:
        neutral = _corrected(photo, card, choice, places, learned)
    else:
        plane = fit_flat_field(places, np.mean(card.region.points if card.region else places.middles, axis=0))
        neutral = replace(_corrected(photo.evened(plane), card, choice, places, learned), plane=plane)
        step = f"light evened by the white places: {100 * (places.evenness(plane) - 1):.0f} % divided out"
        correction = replace(neutral.correction, steps=(step, *neutral.correction.steps))
        by_card = neutral.by_card and replace(neutral.by_card, steps=(step, *neutral.by_card.steps))
        kept = tuple(flag for flag in neutral.light.flags if flag.code is not FlagCode.LIGHT_UNEVEN)
        neutral = replace(neutral, correction=correction, by_card=by_card, light=replace(neutral.light, flags=kept))
    tones = tone_flags(photo, *_of_one_tone(card, usable, places))
    neutral = replace(neutral, light=replace(neutral.light, flags=(*neutral.light.flags, *tones)))
    if len(usable) < len(white):
        text = "A white place is overexposed and doesn't show how the light falls; take a darker photo."
        doubt = Flag(FlagCode.WHITE_PLACE_CLIPPED, text, float(len(white) - len(usable)))
        neutral = replace(neutral, light=replace(neutral.light, flags=(*neutral.light.flags, doubt)))
    return neutral


def locate(photo: DecodedPhoto, choice: CardChoice) -> Card:
    """The reference as marked or found; raises as `find_neutral` does."""
    if choice.kind is CardKind.NONE:
        warning = Flag(
            FlagCode.NO_CARD, "Without a gray card the colors are only as good as the camera's own white balance."
        )
        return Card(CardKind.NONE, None, "none", flags=(warning,))
    region = choice.region
    if choice.box is not None:
        region = Region.from_box(RegionKind.CARD, choice.box, photo.facts.width, photo.facts.height, "card")
    if region is not None:
        return Card(choice.kind, region, "given")
    if choice.kind is CardKind.CHART24:
        from colormatch.reference.chart_find import find_chart

        return find_chart(photo)
    if choice.kind is CardKind.THREE_STEP:
        from colormatch.reference.three_step_find import find_three_steps

        return find_three_steps(photo, step_reflectances(choice.value))
    if choice.kind in STAND_INS:
        raise CardNotFound(
            f"The {STAND_INS[choice.kind].name} is not found automatically.",
            "Mark where it lies, away from its edges.",
        )
    try:
        return find_card(photo)
    except CardNotFound as asked:
        kind = _other_reference(photo)
        if kind is None:
            raise
        name = {CardKind.CHART24: "24-patch chart", CardKind.THREE_STEP: "three-step card"}[kind]
        raise CardNotFound(
            f"The photo shows a {name}, but the program looked for a gray card.",
            f"Choose the {name} as its card (--card-kind {kind}), or mark its middle gray as the gray card.",
            **asked.facts,
        ) from None


def _other_reference(photo: DecodedPhoto) -> CardKind | None:
    """Kind of reference that a photo without a gray card shows instead."""
    from colormatch.reference.chart_find import find_chart
    from colormatch.reference.three_step_find import find_three_steps

    for find in (find_three_steps, find_chart):
        try:
            return find(photo).kind
        except CardNotFound:
            continue
    return None


def _corrected(
    photo: DecodedPhoto, card: Card, choice: CardChoice, places: Places, learned: LearnedCamera | None
) -> Neutral:
    """The correction from a reference; `places` give the illumination."""
    if card.kind is CardKind.NONE:
        # The light that the camera balanced for.
        return Neutral(card, _with_lamp(describe_light(places, None), photo, np.ones(3)), no_correction())
    of_cards = {CardKind.GRAY: _gray_card, CardKind.THREE_STEP: _three_steps, CardKind.CHART24: _chart}
    correct = of_cards.get(card.kind, _stand_in)
    gray, correction, flags = correct(photo, card, choice.value)
    by_camera = by_card = None
    if learned is not None and card.kind is CardKind.GRAY and learned.helps:
        if learned.fits(gray):
            by_card = correction
            correction, by_camera = learned.after(correction, gray), learned.source
        else:
            flags = (*flags, _OTHER_THAN_LEARNED)
    light = _with_lamp(describe_light(places, _cast(gray)), photo, gray)
    if any(flag.code in (FlagCode.CARD_UNEVEN, FlagCode.CARD_SHADOW) for flag in flags):
        # Already flagged by the check of the card.
        light = replace(
            light, flags=tuple(f for f in light.flags if f.code not in (FlagCode.LIGHT_UNEVEN, FlagCode.LIGHT_PATCHY))
        )
    return Neutral(replace(card, flags=(*card.flags, *flags)), light, correction, learned=by_camera, by_card=by_card)


def _gray_card(photo: DecodedPhoto, card: Card, stated: CardValue | None) -> _Reading:
    assert card.region is not None
    value = GRAY_CARD if stated is None else stated
    if not isinstance(value, float | int | Lab):
        raise BadInput("The given value is not a gray card's.", "Give one, such as 0.18.")
    gray = photo.part(card.region).mean
    flags = check_card(photo, card.region, float(neutral_linear(value).mean()))
    correction = gray_card_correction(gray, value, raw=photo.facts.raw, sensor=photo.sensor)
    return _Reading(gray, correction, flags)


def _stand_in(photo: DecodedPhoto, card: Card, stated: CardValue | None) -> _Reading:
    assert card.region is not None
    mean = photo.part(card.region).mean
    correction = stand_in_correction(mean, card.kind, stated, raw=photo.facts.raw, sensor=photo.sensor)
    true = stand_in_linear(card.kind, stated)
    name, plain = STAND_INS[card.kind].name, card.kind in _PLAIN
    flags = check_card(photo, card.region, float(true @ RGB_TO_XYZ[1]), name, plain=plain)
    # A gray in its place would look so: what it has of color itself is no cast of the light.
    return _Reading(GRAY_CARD * mean / true, correction, (*correction.flags, *flags))


def _three_steps(photo: DecodedPhoto, card: Card, stated: CardValue | None) -> _Reading:
    from colormatch.reference.three_step import three_step_correction

    means = step_means(photo, card)
    correction = three_step_correction(means, step_reflectances(stated), raw=photo.facts.raw, sensor=photo.sensor)
    return _Reading(means[1], correction, correction.flags)


def step_means(photo: DecodedPhoto, card: Card) -> FloatArray:
    """(3, 3) float; mean uncorrected linear sRGB of the white, gray and black steps of a card."""
    from colormatch.reference.three_step import find_steps

    assert card.region is not None
    box, inside = photo.mask(card.region)
    linear_rgb = photo.linear(box)
    return np.stack([linear_rgb[step].mean(axis=0) for step in find_steps(linear_rgb, inside)])


def step_reflectances(stated: CardValue | None) -> tuple[float, float, float]:
    """White, gray and black reflectance as stated, or those of the common card."""
    from colormatch.reference.three_step import THREE_STEPS, check_steps

    values = THREE_STEPS if stated is None else stated
    if not isinstance(values, tuple) or isinstance(values, Lab):
        raise BadInput("One value was given for a three-step card.", "Give three, such as 0.89/0.18/0.035.")
    return check_steps(values)


def _chart(photo: DecodedPhoto, card: Card, stated: CardValue | None) -> _Reading:
    from colormatch.reference.chart import chart_correction

    reference = chart_reference(stated)
    patches = chart_patches(photo, card)
    correction = chart_correction(patches, reference, raw=photo.facts.raw, sensor=photo.sensor)
    return _Reading(patches[_NEUTRAL_5], correction, correction.flags)


def chart_patches(photo: DecodedPhoto, card: Card) -> FloatArray:
    """(24, 3) float; mean uncorrected linear sRGB of a chart's patches."""
    from colormatch.reference.chart_find import read_chart

    assert card.region is not None
    return read_chart(photo, card.region).linear_rgb


def chart_reference(stated: CardValue | None) -> FloatArray:
    """(24, 3) float; CIELAB of a chart's patches as stated, or of the issue since 2014."""
    from colormatch.reference.chart_values import BEFORE_2014, SINCE_2014, read_chart_file

    if isinstance(stated, Path):
        return read_chart_file(stated)
    if stated in (None, ChartIssue.SINCE_2014):
        return SINCE_2014
    if stated is ChartIssue.BEFORE_2014:
        return BEFORE_2014
    raise BadInput("A gray card's value was given for a chart.", "Give before-2014, since-2014, or its file.")


def _cast(gray_linear_rgb: FloatArray) -> tuple[float, float]:
    _, a, b = (float(value) for value in lab_from_linear(np.asarray(gray_linear_rgb, dtype=float)))
    return round(a, 2), round(b, 2)


# --- light -----------------------------------------------------------------------------------------------------------


def _with_lamp(light: Light, photo: DecodedPhoto, neutral_linear_rgb: FloatArray) -> Light:
    """Add the lamp's color temperature, known only for camera raw."""
    lamp = photo.sensor.lamp(neutral_linear_rgb) if photo.sensor else None
    return light if lamp is None else replace(light, cct_k=round(lamp[0]), duv=round(lamp[1], 4))


def _neutral_places(photo: DecodedPhoto, card: Card, white: Sequence[Region]) -> Places:
    """Parts of a gray card, and of the white areas."""
    of_card = NO_PLACES
    if card.kind in _PLAIN and card.region is not None:
        of_card = _parts(photo, card.region)
    others = NO_PLACES
    for region in white:
        others += _parts(photo, region)
    if of_card.middles.size and others.middles.size:
        lighter = float(np.median(others.linear_rgb) / np.median(of_card.linear_rgb))
        if not 1 / _SAME_SURFACE < lighter < _SAME_SURFACE:
            others = replace(others, surface=others.surface + 1)
    return of_card + others


def _of_one_tone(card: Card, white: Sequence[Region], places: Places) -> tuple[list[Region], list[int]]:
    """The gray card and white areas, and the surface of each."""
    gray = [card.region] if card.kind in _PLAIN and card.region is not None else []
    of_white = int(places.surface.max()) if places.surface.size else 0
    return [*gray, *white], [0] * len(gray) + [of_white] * len(white)


def _parts(photo: DecodedPhoto, region: Region) -> Places:
    part = photo.part(region)
    width, height = photo.pixels.size
    x, y, w, h = part.box
    return surface_parts(part.linear_rgb, part.inside, (x / width, y / height, w / width, h / height))


def _overexposed(photo: DecodedPhoto, region: Region) -> float:
    """Share of a region's pixels with a clipped channel."""
    part = photo.part(region)
    if not part.inside.any():
        raise RegionError(f"The region '{region.name or region.kind}' contains no pixels.", "Mark a larger piece.")
    return float((photo.encoded(part.box, part.every)[part.inside].max(axis=-1) >= CLIPPED).mean())


def light_doubt(neutral: Neutral, region: Region) -> tuple[Flag, ...]:
    """Flag a region in much stronger or weaker light than the card."""
    if neutral.plane is None or region.kind is RegionKind.WHITE:
        return ()
    level = float(neutral.plane.level(np.mean(region.points, axis=0)))
    if 1 / _OTHER_LIGHT <= level <= _OTHER_LIGHT:
        return ()
    text = (
        f"The region '{region.name or region.kind}' gets {level:.2f} times the light of the card; the program "
        "corrected that, but put the card beside it or use more even light for a more reliable reading."
    )
    return (Flag(FlagCode.OTHER_LIGHT, text, round(level, 3)),)


def linear_pixels(photo: DecodedPhoto, region: Region) -> FloatArray:
    """(n, 3) float32; uncorrected linear light inside a region."""
    part = photo.part(region)
    return part.linear_rgb[part.inside]


def balanced(photo: DecodedPhoto, neutral: Neutral, longest_side: int) -> FloatArray:
    """(h, w, 3) float; a reduced picture of the photo in corrected linear sRGB, for previews."""
    levels = linear_from_encoded(np.arange(256, dtype=np.float32) / np.float32(255))
    return neutral.correction.linear(np.take(levels, photo.evened(neutral.plane).preview(longest_side)))
