"""How much to mix: from an area or a batch to what goes into the cup, in the measures that are at hand."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from colormatch.errors import BadInput
from colormatch.records import Flag, Layer, Paint, Part

#: Area that one ml of wash covers in one coat, brushed on and wiped back: 100 cm² (10 m² to the liter; common practice
#: for thinned wall and furniture paint, no source). The user can change it.
COVERAGE_CM2_PER_ML = 100.0
#: Share that is mixed on top and stays in cup and brush; common practice, no source.
WASTE = 0.2
#: Smallest batch, ml, that a brush can be loaded from; our choice.
LEAST_BATCH_ML = 5.0
#: Smallest measure, ml, that is assumed to be at hand: a syringe's or a measuring cup's milliliter.
SMALLEST_ML = 1.0

#: Change of a paint's share by rounding that is let pass: a fifth of what parts of water are usually off by.
_ROUNDING = 0.03

#: cm² of one unit of area. Inch: 2.54 cm exactly (NIST Handbook 44, appendix C).
_CM2_OF = {"mm": 0.01, "cm": 1.0, "m": 1e4, "in": 2.54**2, "ft": 30.48**2}
_AREA = re.compile(r"(\d*\.?\d+)\s*(mm|cm|m|in|ft)\s*(?:2|²)|(\d*\.?\d+)\s*(?:sq|square)\s*(mm|cm|m|in|ft)")
_RECTANGLE = re.compile(r"(\d*\.?\d+)\s*(mm|cm|m|in|ft)?\s*[x×]\s*(\d*\.?\d+)\s*(mm|cm|m|in|ft)")


@dataclass(frozen=True)
class Measure:
    """One thing that goes into the cup."""

    #: Name of a paint, or of the thinner.
    name: str
    #: As the recipe states it.
    exact_ml: float
    #: Rounded to the smallest measure.
    ml: float


@dataclass(frozen=True)
class Batch:
    """A wash as it is mixed."""

    #: Paints in the recipe's order, the thinner last (left out of a full-strength layer).
    measures: tuple[Measure, ...]
    #: The recipe with the rounded measures: what will really be brushed on.
    layer: Layer
    #: Price of the paint in it, in the user's currency; None where a price is unknown.
    cost: float | None
    flags: tuple[Flag, ...] = ()

    @property
    def ml(self) -> float:
        """The whole batch as measured."""
        return math.fsum(measure.ml for measure in self.measures)


def parse_area(text: str) -> float:
    """Area in cm².

    Parameters
    ----------
    text : str
        ``40cm2``, ``0.5 m²``, ``6 sq in``, or a rectangle ``4x10cm``.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> parse_area("40cm2"), parse_area("4 x 10 cm"), round(parse_area("2 sq in"), 4)
    (40.0, 40.0, 12.9032)
    """
    plain = " ".join(text.lower().split())
    if found := _AREA.fullmatch(plain):
        amount, unit = (found[1], found[2]) if found[1] else (found[3], found[4])
        area = float(amount) * _CM2_OF[unit]
    elif found := _RECTANGLE.fullmatch(plain):
        sides = float(found[1]), float(found[3])
        units = found[2] or found[4], found[4]
        area = math.prod(side * math.sqrt(_CM2_OF[unit]) for side, unit in zip(sides, units, strict=True))
    else:
        raise BadInput(f"'{text}' is no area.", "Write it as 40cm2, 6 sq in, or 4x10cm.")
    if not (math.isfinite(area) and area > 0):
        raise BadInput(f"'{text}' is no area to paint.", "Give more than zero.")
    return area


def wash_needed(area_cm2: float, coats: int, coverage: float = COVERAGE_CM2_PER_ML, waste: float = WASTE) -> float:
    """Volume of wash to mix for an area, ml.

    Parameters
    ----------
    area_cm2 : float; above 0
    coats : int; 1 or more
    coverage : float; cm² that 1 ml covers in one coat
    waste : float; share mixed on top, 0 or more

    Examples
    --------
    >>> wash_needed(1000, 2, waste=0.2)
    24.0
    """
    if coverage <= 0 or waste < 0:
        raise BadInput(
            "Coverage must be above zero, and waste zero or more.", "Leave them out to use the usual figures."
        )
    return max(LEAST_BATCH_ML, area_cm2 * coats / coverage * (1 + waste))


def mix_batch(
    layer: Layer, batch_ml: float, paints: Mapping[str, Paint] | None = None, smallest_ml: float = SMALLEST_ML
) -> Batch:
    """Measures of a batch of one wash.

    Parameters
    ----------
    layer : Layer
    batch_ml : float; above 0
        The exact measures add up to it.
    paints : mapping of Paint by name, optional
        For thinner, price and what is left in the tin.
    smallest_ml : float; above 0
        The smallest measure at hand; each thing is rounded to whole multiples of it, and to one at least.

    Raises
    ------
    BadInput
        No volume.
    """
    if not (math.isfinite(batch_ml) and batch_ml > 0 and math.isfinite(smallest_ml) and smallest_ml > 0):
        raise BadInput("A batch and its smallest measure need a volume.", "Give more than zero milliliters.")
    shelf = paints or {}
    whole = math.fsum(part.parts for part in layer.paints)
    amounts = [(part.paint, batch_ml * layer.paint_fraction * part.parts / whole) for part in layer.paints]
    if layer.paint_fraction < 1:
        first = shelf.get(layer.paints[0].paint)
        amounts.append((first.thinner if first else "water", batch_ml * (1 - layer.paint_fraction)))
    measures = tuple(Measure(name, exact, max(1, round(exact / smallest_ml)) * smallest_ml) for name, exact in amounts)
    in_paint = measures[: len(layer.paints)]
    paint_ml = math.fsum(measure.ml for measure in in_paint)
    all_ml = math.fsum(measure.ml for measure in measures)
    really = Layer(
        tuple(Part(measure.name, measure.ml) for measure in in_paint), min(1.0, paint_ml / all_ml), layer.coats
    )
    return Batch(measures, really, _cost(in_paint, shelf), _shortages(in_paint, shelf))


def measurable_ml(layer: Layer, least_ml: float, smallest_ml: float = SMALLEST_ML) -> float:
    """The smallest batch from ``least_ml`` on, up to twice it, that the measure at hand portions out well.

    Parameters
    ----------
    layer : Layer
    least_ml, smallest_ml : float; above 0

    Returns
    -------
    float
        Where rounding changes no share by more than 3 %; where none does, the one that changes them least.

    Examples
    --------
    Five milliliters of 1:3 can't be measured in whole ones, eight can.

    >>> measurable_ml(Layer((Part("ochre"),), 0.25), 5.0)
    8.0
    """
    steps = range(math.ceil(least_ml / smallest_ml), math.ceil(2 * least_ml / smallest_ml) + 1)
    batches = [(_rounding(mix_batch(layer, step * smallest_ml, smallest_ml=smallest_ml)), step) for step in steps]
    good = [step for off, step in batches if off <= _ROUNDING]
    return (good[0] if good else min(batches)[1]) * smallest_ml


def _rounding(batch: Batch) -> float:
    """Largest relative change of a share by rounding."""
    exact = math.fsum(measure.exact_ml for measure in batch.measures)
    return max(abs(measure.ml / batch.ml * exact / measure.exact_ml - 1) for measure in batch.measures)


def _cost(measures: tuple[Measure, ...], shelf: Mapping[str, Paint]) -> float | None:
    costs = []
    for measure in measures:
        paint = shelf.get(measure.name)
        if paint is None or paint.price is None or not paint.size_ml:
            return None
        costs.append(measure.ml / paint.size_ml * paint.price)
    return math.fsum(costs)


def _shortages(measures: tuple[Measure, ...], shelf: Mapping[str, Paint]) -> tuple[Flag, ...]:
    flags = []
    for measure in measures:
        paint = shelf.get(measure.name)
        if paint is not None and paint.on_hand_ml is not None and paint.on_hand_ml < measure.ml:
            flags.append(
                Flag(
                    "not-enough",
                    f"The batch takes {measure.ml:g} ml of {measure.name}, and {paint.on_hand_ml:g} ml are left.",
                    paint.on_hand_ml,
                )
            )
    return tuple(flags)
