"""Rank the washes of your library for a repair: from a photo, or from two colors.

colormatch match PHOTO --sound 120,80,200,150 --damage 700,400,90,60
colormatch match PHOTO --damage 700,400,90,60 --target 62,9,25 --chip offcut@70,8,24=40,40,80,60
colormatch match --target 62,9,25 --over 74,6,20
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import (
    STATES,
    Answer,
    add_json,
    add_match_options,
    box,
    fitting_progress,
    flag_documents,
    lab,
    limits,
    notes,
    print_lab,
    radius,
    reading_flags,
    rounded,
    table,
    typed,
)
from colormatch.cli.references import add_reference_options, read_by_references

if TYPE_CHECKING:
    from colormatch.image.photo import DecodedPhoto
    from colormatch.records import Lab, Layer, Limits, Match, RankedWash, SurfaceState
    from colormatch.workshop import Workshop


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("photo", nargs="?", type=Path, metavar="PHOTO")
    group = parser.add_argument_group("what to match")
    group.add_argument("--sound", nargs="+", action="extend", default=[], type=box, metavar="BOX", help="sound wood")
    group.add_argument("--damage", nargs="+", action="extend", default=[], type=box, metavar="BOX", help="the damage")
    group.add_argument("--target", type=lab, metavar="LAB", help="color to reach, instead of a photo")
    group.add_argument("--target-uncertainty", type=radius, metavar="ΔE", help="of that color, 90%% radius (1)")
    group.add_argument("--over", type=lab, metavar="LAB", help="color of the damage, instead of a photo")
    group.add_argument("--over-uncertainty", type=radius, metavar="ΔE", help="of that color, 90%% radius (1)")
    for name, what in (("sound", "the sound wood"), ("damage", "the damage")):
        group.add_argument(
            f"--{name}-state", choices=STATES, default="bare", help=f"of {what}, which a clear coat depends on (bare)"
        )
    group.add_argument("--each", action="store_true", help="for several damages: a wash for each, and one for all")
    group.add_argument("--grain", action="store_true", help="also find a wash to draw the grain lines with")
    add_reference_options(parser)
    add_match_options(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> Answer:
    from colormatch.errors import WrongUsage

    kept = args.target is not None
    if args.photo is None and not (kept and args.over is not None):
        raise WrongUsage(
            "There is nothing to match.", "Give a photo with --sound and --damage, or give --target and --over."
        )
    if args.photo is not None and (args.over is not None or (kept and args.sound)):
        raise WrongUsage("Both a photo and colors were given.", "Give the photo, or --target and --over.")
    if args.photo is not None and not (args.damage and (args.sound or kept)):
        raise WrongUsage("The photo has no marks.", "Give at least one --sound BOX and one --damage BOX.")
    for name, given, color in (
        ("target", args.target_uncertainty, args.target),
        ("over", args.over_uncertainty, args.over),
    ):
        if given is not None and color is None:
            raise WrongUsage(f"--{name}-uncertainty is of a color that you type.", f"Give it with --{name}.")
    if (args.each or args.grain) and not args.sound:
        raise WrongUsage("--each and --grain need sound wood in a photo.", "Give a photo with --sound and --damage.")

    from colormatch.image.photo import open_photo
    from colormatch.match.targets import parse_shift
    from colormatch.repair import match_colors
    from colormatch.workshop import open_workshop

    shift, allowed = typed(parse_shift, args.shift), limits(args)
    workshop = open_workshop(args.library, fitting_progress)
    if args.photo is None:
        found = match_colors(args.target, args.over, workshop, allowed, shift, *_radii(args), _states(args))
        return Answer(document(found), "\n".join([text(found), *_left_out(workshop, allowed)]))
    return _from_photo(args, open_photo(args.photo), workshop, allowed, shift)


def _radii(args: argparse.Namespace) -> tuple[float, float]:
    """Uncertainty of the typed target, and of the typed damage."""
    from colormatch.records import TYPED_UNCERTAINTY

    given = (args.target_uncertainty, args.over_uncertainty)
    target, over = (TYPED_UNCERTAINTY if one is None else one for one in given)
    return target, over


def _states(args: argparse.Namespace) -> tuple[SurfaceState, SurfaceState]:
    from colormatch.records import SurfaceState

    return SurfaceState(args.sound_state), SurfaceState(args.damage_state)


def _left_out(workshop: Workshop, allowed: Limits) -> list[str]:
    from colormatch.workshop import offered

    fewer = offered(workshop, allowed)[0] != workshop.shelf
    return ["Use --invented to rank the example's paints too."] * fewer


def _from_photo(
    args: argparse.Namespace,
    photo: DecodedPhoto,
    workshop: Workshop,
    allowed: Limits,
    shift: tuple[str, float] | None,
) -> Answer:
    from colormatch.records import RegionKind
    from colormatch.repair import boxed, match_grain, match_kept, match_repair, match_spots
    from colormatch.wash.ratio import format_layers

    regions = [*boxed(photo, RegionKind.SOUND, args.sound), *boxed(photo, RegionKind.DAMAGE, args.damage)]
    reading, states = read_by_references(args, photo, regions), _states(args)
    if args.target is not None:
        found = match_kept(args.target, reading, workshop, allowed, shift, _radii(args)[0], states)
    else:
        found = match_repair(reading, workshop, allowed, shift, states)
    flags = reading_flags(reading)
    answer = document(found) | {"flags": flag_documents(flags)}
    lines = [
        text(found),
        *_left_out(workshop, allowed),
        *notes(flags),
        "All wood is assumed to be dry: wet or freshly oiled wood looks darker than it will be.",
    ]
    if args.each:
        spots = match_spots(reading, workshop, allowed, shift, states)
        answer["each"] = [document(one) for one in spots.each]
        answer["together"] = rounded(
            [
                {"layers": _layers(wash.spots[0].layers), "expected_delta_e": [w.expected_delta_e for w in wash.spots]}
                for wash in spots.together
            ]
        )
        for number, one in enumerate(spots.each, 1):
            best = one.washes[0]
            lines.append(f"Damage {number} by itself: {format_layers(best.layers)}, ΔE00 {best.expected_delta_e:.1f}.")
        one_for_all = spots.together[0]
        parts = ", ".join(f"{wash.expected_delta_e:.1f}" for wash in one_for_all.spots)
        lines.append(f"One wash for all: {format_layers(one_for_all.spots[0].layers)}, ΔE00 {parts}.")
    if args.grain:
        touch = match_grain(reading, found.washes[0].layers, workshop, allowed, states)
        answer["grain"] = None if touch is None else document(touch)
        if touch is None:
            lines.append("The sound wood shows no grain lines to draw.")
        else:
            best = touch.washes[0]
            lines.append(
                f"Grain lines, with a fine brush over the dry wash 1: {format_layers(best.layers)}, "
                f"ΔE00 {best.expected_delta_e:.1f} to the lines."
            )
    return Answer(answer, "\n".join(lines))


def document(match: Match) -> dict[str, Any]:
    """The JSON document of a ranking."""
    answer = {
        "target": {"lab": match.target, "uncertainty": match.target_uncertainty},
        "ground": {"lab": match.ground, "uncertainty": match.ground_uncertainty},
        "finished": match.finished,
        "washes": [_wash(wash, match.wanted) for wash in match.washes],
        "likeliest_unseen": match.likeliest_unseen.rank,
        "advice": match.advice,
        "searched": match.searched,
        "seconds": match.seconds,
    }
    cleaned: dict[str, Any] = rounded(answer)
    return cleaned


def _layers(layers: Sequence[Layer]) -> list[dict[str, Any]]:
    from colormatch.wash.ratio import format_fraction

    return [
        {
            "paints": [{"name": part.paint, "parts": part.parts} for part in layer.paints],
            "paint_fraction": layer.paint_fraction,
            "ratio": format_fraction(layer.paint_fraction),
            "coats": layer.coats,
        }
        for layer in layers
    ]


def _wash(wash: RankedWash, wanted: Lab) -> dict[str, Any]:
    from colormatch.color.difference import delta_e

    return {
        "rank": wash.rank,
        "layers": _layers(wash.layers),
        "lab": wash.lab,
        "best_delta_e": float(delta_e(wash.lab, wanted)),
        "expected_delta_e": wash.expected_delta_e,
        "low": wash.low,
        "high": wash.high,
        "basis": wash.basis,
        "swatches": wash.swatches,
        "group": wash.group,
        "unseen": wash.unseen,
        "grain_kept": wash.grain_kept,
        "off": wash.off,
        "flags": flag_documents(wash.flags),
    }


def text(match: Match) -> str:
    """The same for people."""
    from colormatch.wash.ratio import format_layers

    rows = [
        (
            wash.rank,
            format_layers(wash.layers),
            f"{wash.expected_delta_e:.1f}",
            f"{wash.low:.1f} to {wash.high:.1f}",
            wash.group,
            wash.basis,
            f"{wash.grain_kept:.0%}",
            wash.off,
        )
        for wash in match.washes
    ]
    lines = [
        f"Sound wood  L* a* b* {print_lab(match.target)}   ± {match.target_uncertainty:.1f} ΔE00",
        f"Damage      L* a* b* {print_lab(match.ground)}   ± {match.ground_uncertainty:.1f} ΔE00",
        "",
        table(
            ("", "wash (paint to water)", "ΔE00", "90 % range", "group", "basis", "grain", "remaining difference"),
            rows,
            right=(0, 2),
        ),
    ]
    lines += ["", *match.advice] if match.advice else []
    lines += ["", f"{match.searched:,} recipes searched in {match.seconds:.2f} s."]
    return "\n".join(lines)
