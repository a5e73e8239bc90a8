"""Amounts, times and cautions for one wash.

colormatch mix --paint Ochre --ratio 1:3 --coats 2 --area 40cm2
"""

from __future__ import annotations

import argparse
from typing import Any

from colormatch.cli.common import Answer, add_json, add_library, flag_documents, lab, rounded, table, whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--paint", required=True, metavar="NAME")
    parser.add_argument("--ratio", required=True, help="paint to water: 1:3, 25%%, full, '3 tsp to 1 cup'")
    parser.add_argument("--coats", type=whole(1, 6), default=1, metavar="N")
    size = parser.add_mutually_exclusive_group(required=True)
    size.add_argument("--area", help="what is painted: 40cm2, 4x10cm, 6 sq in")
    size.add_argument("--batch", metavar="VOLUME", help="volume to mix instead: 30ml, 1 cup")
    parser.add_argument("--coverage", type=float, metavar="CM2", help="cm² that 1 ml covers in one coat (assumed: 100)")
    parser.add_argument(
        "--smallest", default="1ml", metavar="VOLUME", help="smallest measure at hand: 1ml, 1/4 tsp (1ml)"
    )
    parser.add_argument("--over", type=lab, metavar="LAB", help="ground, to say what rounding does to the color")
    parser.add_argument("--clear", default="", metavar="NAME", help="clear coat that follows")
    add_library(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> Answer:
    from colormatch.bench.amounts import COVERAGE_CM2_PER_ML, measurable_ml, mix_batch, parse_area, wash_needed
    from colormatch.bench.cautions import cautions
    from colormatch.bench.schedule import schedule, whole_time
    from colormatch.records import Layer, Part
    from colormatch.wash.ratio import format_fraction, parse_ratio, parse_volume
    from colormatch.workshop import paint_named, rounding_cost, shelf_in_use

    shelf, _ = shelf_in_use(args.library)
    paint = paint_named(shelf, args.paint)
    layer = Layer((Part(paint.name),), parse_ratio(args.ratio).paint_fraction, args.coats)
    coverage = COVERAGE_CM2_PER_ML if args.coverage is None else args.coverage
    smallest = parse_volume(args.smallest)
    if args.batch:
        volume = parse_volume(args.batch)
    else:
        volume = measurable_ml(layer, wash_needed(parse_area(args.area), args.coats, coverage), smallest)
    batch = mix_batch(layer, volume, {paint.name: paint}, smallest)
    steps = schedule([layer], clear_coat=args.clear)
    warnings = cautions(paint.thinner, clear_coat=bool(args.clear), kind=paint.kind)
    drift = None if args.over is None else rounding_cost(shelf, layer, batch.layer, args.over)
    document: dict[str, Any] = rounded(
        {
            "paint": paint.name,
            "ratio": format_fraction(layer.paint_fraction),
            "coats": layer.coats,
            "batch_ml": volume,
            "mixed_ml": batch.ml,
            "mixed_ratio": format_fraction(batch.layer.paint_fraction),
            "rounding_delta_e": drift,
            "amounts": [{"name": m.name, "exact_ml": m.exact_ml, "ml": m.ml} for m in batch.measures],
            "assumed_cm2_per_ml": coverage,
            "cost": batch.cost,
            "steps": [{"text": step.text, "seconds": step.seconds, "wait": step.wait} for step in steps],
            "seconds": whole_time(steps),
            "cautions": warnings,
            "flags": flag_documents(batch.flags),
        }
    )
    measures = table(
        ("", "exact ml", "measure ml"), [(m.name, f"{m.exact_ml:.2f}", f"{m.ml:g}") for m in batch.measures]
    )
    lines = [
        f"{paint.name}, {document['ratio']}, {layer.coats} coat{'s' if layer.coats > 1 else ''}: {volume:.1f} ml",
        "" if args.batch else f"(assuming that 1 ml covers {coverage:g} cm² in one coat, and a fifth more for the cup)",
        measures,
        f"As measured this is {document['mixed_ratio']}"
        + ("." if drift is None else f", which moves the color by {drift:.2f} ΔE00."),
        "" if batch.cost is None else f"Paint in it: {batch.cost:.2f} in your currency.",
        *(flag.text for flag in batch.flags),
        "",
        *(f"{number}. {step.text}{_duration(step.seconds)}" for number, step in enumerate(steps, 1)),
        "",
        *warnings,
    ]
    return Answer(document, "\n".join(lines))


def _duration(seconds: int) -> str:
    if seconds == 0:
        return ""
    return f" ({seconds} s)" if seconds < 120 else f" ({round(seconds / 60)} min)"
