"""The whole job in a few calls, used by the command line, the app and notebooks.

Each stage is a separate call, so that a program can keep intermediate results: open the photo, find the neutral
reference, sample the marked regions, rank the washes, picture the repair.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.errors import RegionError, check_type
from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.image.pixels import PixelArray
from colormatch.records import (
    TYPED_UNCERTAINTY,
    Box,
    Flag,
    FlagCode,
    FloatArray,
    Lab,
    Layer,
    Limits,
    Match,
    Reading,
    Region,
    RegionKind,
    Sample,
    ShopChip,
    SurfaceState,
    Task,
)
from colormatch.reference.camera import LearnedCamera
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.known_colors import SeenBefore, tie_to_chips, unless_contradicted
from colormatch.reference.neutral import Neutral, find_neutral, light_doubt
from colormatch.sampling.mixed_light import across
from colormatch.sampling.patch_doubts import patch_doubts, same_surface
from colormatch.sampling.sample import combine, sample_region
from colormatch.sampling.surroundings import around_card
from colormatch.workshop import Workshop, dried, example_paint_notice, offered

if TYPE_CHECKING:
    from colormatch.match.next_swatch import NextSwatch
    from colormatch.match.spots import SpotsMatch


#: States of the sound wood and of the damage where they were read.
States = tuple[SurfaceState, SurfaceState]
BOTH_BARE: States = (SurfaceState.BARE, SurfaceState.BARE)


def read_photo(
    photo: DecodedPhoto | Path | str | bytes | PixelArray,
    regions: Sequence[Region],
    card: CardChoice | None = None,
    settled: Sequence[ShopChip] = (),
    learned: LearnedCamera | None = None,
    seen_before: Sequence[SeenBefore] = (),
) -> Reading:
    """Open a photo, correct it and read the colors of regions.

    Parameters
    ----------
    photo : DecodedPhoto, or an argument of `open_photo`
    regions : sequence of Region
        Regions to read, without the card. Those of kind ``white`` also give the illumination.
    card : CardChoice, optional
        By default, find the card.
    settled : sequence of ShopChip, optional
        Records of the shop chips among the regions.
    learned : LearnedCamera, optional
        Of the photo's camera; see :func:`find_neutral`.
    seen_before : sequence of SeenBefore, optional
        Wood of known color: where some contradicts the learned camera, the photo is read by its gray card alone.

    Returns
    -------
    Reading
        Its samples are in the order of the regions.

    Raises
    ------
    PhotoError
        See `open_photo`, :func:`find_neutral` and `sample_region`.
    """
    for region in regions:
        check_type(region, Region, "region")
    opened = photo if isinstance(photo, DecodedPhoto) else open_photo(photo)
    white = [region for region in regions if region.kind is RegionKind.WHITE]
    found = find_neutral(opened, card, white, learned)
    sure = unless_contradicted(opened, found, seen_before)
    neutral = tie_to_chips(opened, sure, regions, settled)
    return read_regions(opened, neutral, regions)


def read_regions(photo: DecodedPhoto, neutral: Neutral, regions: Sequence[Region]) -> Reading:
    """Read the colors of regions in a photo with a known neutral reference."""
    correction, even = neutral.correction, photo.evened(neutral.plane)
    of_card = neutral.card.region
    # Sorted by place, so that neither flags nor digits depend on the order of marking.
    by_place = sorted(regions, key=lambda region: region.order)
    samples = {region: sample_region(even, region, correction.lab, correction.systematic) for region in by_place}
    doubts = patch_doubts(even, samples, correction.lab, of_card)
    light = neutral.light
    if of_card is not None and neutral.plane is None:
        light = replace(light, flags=(*light.flags, *around_card(photo, of_card, by_place, correction.lab)))
    if not any(flag.code is FlagCode.LIGHT_MIXED for flag in light.flags):
        light = replace(light, flags=(*light.flags, *_two_lamps(even, of_card, doubts)))
    told = tuple(
        replace(samples[region], flags=(*samples[region].flags, *doubts[region], *light_doubt(neutral, region)))
        for region in regions
    )
    return Reading(photo.facts, neutral.card, light, told, correction.steps, correction.difference, neutral.learned)


def _two_lamps(photo: DecodedPhoto, card: Region | None, doubts: Mapping[Region, Sequence[Flag]]) -> tuple[Flag, ...]:
    """Flags for two kinds of light, from all patches of a surface, or without an outlier if there is one."""
    for patches in same_surface(list(doubts)):
        # A highlight on one patch would hide the trend of the others.
        like = [patch for patch in patches if not any(flag.code is FlagCode.PATCH_OFF for flag in doubts[patch])]
        for some in [patches] if like == patches else [patches, like]:
            if told := across(photo, card, some):
                return told
    return ()


def surface(reading: Reading, kind: RegionKind) -> Sample:
    """All samples of one kind of surface, combined.

    Raises
    ------
    RegionError
        No such sample is marked, or it reads brighter than white.
    """
    check_type(reading, Reading, "reading")
    chosen = reading.of_kind(kind)
    if not chosen:
        raise RegionError(f"No {kind.words} is marked.", f"Mark the {kind.words} in the photo.")
    found = combine(chosen, str(kind))
    if found.lab.L > 100:
        raise RegionError(
            f"The {kind.words} reads brighter than white: the card is in shadow, is darker than stated, or isn't "
            "a card.",
            "Lay it flat beside the wood, in the same light, and take the photo again.",
        )
    return found


def match_repair(
    reading: Reading,
    workshop: Workshop,
    limits: Limits | None = None,
    shift: tuple[str, float] | None = None,
    states: States = BOTH_BARE,
) -> Match:
    """Rank the washes of a workshop for a repair read from one photo.

    Parameters
    ----------
    reading : Reading
        Has at least one sample of sound wood and one of damage.
    workshop : Workshop
    limits : Limits, optional
    shift : (direction, ΔE00), optional
        Aim "warmer", "cooler", "darker" or "lighter" than the sound wood.
    states : (SurfaceState, SurfaceState)
        Of the sound wood and of the damage.

    Raises
    ------
    RegionError, PaintError, NothingToRank
    """
    check_type(reading, Reading, "reading")
    check_type(workshop, Workshop, "workshop")
    return _rank(task_of(reading, states=states), workshop, limits, shift)


def match_kept(
    kept: Lab,
    reading: Reading,
    workshop: Workshop,
    limits: Limits | None = None,
    shift: tuple[str, float] | None = None,
    kept_uncertainty: float = TYPED_UNCERTAINTY,
    states: States = BOTH_BARE,
) -> Match:
    """Rank washes that turn the damage in a photo into a stored color, such as a companion piece's.

    The photo's whole error counts, since none of it cancels against the stored color. That color's own error is
    ``kept_uncertainty`` (ΔE00, 90 % radius). A shop chip in both photos reduces both errors.

    Raises
    ------
    RegionError, PaintError, NothingToRank
    """
    _refuse_marks_on_the_card(reading)
    damage = surface(reading, RegionKind.DAMAGE)
    task = _in_states(Task(kept, damage.lab, kept_uncertainty, damage.uncertainty), states)
    return _rank(task, workshop, limits, shift)


def match_spots(
    reading: Reading,
    workshop: Workshop,
    limits: Limits | None = None,
    shift: tuple[str, float] | None = None,
    states: States = BOTH_BARE,
) -> SpotsMatch:
    """Rank washes for each region of damage, and single washes for all of them.

    Parameters as for :func:`match_repair`.

    Raises
    ------
    RegionError, PaintError, NothingToRank
    """
    from colormatch.match.spots import rank_for_all

    task = _shifted(task_of(reading, states=states), shift)
    half = reading.difference.figure / math.sqrt(2)
    spots = [
        replace(
            task,
            ground=sample.lab,
            ground_uncertainty=math.hypot(sample.random, half),
            distance_uncertainty=reading.difference.share * float(delta_e(task.target, sample.lab)),
        )
        for sample in reading.of_kind(RegionKind.DAMAGE)
    ]
    shelf, allowed = offered(workshop, limits)
    return rank_for_all(spots, shelf, workshop.models, allowed)


def match_grain(
    reading: Reading,
    field: Sequence[Layer],
    workshop: Workshop,
    limits: Limits | None = None,
    states: States = BOTH_BARE,
) -> Match | None:
    """Rank washes for drawing grain lines on the washed field; None if the sound wood shows no lines.

    Parameters
    ----------
    field : sequence of Layer
        The recipe chosen for the field.
    """
    from colormatch.match.spots import rank_grain_lines

    lines = surface(reading, RegionKind.SOUND).grain_lab
    if lines is None:
        return None
    task = replace(task_of(reading, states=states), target=lines)
    shelf, allowed = offered(workshop, limits)
    return rank_grain_lines(task, tuple(field), shelf, workshop.models, allowed)


def swatch_worth_painting(reading: Reading, workshop: Workshop, paint: str) -> NextSwatch | None:
    """The swatch of a paint that would help a repair most, if that paint were used.

    Raises
    ------
    RegionError
    """
    from colormatch.match.finalists import finalists
    from colormatch.match.next_swatch import next_swatch
    from colormatch.match.problem import MatchProblem

    limits = Limits(paints=(paint,))
    job = MatchProblem.of(task_of(reading), workshop.shelf, workshop.models, limits)
    recipes, _ = finalists(job, (paint,), limits)
    return next_swatch(job, job.outcomes(recipes))


def _refuse_marks_on_the_card(reading: Reading) -> None:
    if reading.card.region is None:
        return
    size = reading.photo.width, reading.photo.height
    card_box, card = reading.card.region.mask(*size)
    for region in (sample.region for sample in reading.samples if sample.region is not None):
        x, y = region.corners(*size).mean(axis=0).astype(int) - card_box[:2]
        if 0 <= y < card.shape[0] and 0 <= x < card.shape[1] and card[y, x]:
            raise RegionError(f"The region '{region.name or region.kind}' lies on the card.", "Mark the wood itself.")


def match_colors(
    target: Lab,
    over: Lab,
    workshop: Workshop,
    limits: Limits | None = None,
    shift: tuple[str, float] | None = None,
    target_uncertainty: float = TYPED_UNCERTAINTY,
    over_uncertainty: float = TYPED_UNCERTAINTY,
    states: States = BOTH_BARE,
) -> Match:
    """Rank the washes of a workshop that turn one color into another; uncertainties in ΔE00, 90 % radius."""
    task = _in_states(Task(target, over, target_uncertainty, over_uncertainty), states)
    return _rank(task, workshop, limits, shift)


def difference_error(reading: Reading, first: Lab, second: Lab) -> float:
    """Error left by a photo's correction in the difference of two of its colors: ΔE00, 90 % radius."""
    return reading.difference.radius(float(delta_e(first, second)))


