"""The whole job in a few calls: what the command line, the app and a notebook stand on.

Each stage is a call of its own, so that a program can keep what it has: open the photo, find the neutral reference,
sample the marked regions, rank the washes, picture the repair.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import lab_from_linear, linear_from_encoded
from colormatch.errors import BadInput, CardNotFound, PaintError, RegionError
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
from colormatch.photo.read import DecodedPhoto, open_photo
from colormatch.photo.sample import combine, sample_region
from colormatch.photo.three_step import THREE_STEPS, find_steps, three_step_correction
from colormatch.records import (
    Box,
    Card,
    CardKind,
    Flag,
    FloatArray,
    Lab,
    Layer,
    Light,
    Limits,
    Match,
    Paint,
    RankedWash,
    Reading,
    Region,
    RegionKind,
    Sample,
    Shelf,
    lab_of,
)

if TYPE_CHECKING:
    from colormatch.bench.check import Check
    from colormatch.library.store import Library
    from colormatch.wash.paint import PaintModel


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


def read_photo(
    photo: DecodedPhoto | Path | bytes,
    regions: Sequence[Region],
    card: CardChoice | None = None,
    settled: Mapping[str, Lab] | None = None,
) -> Reading:
    """Open a photo, correct it and read the colors of regions.

    Parameters
    ----------
    photo : DecodedPhoto, Path or bytes
    regions : sequence of Region
        What to read; the card is none of them.
    card : CardChoice, optional
        Looked for by default.
    settled : mapping of Lab by name, optional
        Colors of shop chips among the regions.

    Returns
    -------
    Reading
        Its samples stand in the order of the regions.

    Raises
    ------
    PhotoError
        See `open_photo`, :func:`find_neutral` and `sample_region`.
    """
    opened = photo if isinstance(photo, DecodedPhoto) else open_photo(photo)
    neutral = tie_to_chips(opened, find_neutral(opened, card), regions, settled or {})
    return read_regions(opened, neutral, regions)


def read_regions(photo: DecodedPhoto, neutral: Neutral, regions: Sequence[Region]) -> Reading:
    """Read the colors of regions of a photo whose neutral reference is known."""
    correction = neutral.correction
    samples = tuple(sample_region(photo, region, correction.lab, correction.systematic) for region in regions)
    difference = correction.systematic_difference
    return Reading(photo.facts, neutral.card, neutral.light, samples, correction.steps, difference)


def surface(reading: Reading, regions: Sequence[Region], kind: RegionKind) -> Sample:
    """All samples of one kind of surface taken together.

    Raises
    ------
    RegionError
        None is marked.
    """
    chosen = [s for s, region in zip(reading.samples, regions, strict=True) if region.kind is kind]
    if not chosen:
        what = {RegionKind.SOUND: "sound wood", RegionKind.DAMAGE: "damage", RegionKind.REPAIR: "repair"}.get(
            kind, str(kind)
        )
        raise RegionError(f"No {what} is marked.", f"Mark the {what} in the photo.")
    return combine(chosen, str(kind))


def fitted_models(
    shelf: Shelf, library: Library | None = None, progress: Callable[[int, int], None] | None = None
) -> dict[str, PaintModel]:
    """The model of every paint that has swatches, from the library's memory where it is fresh.

    Parameters
    ----------
    shelf : Shelf
    library : Library, optional
        Where fits are remembered under the content they were made from, so that none is ever stale.
    progress : callable, optional
        Called with the number of paints done and of all, before each and after the last.
    """
    from colormatch.wash.paint import PaintModel, fit_key, fit_paint

    models: dict[str, PaintModel] = {}
    fresh: dict[str, bytes] = {}
    measured = [(paint.name, swatches) for paint in shelf.paints if (swatches := shelf.of(paint.name))]
    for done, (name, swatches) in enumerate(measured):
        if progress:
            progress(done, len(measured))
        key = fit_key(swatches)
        kept = library.remembered(key) if library else None
        if kept is None:
            models[name] = fit_paint(swatches)
            fresh[key] = models[name].to_bytes()
        else:
            models[name] = PaintModel.from_bytes(kept)
    if progress:
        progress(len(measured), len(measured))
    if library and fresh:
        library.remember(fresh)
    return models


@dataclass(frozen=True, eq=False)
class Workshop:
    """A shelf made ready for matching."""

    shelf: Shelf
    #: Of every paint that has swatches, by name.
    models: Mapping[str, PaintModel]
    #: Whether the shipped example lends its shelf, because the library holds no paint yet.
    lent: bool


def open_workshop(folder: Path | None = None, progress: Callable[[int, int], None] | None = None) -> Workshop:
    """Open a library and fit its paints; an empty one lends the starter's shelf, and says so.

    Raises
    ------
    LibraryError
        See `Library.open`.
    """
    from colormatch.library.store import Library

    library = Library.open(folder)
    shelf, starter = _shelf_of(library)
    return Workshop(shelf, fitted_models(shelf, library, progress), starter)


def shelf_in_use(folder: Path | None = None) -> tuple[Shelf, bool]:
    """A library's shelf, or the starter's where it holds no paint; and whether it is the starter's."""
    from colormatch.library.store import Library

    return _shelf_of(Library.open(folder))


