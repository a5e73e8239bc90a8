"""Advice about a ranking, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.words import CLEAR, VISIBLE, directions
from colormatch.match.doubts import mix_not_painted, shelf_doubts
from colormatch.match.finalists import finalists, nearest_that_hides
from colormatch.match.finish import film_of_layer
from colormatch.match.next_swatch import next_swatch
from colormatch.match.problem import MatchProblem, Outcomes, Recipe
from colormatch.records import FloatArray, Lab, Layer, Limits, Match, RankedWash
from colormatch.wash.film import lay
from colormatch.wash.paint import APPLICATION_SCATTER, WATER_ERROR
from colormatch.wash.ratio import format_layers

#: Share of the second paint in a mix up to which it is called a little; our choice.
_A_LITTLE = 1 / 3
#: More paints help if at most this share of the remaining difference is left, minus a visible difference; our choice.
_HELPS = 0.9
#: Paints examined when more paints or mixes might help: the closest ones; their mixes take half a second.
_PAINTS_TRIED = 16
#: Gain in the probability of no visible difference that is worth a sentence; our choice, above the noise of 120 draws.
_CLEARLY_LIKELIER = 0.05
#: Gain in ΔE00 from which one more swatch is worth painting; our choice, above the noise of 30 refits.
WORTH_A_SWATCH = 0.15

#: What to do about damage that is darker than the sound wood: common practice, no source.
_DARKER = (
    "The damage is darker than the sound wood, and a wash can't lighten: paint that lightens also hides the grain. "
    "First check that the two marks are not swapped.",
    "If they are not, the way depends on what is dark. A faded surface beside a dark one: wash the lighter one to "
    "match. A dark filler: scrape it out and fill again with a lighter one. A stain in bare wood: lighten it with wood "
    "bleach, with gloves, goggles and fresh air, as the maker's sheet says. A dark spot in the finish: repair the "
    "finish first.",
)


def advise(
    job: MatchProblem, outcomes: Outcomes, washes: Sequence[RankedWash], names: Sequence[str], limits: Limits
) -> tuple[str, ...]:
    """Sentences about a ranking, most useful first.

    Parameters
    ----------
    job : MatchProblem
    outcomes : Outcomes
        Outcomes of all finalists.
    washes : sequence of RankedWash
        All finalists in order.
    names : sequence of str
        The paints to choose from.
    limits : Limits
    """
    best = washes[0]
    said = []
    apart = float(delta_e(outcomes.lab[outcomes.recipes.index(())], job.finished))
    if apart < VISIBLE:
        said.append(
            f"Do nothing: the damage is {apart:.1f} ΔE from the target color, and at {VISIBLE:.1f} half of all people "
            "see no difference."
        )
    elif float(delta_e(best.lab, job.finished)) > CLEAR:
        said.append(_nothing_near(job, best))
        if job.task.target.L - job.task.ground.L > CLEAR:
            said += _DARKER
        said += _what_would_help(job, outcomes, names, limits)
    elif best.expected_delta_e > CLEAR:
        said.append(
            f"By the best guess the difference is {float(delta_e(best.lab, job.finished)):.1f} ΔE; "
            f"{best.expected_delta_e:.1f} is expected because of uncertainty. Paint a test strip beside the sound "
            "wood, or use a better reference in the photo."
        )
    if limits.grain_kept:
        said += _hiding(job, best, names, limits)
    said += _ties(washes)
    said += _untouched(washes)
    if best.layers:
        said.append(_sensitivity(job, best.layers))
        said += _next_swatch(job, outcomes)
    said += [flag.text for flag in mix_not_painted(best.layers)]
    named = {part.paint for wash in washes[: limits.top] for layer in wash.layers for part in layer.paints}
    return (*said, *shelf_doubts(job.shelf, job.models, sorted(named)))


def likeliest(match: Match) -> tuple[str, ...]:
    """Sentence about the wash that is most likely to leave no visible difference, if it isn't the first."""
    first, wash = match.washes[0], match.likeliest_unseen
    if wash.unseen - first.unseen < _CLEARLY_LIKELIER:
        return ()
    return (
        f"Recipe {wash.rank}, {format_layers(wash.layers)}, is the likeliest to leave no visible difference, in "
        f"{100 * wash.unseen:.0f} of 100 cases; recipe 1 does in {100 * first.unseen:.0f}, and is expected to be "
        f"{first.expected_delta_e:.1f} ΔE off instead of {wash.expected_delta_e:.1f}.",
    )


def _nothing_near(job: MatchProblem, best: RankedWash) -> str:
    wanted = " and ".join(word for _, word in directions(Lab.from_array(job.finished), best.lab)[:2])
    nearest = format_layers(best.layers) if best.layers else "the damage as it is"
    return (
        f"No allowed recipe comes close: {nearest} is the closest and stays about {best.expected_delta_e:.1f} ΔE off. "
        f"It would have to be {wanted}."
    )


