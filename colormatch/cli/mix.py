"""Amounts, times and cautions for a recipe.

colormatch mix --paint Ochre --ratio 1:3 --coats 2 --area 40cm2
colormatch mix --paint Ochre=2 --paint "Raw Umber=1" --ratio 1:4 --glaze "Red Oxide,80%,1" --area "4x10cm + 3x2cm"
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import (
    Answer,
    add_json,
    add_library,
    box,
    coats,
    flag_documents,
    lab,
    parse_layer,
    rounded,
    table,
    typed,
    whole,
)
from colormatch.cli.references import add_card_options, card_choice

if TYPE_CHECKING:
    from colormatch.mixing.amounts import Batch
    from colormatch.mixing.area import MarkedArea
    from colormatch.mixing.measures import Practice
    from colormatch.mixing.schedule import Times
    from colormatch.records import Layer, Part, Shelf


def add_arguments(parser: argparse.ArgumentParser) -> None:
    recipe = parser.add_argument_group("the recipe")
    recipe.add_argument(
        "--paint",
        required=True,
        action="append",
        metavar="NAME[=PARTS]",
        help="a paint; several with their parts make a mix (repeatable)",
    )
    recipe.add_argument("--ratio", required=True, help="paint to water: 1:3, 25%%, full, '3 tsp to 1 cup'")
    recipe.add_argument("--coats", type=coats, default=1, metavar="N")
    recipe.add_argument(
        "--glaze",
        action="append",
        default=[],
        metavar="PAINT,RATIO,COATS",
        help="a second wash or a glaze over it (repeatable)",
    )
    recipe.add_argument("--clear", default="", metavar="NAME", help="clear coat that follows")
    amount = parser.add_argument_group("how much")
    size = amount.add_mutually_exclusive_group(required=True)
    size.add_argument("--area", help="area to paint: 40cm2, 4x10cm, 6 sq in, or several: '4x10cm + 3x2cm'")
    size.add_argument("--photo", type=Path, help="a photo in which the damage is marked, beside a card of known size")
    size.add_argument("--batch", metavar="VOLUME", help="volume to mix instead: 30ml, 1 cup")
    amount.add_argument(
        "--damage", nargs="+", action="extend", default=[], type=box, metavar="BOX", help="in the photo"
    )
    amount.add_argument("--card-size", metavar="WxH", help="size of the real card in the photo: 100x65mm, 4x6in")
    amount.add_argument("--coverage", type=float, metavar="CM2", help="cm² that 1 ml covers in one coat (assumed: 100)")
    amount.add_argument("--waste", metavar="PERCENT", help="extra that stays in cup and brush (assumed: 20%%)")
    amount.add_argument(
        "--smallest", metavar="MEASURE", help="smallest measure you have: 1ml, 1/4 tsp, 1 drop, 0.1g (1ml)"
    )
    amount.add_argument("--drop", metavar="VOLUME", help="volume of one drop (assumed: 0.05ml)")
    amount.add_argument(
        "--density",
        action="append",
        default=[],
        metavar="[NAME=]G_PER_ML",
        help="weight of 1 ml of a paint, from its data sheet (assumed: that of water)",
    )
    amount.add_argument(
        "--over", type=lab, metavar="LAB", help="color of the ground, to show how rounding changes the result"
    )
    times = parser.add_argument_group("your own times, where they differ from the usual ones of the paint's kind")
    times.add_argument("--stands", metavar="TIME", help="from brushing on to wiping back: 60s")
    times.add_argument("--dries", metavar="TIME", help="until the next coat: 45min, 1.5h, 1 day")
    times.add_argument("--clear-dries", metavar="TIME", help="until the next clear coat")
    times.add_argument("--clear-coats", type=whole(0, 20), metavar="N", help="how many clear coats (3)")
    add_card_options(parser)
    add_library(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> Answer:
    from colormatch.mixing.amounts import mix_job
    from colormatch.mixing.cautions import cautions
    from colormatch.mixing.measures import parse_area
    from colormatch.mixing.schedule import format_time, schedule, time_left
    from colormatch.wash.ratio import format_layers, parse_volume
    from colormatch.workshop import open_workshop, rounding_cost, shelf_in_use

    shelf, _ = shelf_in_use(args.library)
    layers = _recipe(args, shelf)
    practice = _practice(args, [part.paint for layer in layers for part in layer.paints])
    paints = {paint.name: paint for paint in shelf.paints}
    marked = None if args.photo is None else _marked(args)
    area = marked.cm2 if marked else None if args.area is None else typed(parse_area, args.area)
    volume = None if args.batch is None else typed(parse_volume, args.batch, practice.drop_ml)
    amounts = typed(lambda: mix_job(layers, paints, practice, area_cm2=area, batch_ml=volume))
    steps = schedule(layers, paints, _times(args), clear_coat=args.clear)
    used = [paints[part.paint] for layer in layers for part in layer.paints]
    warnings = cautions(used, clear_coat=bool(args.clear))
    drift = slip = None
    if args.over is not None:
        workshop = open_workshop(args.library)
        drift = rounding_cost(workshop, layers, amounts.layers, args.over)
        first = amounts.batches[0]
        slip = rounding_cost(workshop, amounts.layers, [first.slip, *amounts.layers[1:]], args.over)
    washes = [_document(batch, layer, practice) for layer, batch in zip(layers, amounts.batches, strict=True)]
    document: dict[str, Any] = rounded(
        {
            "paint": layers[0].paints[0].paint,
            # The first wash; all of them stand in "washes".
            **washes[0],
            "washes": washes,
            "rounding_delta_e": drift,
            "slip_delta_e": slip,
            "area_cm2": area,
            "area_low_cm2": marked.low if marked else None,
            "area_high_cm2": marked.high if marked else None,
            "assumed_cm2_per_ml": practice.coverage,
            "assumed_waste": practice.waste,
            "assumed_drop_ml": practice.drop_ml,
            "smallest": practice.smallest,
            "cost": amounts.batches[0].cost,
            "job_cost": amounts.cost,
            "steps": [{"text": step.text, "seconds": step.seconds, "wait": step.wait} for step in steps],
            "seconds": time_left(steps),
            "cautions": warnings,
            "flags": flag_documents([*(marked.flags if marked else ()), *amounts.flags]),
        }
    )
    lines = [format_layers(layers)]
    for number, (layer, batch) in enumerate(zip(layers, amounts.batches, strict=True), 1):
        name = f"Wash {number}" if len(layers) > 1 else "The batch"
        lines += ["", f"{name}: {batch.ml:.3g} ml, {batch.grams:.3g} g", _table(batch, practice)]
        mixed = format_layers([batch.layer])
        if mixed != format_layers([layer]):
            lines.append(f"With these measures the wash is {mixed}.")
        if batch.cost is not None:
            lines.append(f"Paint in it: {batch.cost:.2f} in your currency.")
    lines += [
        "",
        *([] if marked is None else [_measured(marked), *(flag.text for flag in marked.flags)]),
        _assumed(practice, area),
        *([] if drift is None else [f"Rounding to {practice.smallest} moves the color by {drift:.2f} ΔE00."]),
        *([] if slip is None else [f"One such measure too much of the first paint would move it by {slip:.2f} ΔE00."]),
        *([f"Paint in all: {amounts.cost:.2f}."] if len(layers) > 1 and amounts.cost is not None else []),
        *(flag.text for flag in amounts.flags),
        "",
        *(f"{number}. {step.text}{_duration(step.seconds)}" for number, step in enumerate(steps, 1)),
        f"From the first step to the end: {format_time(time_left(steps))}.",
        "",
        *warnings,
    ]
    return Answer(document, "\n".join(lines))


# --- what was asked for ----------------------------------------------------------------------------------------------


def _recipe(args: argparse.Namespace, shelf: Shelf) -> list[Layer]:
    from colormatch.records import Layer
    from colormatch.wash.ratio import parse_ratio
    from colormatch.workshop import resolve_layer

    fraction = typed(parse_ratio, args.ratio).paint_fraction
    first = typed(Layer, tuple(_part(text, shelf) for text in args.paint), fraction, args.coats)
    glazes = [typed(parse_layer, text) for text in args.glaze]
    return [resolve_layer(layer, shelf) for layer in (first, *glazes)]


def _part(text: str, shelf: Shelf) -> Part:
    """``NAME`` or ``NAME=PARTS``; a name on the shelf may hold an equals sign itself."""
    from colormatch.errors import WrongUsage
    from colormatch.records import Part, named

    name, equals, parts = text.rpartition("=")
    if not equals or named(shelf.paints, text) is not None:
        return Part(text.strip())
    try:
        return Part(name.strip(), float(parts))
    except ValueError:
        raise WrongUsage(f"'{parts}' is not a number of parts.", "Write it as NAME=2.") from None


def _marked(args: argparse.Namespace) -> MarkedArea:
    """The damage in the photo, by the card."""
    from colormatch.errors import BadInput, WrongUsage
    from colormatch.image.photo import open_photo
    from colormatch.mixing.area import marked_area
    from colormatch.mixing.measures import parse_card_size
    from colormatch.records import CardKind, RegionKind
    from colormatch.reference.neutral import find_neutral
    from colormatch.repair import boxed

    if not (args.damage and args.card_size):
        raise WrongUsage(
            "The photo alone doesn't show the size of anything.", "Add --damage BOX and --card-size, such as 100x65mm."
        )
    real = typed(parse_card_size, args.card_size)
    photo = open_photo(args.photo)
    card = find_neutral(photo, card_choice(args)).card
    if card.region is None:
        raise BadInput("The photo has no card to measure by.", "Give --area instead.")
    damage = boxed(photo, RegionKind.DAMAGE, args.damage)
    by_program = card.found == "auto" and card.kind is CardKind.GRAY
    return marked_area(damage, card.region, (photo.facts.width, photo.facts.height), real, found=by_program)


def _practice(args: argparse.Namespace, names: list[str]) -> Practice:
    from colormatch.errors import WrongUsage
    from colormatch.mixing.measures import COVERAGE_CM2_PER_ML, SMALLEST, WASTE, Practice
    from colormatch.records import name_key
    from colormatch.wash.ratio import DROP_ML, parse_volume

    densities = []
    for text in args.density:
        name, _, figure = text.rpartition("=")
        known = [one for one in names if name_key(one) == name_key(name)]
        if name and not known:
            raise WrongUsage(f"{name} is not a paint in this recipe.", f"Give the density of {' or '.join(names)}.")
        densities += [(one, _number(figure, "density")) for one in known or names]
    waste = WASTE if args.waste is None else _number(args.waste.rstrip("% "), "percentage") / 100
    return typed(
        Practice,
        COVERAGE_CM2_PER_ML if args.coverage is None else args.coverage,
        waste,
        args.smallest or SMALLEST,
        DROP_ML if args.drop is None else typed(parse_volume, args.drop),
        tuple(densities),
    )


def _number(text: str, what: str) -> float:
    from colormatch.errors import WrongUsage

    try:
        return float(text)
    except ValueError:
        raise WrongUsage(f"'{text}' is not a valid {what}.", "Give a number.") from None


def _times(args: argparse.Namespace) -> Times:
    from colormatch.mixing.schedule import Times, parse_time

    stands, dries, clear_dries = (
        None if text is None else typed(parse_time, text) for text in (args.stands, args.dries, args.clear_dries)
    )
    return Times(stands, dries, clear_dries, args.clear_coats)


# --- what is answered ------------------------------------------------------------------------------------------------


def _document(batch: Batch, layer: Layer, practice: Practice) -> dict[str, Any]:
    from colormatch.wash.ratio import format_fraction, ml_of

    return {
        "ratio": format_fraction(layer.paint_fraction),
        "coats": layer.coats,
        "batch_ml": math.fsum(measure.exact_ml for measure in batch.measures),
        "mixed_ml": batch.ml,
        "mixed_g": batch.grams,
        "mixed_ratio": format_fraction(batch.layer.paint_fraction),
        "amounts": [
            {
                "name": measure.name,
                "parts": measure.parts,
                "exact_ml": measure.exact_ml,
                "ml": measure.ml,
                "g": measure.grams,
                "g_per_ml": measure.density,
                "tsp": measure.ml / ml_of(1, "tsp"),
                "fl_oz": measure.ml / ml_of(1, "fl oz"),
                "drops": measure.ml / practice.drop_ml,
            }
            for measure in batch.measures
        ],
        "cost": batch.cost,
    }


def _table(batch: Batch, practice: Practice) -> str:
    rows = []
    for measure in batch.measures:
        said = practice.spoken(measure.ml, measure.density)
        rows.append((measure.name, f"{measure.parts:.3g}", f"{measure.exact_ml:.2f} ml", *said.values()))
    return table(("", "parts", "exactly", "measure", "or", "or", "or", "or"), rows)


def _measured(marked: MarkedArea) -> str:
    return (
        f"The marked damage measures {marked.cm2:.3g} cm², nine times in ten {marked.low:.3g} to {marked.high:.3g}; "
        "this holds for damage that lies flat beside the card."
    )


def _assumed(practice: Practice, area: float | None) -> str:
    grams = "the densities given" if practice.densities else "the density of water"
    words = f"Grams by {grams}, a drop of {practice.drop_ml:g} ml."
    if area is None:
        return f"Assumed: {words}"
    return (
        f"Assumed for {area:.4g} cm²: 1 ml covers {practice.coverage:g} cm² in one coat, {100 * practice.waste:g} % "
        f"more for cup and brush, and at least as much as can be measured well. {words}"
    )


def _duration(seconds: int) -> str:
    from colormatch.mixing.schedule import format_time

    return f" ({format_time(seconds)})" if seconds else ""
