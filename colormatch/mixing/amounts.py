"""Amounts to mix: from an area or a batch to measured ingredients, with the available measures."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from colormatch.errors import BadInput
from colormatch.mixing.measures import WATER, Practice
from colormatch.records import Flag, FlagCode, Layer, Paint
from colormatch.wash.ratio import ROUNDING

#: Smallest batch, ml, that loads a brush; our choice.
LEAST_BATCH_ML = 5.0
#: Largest batch, ml: more than any piece of furniture takes.
MOST_BATCH_ML = 100_000.0

#: Relative rounding error from which the measure is flagged as too coarse; our choice.
_COARSE = 0.1
#: Number of batch sizes tried for one that measures well. Our choice: at 500 steps even 1 part in 20 is 25 steps, which
#: round to within 2 %.
_TRIED = 500


@dataclass(frozen=True)
class Measure:
    """One ingredient of the cup."""

    #: Name of a paint, or of the thinner.
    name: str
    #: By volume; the smallest ingredient is 1.
    parts: float
    #: Exact amount in the recipe.
    exact_ml: float
    #: Amount rounded to the smallest measure.
    ml: float
    #: Density, g/ml.
    density: float = WATER

    @property
    def grams(self) -> float:
        """Weight of the rounded amount, g."""
        return self.ml * self.density


@dataclass(frozen=True)
class Batch:
    """A wash, ready to mix."""

    #: Paints in the recipe's order, the thinner last (none for a full-strength layer).
    measures: tuple[Measure, ...]
    #: The recipe with the rounded measures: the wash that is really brushed on.
    layer: Layer
    #: The same with one smallest measure too much of the first paint, as a measuring error.
    slip: Layer
    #: Price of its paint, in the user's currency; None if a price is unknown.
    cost: float | None

    @property
    def ml(self) -> float:
        """Volume of the whole batch as measured, ml."""
        return math.fsum(measure.ml for measure in self.measures)

    @property
    def grams(self) -> float:
        """Weight of the whole batch, g."""
        return math.fsum(measure.grams for measure in self.measures)


@dataclass(frozen=True)
class Amounts:
    """Amounts for a whole recipe: one batch per wash."""

    batches: tuple[Batch, ...]
    #: Price of all paint, in the user's currency; None if a price is unknown.
    cost: float | None
    #: Flags for measures that are too coarse, and for paints with less left than the recipe needs.
    flags: tuple[Flag, ...]

    @property
    def layers(self) -> tuple[Layer, ...]:
        """The recipe with rounded measures."""
        return tuple(batch.layer for batch in self.batches)


def area_takes(area_cm2: float, coats: int, practice: Practice | None = None) -> float:
    """Volume of wash for an area, including waste, ml.

    Parameters
    ----------
    area_cm2 : float; above 0
    coats : int; 1 or more
    practice : Practice, optional
        Coverage and waste.

    Examples
    --------
    >>> area_takes(1000, 2)
    24.0
    """
    practice = practice or Practice()
    return area_cm2 * coats / practice.coverage * (1 + practice.waste)


def mix_job(
    layers: Sequence[Layer],
    paints: Mapping[str, Paint],
    practice: Practice | None = None,
    *,
    area_cm2: float | None = None,
    batch_ml: float | None = None,
) -> Amounts:
    """Compute the amounts for a recipe.

    Parameters
    ----------
    layers : sequence of Layer
    paints : mapping of Paint by name
        Thinner, price and amount left of each.
    practice : Practice, optional
    area_cm2 : float, optional
        Painted area: each wash is mixed for all of its coats, rounded up to an amount that measures well.
    batch_ml : float, optional
        Batch of each wash, instead of an area.

    Raises
    ------
    BadInput
        Neither an area nor a batch, or more than any piece of furniture takes.
    """
    practice = practice or Practice()
    batches = []
    for layer in layers:
        if batch_ml is not None:
            volume = batch_ml
        elif area_cm2 is not None:
            least = max(LEAST_BATCH_ML, area_takes(area_cm2, layer.coats, practice))
            volume = measurable_ml(layer, least, practice)
        else:
            raise BadInput("The amount to mix is unknown.", "Give an area or a batch.")
        batches.append(mix_batch(layer, volume, paints, practice))
    costs = [batch.cost for batch in batches]
    whole = math.fsum(cost for cost in costs if cost is not None) if None not in costs else None
    return Amounts(tuple(batches), whole, (*_coarse(batches, practice), *_shortages(batches, paints)))


def mix_batch(
    layer: Layer, batch_ml: float, paints: Mapping[str, Paint] | None = None, practice: Practice | None = None
) -> Batch:
    """Measures of a batch of one wash.

    Parameters
    ----------
    layer : Layer
    batch_ml : float; above 0
        The exact amounts add up to it.
    paints : mapping of Paint by name, optional
        Thinner and price of each.
    practice : Practice, optional
        Each ingredient is rounded to whole multiples of the smallest measure, at least one.

    Raises
    ------
    BadInput
        The volume is zero, or more than any piece of furniture takes.
    """
    if not (math.isfinite(batch_ml) and batch_ml > 0):
        raise BadInput("A batch needs a volume.", "Give more than zero milliliters.")
    if batch_ml > MOST_BATCH_ML:
        raise BadInput(
            f"{batch_ml / 1000:,.0f} liters are more than any piece of furniture needs.", "Check the area and its unit."
        )
    practice, shelf = practice or Practice(), paints or {}
    whole = math.fsum(part.parts for part in layer.paints)
    amounts = [(part.paint, batch_ml * layer.paint_fraction * part.parts / whole) for part in layer.paints]
    if layer.paint_fraction < 1:
        first = shelf.get(layer.paints[0].paint)
        amounts.append(((first and first.thinner) or "water", batch_ml * (1 - layer.paint_fraction)))
    least = min(exact for _, exact in amounts)
    measures = []
    for name, exact in amounts:
        step = practice.step_ml(name)
        measures.append(Measure(name, exact / least, exact, max(1, round(exact / step)) * step, practice.density(name)))
    paint_ml = [measure.ml for measure in measures[: len(layer.paints)]]
    slip_ml = [paint_ml[0] + practice.step_ml(layer.paints[0].paint), *paint_ml[1:]]
    thinner_ml = math.fsum(measure.ml for measure in measures[len(layer.paints) :])
    return Batch(
        tuple(measures),
        _as_measured(layer, paint_ml, thinner_ml),
        _as_measured(layer, slip_ml, thinner_ml),
        _cost(measures[: len(layer.paints)], shelf),
    )


def measurable_ml(layer: Layer, least_ml: float, practice: Practice | None = None) -> float:
    """Smallest batch of at least ``least_ml`` that the available measure portions out well.

    Parameters
    ----------
    layer : Layer
    least_ml : float; above 0
    practice : Practice, optional

    Returns
    -------
    float
        Rounding changes every share by at most 3 %; if no batch achieves that, the one with the smallest change. At
        most twice ``least_ml``, or ten times if a smaller batch of a thin wash would hold no whole measure of a paint.

    Examples
    --------
    Five milliliters of 1:3 can't be measured in whole ones, eight can.

    >>> from colormatch.records import Part
    >>> measurable_ml(Layer((Part("ochre"),), 0.25), 5.0), measurable_ml(Layer((Part("ochre"),), 0.04), 5.0)
    (8.0, 25.0)
    """
    practice = practice or Practice()
    step_ml = practice.step_ml(layer.paints[0].paint)
    first = math.ceil(least_ml / step_ml)
    scarcest = (
        layer.paint_fraction * min(part.parts for part in layer.paints) / math.fsum(p.parts for p in layer.paints)
    )
    last = min(max(2 * first, math.ceil(1 / scarcest)), 10 * first, first + _TRIED)
    steps = range(first, last + 1)
    best, best_off = first, math.inf
    for step in steps:
        off = _rounding(mix_batch(layer, step * step_ml, practice=practice))
        if off < best_off:
            best, best_off = step, off
        if off <= ROUNDING:
            break
    return best * step_ml


def easy_ml(layer: Layer, batch_ml: float, practice: Practice | None = None) -> tuple[float, ...]:
    """Batch sizes close to one that the available measure portions out badly: the next smaller and larger ones.

    Empty if the given size works well, or if no size up to twice as large does. See :func:`measurable_ml`.

    Examples
    --------
    >>> from colormatch.records import Part
    >>> easy_ml(Layer((Part("ochre"),), 0.25), 5.0), easy_ml(Layer((Part("ochre"),), 0.25), 8.0)
    ((4.0, 8.0), ())
    """
    practice = practice or Practice()
    if _rounding(mix_batch(layer, batch_ml, practice=practice)) <= ROUNDING:
        return ()
    step_ml = practice.step_ml(layer.paints[0].paint)
    steps = range(1, min(math.ceil(2 * batch_ml / step_ml), _TRIED) + 1)
    sizes = [n * step_ml for n in steps]
    easy = [ml for ml in sizes if _rounding(mix_batch(layer, ml, practice=practice)) <= ROUNDING]
    return (*[ml for ml in easy if ml < batch_ml][-1:], *[ml for ml in easy if ml > batch_ml][:1])


def _rounding(batch: Batch) -> float:
    """Largest relative change of a share by rounding."""
    exact = math.fsum(measure.exact_ml for measure in batch.measures)
    return max(abs(measure.ml / batch.ml * exact / measure.exact_ml - 1) for measure in batch.measures)


def _as_measured(layer: Layer, paint_ml: Sequence[float], thinner_ml: float) -> Layer:
    least, paint = min(paint_ml), math.fsum(paint_ml)
    parts = tuple(replace(part, parts=ml / least) for part, ml in zip(layer.paints, paint_ml, strict=True))
    return Layer(parts, paint / (paint + thinner_ml), layer.coats)


def _coarse(batches: Sequence[Batch], practice: Practice) -> tuple[Flag, ...]:
    off = max((_rounding(batch) for batch in batches), default=0.0)
    if off <= _COARSE:
        return ()
    text = (
        f"With measures of {practice.smallest}, a share is off by {100 * off:.0f} %: use a smaller measure or mix more."
    )
    return (Flag(FlagCode.COARSE_MEASURE, text, off),)


def _cost(measures: Sequence[Measure], shelf: Mapping[str, Paint]) -> float | None:
    costs = []
    for measure in measures:
        paint = shelf.get(measure.name)
        if paint is None or paint.price is None or not paint.size_ml:
            return None
        costs.append(measure.ml / paint.size_ml * paint.price)
    return math.fsum(costs)


def _shortages(batches: Sequence[Batch], shelf: Mapping[str, Paint]) -> tuple[Flag, ...]:
    taken: dict[str, float] = {}
    for batch in batches:
        for measure, part in zip(batch.measures, batch.layer.paints, strict=False):
            taken[part.paint] = taken.get(part.paint, 0.0) + measure.ml
    flags = []
    for name, ml in taken.items():
        paint = shelf.get(name)
        if paint is not None and paint.on_hand_ml is not None and paint.on_hand_ml < ml:
            text = f"This needs {ml:g} ml of {name}, but only {paint.on_hand_ml:g} ml are left."
            flags.append(Flag(FlagCode.NOT_ENOUGH, text, paint.on_hand_ml))
    return tuple(flags)
