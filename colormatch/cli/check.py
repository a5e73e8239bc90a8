"""Check a dried repair: what still shows beside the sound wood in the same photo, and what to do about it."""

from __future__ import annotations

import argparse
from pathlib import Path

from colormatch.cli.common import (
    Answer,
    add_card_options,
    add_json,
    add_library,
    add_white_option,
    box,
    card_choice,
    fitting_progress,
    print_lab,
    rounded,
    white_regions,
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("photo", type=Path, metavar="PHOTO")
    parser.add_argument("--sound", nargs="+", action="extend", required=True, type=box, metavar="BOX")
    parser.add_argument("--repair", nargs="+", action="extend", required=True, type=box, metavar="BOX")
    add_card_options(parser)
    add_white_option(parser)
    add_library(parser)
    add_json(parser)


def run(args: argparse.Namespace) -> Answer:
    from colormatch.photo.neutral import find_neutral
    from colormatch.photo.read import open_photo
    from colormatch.records import RegionKind
    from colormatch.repair import boxed, check_repair
    from colormatch.workshop import open_workshop

    photo = open_photo(args.photo)
    regions = [*boxed(photo, RegionKind.SOUND, args.sound), *boxed(photo, RegionKind.REPAIR, args.repair)]
    white = white_regions(args, photo.facts.width, photo.facts.height)
    found, steps = check_repair(
        photo, find_neutral(photo, card_choice(args), white), regions, open_workshop(args.library, fitting_progress)
    )
    document = rounded(
        {
            "delta_e": found.delta_e,
            "low": found.low,
            "high": found.high,
            "off": found.off,
            "verdict": found.verdict,
            "lab": found.lab,
            "done": found.done,
            "next": steps,
        }
    )
    text = "\n".join(
        [
            f"Repair L* a* b* {print_lab(found.lab)}",
            f"ΔE00 to the sound wood: {found.delta_e:.1f} ({found.low:.1f} to {found.high:.1f}, nine times in ten)",
            f"{found.verdict.capitalize()}: {found.off}.",
            "",
            *steps,
        ]
    )
    return Answer(document, text)