def _shelf_of(library: Library) -> tuple[Shelf, bool]:
    from colormatch.library.starter import starter_shelf

    shelf = library.shelf()
    return (shelf, False) if shelf.paints else (starter_shelf(), True)


def paint_named(shelf: Shelf, name: str) -> Paint:
    """The paint of that name, whatever its capitals.

    Raises
    ------
    PaintError
        None is on the shelf.
    """
    for paint in shelf.paints:
        if paint.name.casefold() == name.strip().casefold():
            return paint
    known = ", ".join(paint.name for paint in shelf.paints) or "none"
    raise PaintError(f"There is no paint {name} on the shelf.", f"Choose one of: {known}.")


def rounding_cost(shelf: Shelf, layer: Layer, measured: Layer, ground: Lab) -> float:
    """ΔE00 between a wash as the recipe states it and as it was measured out, over a ground."""
    names = {part.paint for part in layer.paints}
    some = Shelf(tuple(paint for paint in shelf.paints if paint.name in names), shelf.swatches)
    workshop = Workshop(some, fitted_models(some), lent=False)
    colors = [dried(workshop, [wash], np.asarray([ground])) for wash in (layer, measured)]
    return float(delta_e(*colors)[0])


def starter_workshop() -> Workshop:
    """The shipped example's shelf, without a library."""
    from colormatch.library.starter import starter_shelf

    shelf = starter_shelf()
    return Workshop(shelf, fitted_models(shelf), lent=False)


def match_repair(
    reading: Reading,
    regions: Sequence[Region],
    workshop: Workshop,
    limits: Limits | None = None,
    shift: tuple[str, float] | None = None,
) -> Match:
    """Rank the washes of a workshop for a repair that was read from one photo.

    Parameters
    ----------
    reading : Reading
        Of ``regions``, in their order.
    regions : sequence of Region
        At least one of sound wood and one of damage.
    workshop : Workshop
    limits : Limits, optional
    shift : (direction, ΔE00), optional
        Aim "warmer", "cooler", "darker" or "lighter" than the sound wood.

    Raises
    ------
    RegionError, PaintError, NothingToRank
    """
    _refuse_marks_on_the_card(reading, regions)
    sound, damage = surface(reading, regions, RegionKind.SOUND), surface(reading, regions, RegionKind.DAMAGE)
    return _rank_surfaces(sound, damage, reading.difference, workshop, limits, shift)


def _refuse_marks_on_the_card(reading: Reading, regions: Sequence[Region]) -> None:
    if reading.card.region is None:
        return
    size = reading.photo.width, reading.photo.height
    card_box, card = reading.card.region.mask(*size)
    for region in regions:
        x, y = region.corners(*size).mean(axis=0).astype(int) - card_box[:2]
        if 0 <= y < card.shape[0] and 0 <= x < card.shape[1] and card[y, x]:
            raise RegionError(f"The region '{region.name or region.kind}' lies on the card.", "Mark the wood itself.")


