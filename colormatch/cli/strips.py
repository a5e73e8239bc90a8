"""Rank painted test strips that lie in the same photo as the sound wood."""

from __future__ import annotations

import argparse
from pathlib import Path

from colormatch.cli.common import (
    Answer,
    add_card_options,
    add_json,
    add_white_option,
    box,
    card_choice,
    named_box,
    print_lab,
    rounded,
    table,
    white_regions,
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("photo", type=Path, metavar="PHOTO")
    parser.add_argument("--sound", nargs="+", action="extend", required=True, type=box, metavar="BOX")
    parser.add_argument("--strip", nargs="+", action="extend", required=True, type=named_box, metavar="NAME=BOX")
    add_card_options(parser)
    add_white_option(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> Answer:
    from colormatch.photo.neutral import find_neutral
    from colormatch.photo.read import open_photo
    from colormatch.records import Region, RegionKind
    from colormatch.repair import boxed, check_strips

    photo = open_photo(args.photo)
    size = photo.facts.width, photo.facts.height
    regions = boxed(photo, RegionKind.SOUND, args.sound)
    regions += [Region.from_box(RegionKind.STRIP, place, *size, name) for name, place in args.strip]
    ranked = check_strips(photo, find_neutral(photo, card_choice(args), white_regions(args, *size)), regions)
    document = rounded(
        {
            "strips": [
                {
                    "rank": rank,
                    "name": strip.name,
                    "lab": strip.lab,
                    "delta_e": strip.delta_e,
                    "low": strip.low,
                    "high": strip.high,
                    "off": strip.off,
                    "verdict": strip.verdict,
                }
                for rank, strip in enumerate(ranked, 1)
            ]
        }
    )
    rows = [
        (rank, s.name, print_lab(s.lab), f"{s.delta_e:.1f}", f"{s.low:.1f} to {s.high:.1f}", s.off)
        for rank, s in enumerate(ranked, 1)
    ]
    head = ("", "strip", "   L*     a*     b*", "ΔE00", "90 % range", "what is off")
    return Answer(document, table(head, rows, right=(0, 3)))
