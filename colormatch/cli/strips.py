"""Rank painted test strips that lie in the same photo as the sound wood.

With a second photo of them under another light the worse of the two counts.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from colormatch.cli import dried
from colormatch.cli.common import (
    Answer,
    fitting_progress,
    flag_documents,
    named_box,
    notes,
    print_lab,
    reading_flags,
    rounded,
    table,
)

if TYPE_CHECKING:
    from colormatch.records import Reading


def add_arguments(parser: argparse.ArgumentParser) -> None:
    dried.add_photo_options(parser, "strip", named_box, "NAME=BOX")
    dried.add_keep_options(parser, {"metavar": "NAME", "help": "add this strip to the library as a swatch"})


def run(args: argparse.Namespace) -> Answer:
    from colormatch.records import RegionKind

    photos = dried.photographed(args, RegionKind.STRIP)
    from colormatch.check.judge import judge_strips

    ranked = judge_strips(photos)
    flags = reading_flags(*photos)
    document: dict[str, Any] = {
        "strips": [
            {"rank": rank, "name": strip.name} | dried.figures(strip.worse) | dried.lights(strip)
            for rank, strip in enumerate(ranked, 1)
        ],
        "flags": flag_documents(flags),
    }
    rows = [
        (rank, one.name, print_lab(s.lab), f"{s.delta_e:.1f}", f"{s.low:.1f} to {s.high:.1f}", s.off)
        for rank, one in enumerate(ranked, 1)
        for s in (one.worse,)
    ]
    head = ("", "strip", "   L*     a*     b*", "ΔE00", "90 % range", "what is off")
    lines = [table(head, rows, right=(0, 3))]
    if len(photos) > 1:
        lines.append("The worse of the two lights counts.")
        lines += [f"{strip.name}: {strip.one_light_only}" for strip in ranked if strip.one_light_only]
    lines += notes(flags)
    if args.keep is not None:
        document["kept"], words = _keep(args, photos[0])
        lines += ["", words]
    return Answer(rounded(document), "\n".join(lines))


def _keep(args: argparse.Namespace, photo: Reading) -> tuple[dict[str, Any], str]:
    from colormatch.check.judge import strips_of
    from colormatch.errors import WrongUsage
    from colormatch.library import Library
    from colormatch.workshop import open_workshop

    strips = {strip.name: strip for strip in strips_of(photo)}
    if args.keep not in strips:
        raise WrongUsage(f"No strip is named {args.keep}.", f"Choose one of: {', '.join(strips)}.")
    layers = dried.painted_layers(args, open_workshop(args.library, fitting_progress))
    return dried.keep(args, Library.open(args.library), strips[args.keep], photo, layers)