def match_colors(
    target: Lab,
    over: Lab,
    workshop: Workshop,
    limits: Limits | None = None,
    shift: tuple[str, float] | None = None,
) -> Match:
    """Rank the washes of a workshop that turn one color into another, both taken as exact."""
    return _rank(target, 0.0, over, 0.0, 0.0, workshop, limits, shift)


def _rank_surfaces(
    sound: Sample,
    under: Sample,
    difference: float,
    workshop: Workshop,
    limits: Limits | None,
    shift: tuple[str, float] | None,
) -> Match:
    # Most of the photo's error is common to both surfaces. What is left of it in their difference is laid on the two by
    # halves of its variance.
    apart = difference / math.sqrt(2)
    own = [math.hypot(surface.random, apart) for surface in (sound, under)]
    shared = math.sqrt(max(0.0, sound.systematic**2 - apart**2))
    return _rank(sound.lab, own[0], under.lab, own[1], shared, workshop, limits, shift)


def _rank(
    target: Lab,
    target_uncertainty: float,
    ground: Lab,
    ground_uncertainty: float,
    shared_uncertainty: float,
    workshop: Workshop,
    limits: Limits | None,
    shift: tuple[str, float] | None,
) -> Match:
    from colormatch.match.rank import rank_washes
    from colormatch.match.targets import shift_target

    if shift is not None:
        target = shift_target(target, *shift)
    match = rank_washes(
        target,
        target_uncertainty,
        ground,
        ground_uncertainty,
        workshop.shelf,
        workshop.models,
        spelled_as_on_the_tins(limits or Limits(), workshop.shelf),
        shared_uncertainty=shared_uncertainty,
    )
    if not workshop.lent:
        return match
    note = "Your library holds no paint yet: these are the invented paints of the shipped example."
    return replace(match, advice=(note, *match.advice))


def spelled_as_on_the_tins(limits: Limits, shelf: Shelf) -> Limits:
    """Limits with the names of paints and clear coat as the shelf writes them, whatever their capitals.

    Raises
    ------
    PaintError
        A paint is not on the shelf.
    """
    then = tuple(
        replace(layer, paints=tuple(replace(part, paint=paint_named(shelf, part.paint).name) for part in layer.paints))
        for layer in limits.then
    )
    paints = tuple(paint_named(shelf, name).name for name in limits.paints)
    clear = {pair.name.casefold(): pair.name for pair in shelf.clear_coats}.get(limits.clear.casefold(), limits.clear)
    return replace(limits, paints=paints, then=then, clear=clear)


def parse_shift(text: str | None) -> tuple[str, float] | None:
    """``darker=2`` as a direction and an amount in ΔE00.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> parse_shift("darker=2")
    ('darker', 2.0)
    """
    if not text:
        return None
    direction, equals, amount = text.partition("=")
    try:
        size = float(amount)
    except ValueError:
        size = -1.0
    if not equals or direction not in ("warmer", "cooler", "darker", "lighter") or not 0 <= size <= 50:
        raise BadInput(f"'{text}' is no shift.", "Say for example warmer=1.5, cooler=1, darker=3 or lighter=2.")
    return direction, size


def boxed(photo: DecodedPhoto, kind: RegionKind, boxes: Sequence[Box]) -> list[Region]:
    """Regions of one kind from pixel boxes, named and numbered."""
    size = photo.facts.width, photo.facts.height
    return [Region.from_box(kind, box, *size, f"{kind} {number}") for number, box in enumerate(boxes, 1)]


def check_strips(photo: DecodedPhoto, neutral: Neutral, regions: Sequence[Region]) -> list[Check]:
    """Test strips beside sound wood in one photo, the nearest first.

    Raises
    ------
    RegionError
        No sound wood is marked.
    """
    from colormatch.bench.check import rank_strips

    reading = read_regions(photo, neutral, regions)
    sound = surface(reading, regions, RegionKind.SOUND)
    strips = [s for s, region in zip(reading.samples, regions, strict=True) if region.kind is RegionKind.STRIP]
    return rank_strips(strips, sound, neutral.correction.systematic_difference)