def _what_would_help(job: MatchProblem, outcomes: Outcomes, names: Sequence[str], limits: Limits) -> list[str]:
    """The user's own paints that come nearer where more is allowed, if the eye would see the gain.

    By the best guess: a mix that nobody has painted is doubted, and a test strip settles it.
    """
    order = np.argsort(outcomes.order, kind="stable")
    now = float(np.min(delta_e(outcomes.lab, job.finished)))
    nearest = dict.fromkeys(p.paint for i in order for layer in outcomes.recipes[i] for p in layer.paints)
    shelf = sorted([*nearest, *sorted(_on_shelf(job) - set(nearest))][:_PAINTS_TRIED])
    more = set(shelf) - set(names)
    wider = [replace(limits, mix=2, layers=1)] if more or limits.mix == 1 else []
    wider += [replace(limits, mix=1, layers=2)] if more or limits.layers == 1 else []
    for allowed in wider:
        tried = job.outcomes(finalists(job, shelf, allowed)[0])
        off = np.asarray(delta_e(tried.lab, job.finished))
        place = int(np.argmin(off))
        if off[place] < _HELPS * now - VISIBLE:
            recipe = tried.recipes[place]
            return [
                f"{_helper(recipe)} would help: by the best guess, {format_layers(recipe)} comes within "
                f"{off[place]:.1f} ΔE. Allow {_needs(recipe, names, limits)}."
            ]
    return []


def _on_shelf(job: MatchProblem) -> set[str]:
    """Paints that may be recommended: those with swatches on the shelf being ranked."""
    return {paint.name for paint in job.shelf.paints if paint.name in job.models}


def _helper(recipe: Recipe) -> str:
    """The paint that makes the difference in a recipe: stirred in, on top, or the only one."""
    for layer in recipe:
        if len(layer.paints) > 1:
            less, more = sorted(layer.paints, key=lambda part: part.parts)
            amount = "A little" if less.parts / (less.parts + more.parts) <= _A_LITTLE else "Some"
            return f"{amount} {less.paint} stirred into {more.paint}"
    return " over ".join(layer.paints[0].paint for layer in reversed(recipe))


def _needs(recipe: Recipe, names: Sequence[str], limits: Limits) -> str:
    """Limits that a recipe needs, in words."""
    needs = sorted({part.paint for layer in recipe for part in layer.paints} - set(names))
    if limits.mix == 1 and any(len(layer.paints) > 1 for layer in recipe):
        needs.append("mixes of two paints")
    if limits.layers < len(recipe):
        needs.append("a second wash")
    return " and ".join([", ".join(needs[:-1]), needs[-1]] if needs[1:] else needs)


def _hiding(job: MatchProblem, best: RankedWash, names: Sequence[str], limits: Limits) -> list[str]:
    """Sentence about a wash that was left out because it hides the grain, if it comes visibly nearer."""
    found = nearest_that_hides(job, names, limits)
    if found is None or found[1] > float(delta_e(best.lab, job.finished)) - VISIBLE:
        return []
    layer, distance, kept = found
    return [
        f"{format_layers([layer])} would come nearer, by the best guess {distance:.1f} ΔE, but would hide the grain: "
        f"only {kept:.0%} of the wood's own contrast would show. It is left out unless you allow it."
    ]


def _ties(washes: Sequence[RankedWash]) -> list[str]:
    first = [wash for wash in washes if wash.group == 1]
    if len(first) == 1:
        return []
    if not first[0].layers:
        return ["Leaving the damage as it is may be as good as the best recipe."]
    return ["The recipes of group 1 are equally good as far as is known; the simplest is first."]


def _untouched(washes: Sequence[RankedWash]) -> list[str]:
    """Sentence about leaving the damage alone, as a reference."""
    wash = next((wash for wash in washes if not wash.layers), None)
    if wash is None or wash.group == 1:
        return []
    return [f"Left as it is, the damage stays about {wash.expected_delta_e:.1f} ΔE off: {wash.off}."]


def _sensitivity(job: MatchProblem, recipe: Recipe) -> str:
    """Sentence about the effect of measuring and brushing errors on the color."""
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


def _color(job: MatchProblem, recipe: Sequence[Layer], thick: float = 1.0) -> FloatArray:
    body = job.body()
    for layer in recipe:
        body = lay(film_of_layer(job.models, layer, thick), body)
    return job.ending().lab(body)


def _next_swatch(job: MatchProblem, outcomes: Outcomes) -> list[str]:
    found = next_swatch(job, outcomes)
    if found is None or found.before - found.after < WORTH_A_SWATCH:
        return [
            "No single further swatch would reduce the expected ΔE much: what remains comes from the brush and the "
            "reading."
        ]
    return [
        f"To know the paints better, paint this swatch next: {format_layers([found.layer])} on wood like the damage. "
        f"It should reduce the expected ΔE of this repair from about {found.before:.1f} to about {found.after:.1f}. "
        "The strip that Mix asks for is a different one: it tests the wash that you picked."
    ]
