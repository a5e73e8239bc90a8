"""Check a dried repair: what still shows beside the sound wood in the same photo, and what to do about it.

colormatch check PHOTO --sound 120,80,200,150 --repair 700,400,90,60
colormatch check PHOTO ... --painted 'Raw Umber,1:3,2' --ground 72,6,19 --keep
"""

from __future__ import annotations

import argparse
from typing import Any

from colormatch.cli import dried
from colormatch.cli.common import (
    Answer,
    box,
    fitting_progress,
    flag_documents,
    notes,
    print_lab,
    reading_flags,
    rounded,
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    dried.add_photo_options(parser, "repair", box, "BOX")
    dried.add_keep_options(parser, {"action": "store_true", "help": "add the repair to the library as a swatch"})


def run(args: argparse.Namespace) -> Answer:
    from colormatch.records import RegionKind

    photos = dried.photographed(args, RegionKind.REPAIR)
    from colormatch.check.judge import advise, judge_repair, outlook, what_next, words_of
    from colormatch.check.next_step import Move
    from colormatch.library import Library
    from colormatch.repair import surface
    from colormatch.workshop import open_workshop

    judged = judge_repair(photos)
    workshop = open_workshop(args.library, fitting_progress)
    layers = dried.painted_layers(args, workshop)
    worse = photos[judged.lights.index(judged.worse)]
    steps = what_next(worse, workshop, painted=layers, before=args.ground)
    advice, found = advise(judged, steps), judged.worse
    advice += [f"{words_of(step)}: {outlook(step)}." for step in steps if step.move is Move.LEAVE and not judged.done]
    flags = reading_flags(*photos)
    document: dict[str, Any] = dried.figures(found) | {"done": judged.done, "next": advice} | dried.lights(judged)
    document["flags"] = flag_documents(flags)
    lines = [f"Repair L* a* b* {print_lab(found.lab)}"]
    for which, check in zip(("first", "second"), judged.lights, strict=False):
        of = f" in the {which} light" if len(photos) > 1 else ""
        lines.append(
            f"ΔE00 to the sound wood{of}: {check.delta_e:.1f} ({check.low:.1f} to {check.high:.1f}, nine times in ten)"
        )
    lines += [f"{found.verdict.capitalize()}: {found.off}.", *filter(None, [judged.one_light_only]), *notes(flags)]
    lines += ["", *advice]
    if args.keep:
        kept, words = dried.keep(
            args, Library.open(args.library), surface(photos[0], RegionKind.REPAIR), photos[0], layers
        )  # fmt: skip
        document["kept"] = kept
        lines += ["", words]
    return Answer(rounded(document), "\n".join(lines))