def next_washes(
    photo: DecodedPhoto, neutral: Neutral, regions: Sequence[Region], workshop: Workshop
) -> tuple[Check, tuple[RankedWash, ...]]:
    """A dried repair beside sound wood in one photo, and the washes over it that are expected to bring it nearer.

    Returns
    -------
    Check
    tuple of RankedWash
        Best first, at most three; empty where it is time to stop.

    Raises
    ------
    RegionError
        No sound wood or no repair is marked.
    """
    from colormatch.bench.check import compare

    reading = read_regions(photo, neutral, regions)
    sound, repair = (surface(reading, regions, kind) for kind in (RegionKind.SOUND, RegionKind.REPAIR))
    check = compare(repair, sound, neutral.correction.systematic_difference)
    if check.done:
        return check, ()
    over = _rank_surfaces(sound, repair, reading.difference, workshop, Limits(coats=2), None)
    return check, tuple(w for w in over.washes if w.layers and w.expected_delta_e < check.delta_e)[:3]


def check_repair(
    photo: DecodedPhoto, neutral: Neutral, regions: Sequence[Region], workshop: Workshop
) -> tuple[Check, list[str]]:
    """:func:`next_washes` with the advice in plain sentences."""
    from colormatch.wash.ratio import format_layers

    check, better = next_washes(photo, neutral, regions, workshop)
    if check.done:
        return check, ["Stop here: another coat can hardly make it better. Seal it like the rest of the piece."]
    if not better:
        return check, ["No wash on the shelf is expected to bring it nearer: stop, or wipe back while it still gives."]
    return check, [
        f"Over it as it is now: {format_layers(wash.layers)}, expected ΔE00 {wash.expected_delta_e:.1f} "
        f"({wash.low:.1f} to {wash.high:.1f}). Try it on a test strip first."
        for wash in better
    ]


def balanced(photo: DecodedPhoto, neutral: Neutral, longest_side: int) -> FloatArray:
    """(h, w, 3) float; a smaller picture of the photo in corrected linear sRGB, for previews."""
    small = photo.preview(longest_side).astype(np.float32) / np.float32(255)
    return neutral.correction.linear(linear_from_encoded(small))


def picture(
    linear_rgb: FloatArray, regions: Sequence[Region], ground: Lab, layers: Sequence[Layer], workshop: Workshop
) -> FloatArray:
    """A recipe laid over the marked damage in a white-balanced picture.

    Parameters
    ----------
    linear_rgb : (h, w, 3) float
        From :func:`balanced`, at any scale.
    regions : sequence of Region
        Those of damage are painted.
    ground : Lab
        Mean color of the damage.
    layers : sequence of Layer
        Lowest first.
    workshop : Workshop

    Returns
    -------
    (h, w, 3) float; linear sRGB
    """
    from colormatch.render.preview import picture_repair

    height, width = linear_rgb.shape[:2]
    damage = np.zeros((height, width), dtype=bool)
    for region in regions:
        if region.kind is RegionKind.DAMAGE:
            box, inside = region.mask(width, height)
            damage[box.y : box.y + box.h, box.x : box.x + box.w] |= inside
    return picture_repair(linear_rgb, damage, ground, lambda grounds: dried(workshop, layers, grounds))


def dried(workshop: Workshop, layers: Sequence[Layer], grounds: FloatArray) -> FloatArray:
    """(n, 3) CIELAB; best estimate of what a recipe dries to over (n, 3) CIELAB grounds."""
    from colormatch.color.spectra import lab_from_reflectance, reflectance_from_lab
    from colormatch.match.ending import film_of_layer
    from colormatch.wash.film import bare, lay, seen

    body = bare(reflectance_from_lab(grounds))
    for layer in layers:
        body = lay(film_of_layer(workshop.models, layer), body)
    return lab_from_reflectance(seen(body))
