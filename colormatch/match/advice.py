"""What to say about a ranking, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.words import CLEAR, VISIBLE, directions
from colormatch.match.candidates import mixed_washes
from colormatch.match.doubts import shelf_doubts
from colormatch.match.ending import film_of_layer
from colormatch.match.finalists import nearest_washes
from colormatch.match.job import Job, Outcomes, Recipe
from colormatch.match.next_swatch import next_swatch
from colormatch.records import FloatArray, Lab, Layer, Limits, RankedWash
from colormatch.wash.film import lay
from colormatch.wash.paint import APPLICATION_SCATTER
from colormatch.wash.ratio import format_layers

#: What a spoon of water is off by: common practice, no source.
WATER_ERROR = 0.15
#: A helper's share of a mix up to which it is called a little.
_A_LITTLE = 1 / 3
#: Mixes that are played through when one might help.
_MIXES_TRIED = 8
#: ΔE00 that one more swatch must win to be worth its paint; our choice, above what 30 refits leave to chance.
_WORTH_A_SWATCH = 0.15


def advise(
    job: Job, outcomes: Outcomes, washes: Sequence[RankedWash], names: Sequence[str], limits: Limits
) -> tuple[str, ...]:
    """Sentences, the most useful first.

    Parameters
    ----------
    job : Job
    outcomes : Outcomes
        Of all finalists.
    washes : sequence of RankedWash
        All finalists in order.
    names : sequence of str
        The paints to choose from.
    limits : Limits
    """
    best = washes[0]
    said = []
    if float(delta_e(best.lab, job.finished)) > CLEAR:
        said.append(_nothing_near(job, best))
        if limits.mix == 1:
            said += _mix_that_helps(job, outcomes, names, limits)
    elif best.expected_delta_e > CLEAR:
        said.append(
            "The best guess comes near; what makes the expected ΔE large is doubt. "
            "A test strip beside the sound wood, or a better reference in the photo, would settle it."
        )
    said += _ties(washes)
    said += _untouched(washes)
    if best.layers:
        said.append(_sensitivity(job, best.layers))
        said += _next_swatch(job, outcomes)
    named = {part.paint for wash in washes[: limits.top] for layer in wash.layers for part in layer.paints}
    return (*said, *shelf_doubts(job.shelf, job.models, sorted(named)))


def _nothing_near(job: Job, best: RankedWash) -> str:
    missing = " and ".join(word for _, word in directions(_lab(job.finished), best.lab)[:2])
    return (
        f"Nothing that is allowed comes near: {format_layers(best.layers)} is the nearest and stays about "
        f"{best.expected_delta_e:.1f} ΔE off. What is missing is {missing}."
    )


def _mix_that_helps(job: Job, outcomes: Outcomes, names: Sequence[str], limits: Limits) -> list[str]:
    """The mix with one of the user's own paints that comes nearest, if the eye would see the gain."""
    order = np.argsort(outcomes.expected, kind="stable")
    single = next((outcomes.recipes[i] for i in order if len(outcomes.recipes[i]) == 1), None)
    if single is None:
        return []
    main = single[0].paints[0].paint
    pairs = [(main, other) for other in names if other != main]
    ending, body = job.ending(), job.body()
    recipes: list[Recipe] = []
    for washes in mixed_washes(pairs, job.models, limits):
        recipes += nearest_washes(washes, body, ending, job.finished, _MIXES_TRIED)
    if not recipes:
        return []
    tried = job.outcomes(recipes)
    place = int(np.argmin(tried.expected))
    gain = float(outcomes.expected[order[0]] - tried.expected[place])
    if gain < VISIBLE:
        return []
    mix = tried.recipes[place]
    helper = next(part for part in mix[0].paints if part.paint != main)
    share = helper.parts / sum(part.parts for part in mix[0].paints)
    amount = "A little" if share <= _A_LITTLE else "Some"
    return [
        f"{amount} {helper.paint} stirred into {main} would help: {format_layers(mix)} is expected to come within "
        f"{tried.expected[place]:.1f} ΔE. Allow mixes of two paints."
    ]


def _ties(washes: Sequence[RankedWash]) -> list[str]:
    first = [wash for wash in washes if wash.group == 1]
    if len(first) == 1:
        return []
    if not first[0].layers:
        return ["Leaving the damage as it is can't be told from the best recipe."]
    return ["The recipes of group 1 can't be told apart by what is known; the simplest stands first."]


def _untouched(washes: Sequence[RankedWash]) -> list[str]:
    """The reference: what happens when nothing is done."""
    wash = next((wash for wash in washes if not wash.layers), None)
    if wash is None or wash.group == 1:
        return []
    return [f"Left as it is, the damage stays about {wash.expected_delta_e:.1f} ΔE off: {wash.off}."]


def _sensitivity(job: Job, recipe: Recipe) -> str:
    """How far a spoon and a brush move the color."""
    usual = _color(job, recipe)
    thick = float(delta_e(_color(job, recipe, 1 + APPLICATION_SCATTER), usual))
    scatter = f"{APPLICATION_SCATTER:.0%} thicker or thinner"
    if all(layer.paint_fraction == 1 for layer in recipe):
        return f"{format_layers(recipe)}: the color moves by about {thick:.1f} ΔE where a coat is {scatter}."
    wet = float(delta_e(_color(job, [_watered(layer) for layer in recipe]), usual))
    return (
        f"{format_layers(recipe)}: {WATER_ERROR:.0%} more or less water moves the color by about {wet:.1f} ΔE, "
        f"a coat {scatter} by about {thick:.1f}."
    )


def _watered(layer: Layer) -> Layer:
    paint = layer.paint_fraction
    return replace(layer, paint_fraction=paint / (paint + (1 - paint) * (1 + WATER_ERROR)))


def _color(job: Job, recipe: Sequence[Layer], thick: float = 1.0) -> FloatArray:
    body = job.body()
    for layer in recipe:
        body = lay(film_of_layer(job.models, layer, thick), body)
    return job.ending().lab(body)


def _next_swatch(job: Job, outcomes: Outcomes) -> list[str]:
    found = next_swatch(job, outcomes)
    if found is None or found.before - found.after < _WORTH_A_SWATCH:
        return ["No single further swatch would lower the expected ΔE much: what is left is the brush and the reading."]
    return [
        f"The test strip most worth painting: {format_layers([found.layer])} on wood like the damage. It should bring "
        f"the expected ΔE of this repair from about {found.before:.1f} to about {found.after:.1f}."
    ]


def _lab(values: FloatArray) -> Lab:
    return Lab(*(float(v) for v in values))