def task_of(reading: Reading, under: RegionKind = RegionKind.DAMAGE, states: States = BOTH_BARE) -> Task:
    """The task of a repair: from one kind of surface to the sound wood of the same photo.

    Raises
    ------
    RegionError
        One of them is not marked, or a mark is on the card.
    """
    _refuse_marks_on_the_card(reading)
    sound, ground = surface(reading, RegionKind.SOUND), surface(reading, under)
    # Most of the photo's error is common to both surfaces. Of what is left in their difference, the figure is laid on
    # the two by halves of its variance. The share of their distance is of the way between them, whatever wash goes it.
    apart = reading.difference.figure / math.sqrt(2)
    distance = reading.difference.share * float(delta_e(sound.lab, ground.lab))
    of_sound, of_ground = (math.hypot(sample.random, apart) for sample in (sound, ground))
    shared = math.sqrt(max(0.0, sound.systematic**2 - apart**2))
    return _in_states(Task(sound.lab, ground.lab, of_sound, of_ground, shared, distance), states)


def _in_states(task: Task, states: States) -> Task:
    return replace(task, target_state=states[0], ground_state=states[1])


def _rank(task: Task, workshop: Workshop, limits: Limits | None, shift: tuple[str, float] | None) -> Match:
    from colormatch.match.rank import rank_washes

    task = _shifted(task, shift)
    shelf, allowed = offered(workshop, limits)
    match = rank_washes(task, shelf, workshop.models, allowed)
    return replace(match, advice=(*example_paint_notice(workshop, shelf), *match.advice))


def _shifted(task: Task, shift: tuple[str, float] | None) -> Task:
    from colormatch.match.targets import shift_target

    return task if shift is None else replace(task, target=shift_target(task.target, *shift))


def boxed(photo: DecodedPhoto, kind: RegionKind, boxes: Sequence[Box]) -> list[Region]:
    """Numbered regions of one kind from pixel boxes."""
    size = photo.facts.width, photo.facts.height
    return [Region.from_box(kind, box, *size, f"{kind} {number}") for number, box in enumerate(boxes, 1)]


def picture(
    linear_rgb: FloatArray, regions: Sequence[Region], ground: Lab, layers: Sequence[Layer], workshop: Workshop
) -> FloatArray:
    """Picture a recipe over the marked damage in a white-balanced picture.

    Parameters
    ----------
    linear_rgb : (h, w, 3) float
        From :func:`colormatch.reference.neutral.balanced`, at any scale.
    regions : sequence of Region
        Those of kind damage are painted.
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
