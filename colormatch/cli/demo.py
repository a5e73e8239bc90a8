"""Do the whole job on the shipped photo and starter library (invented paints, simulated photo)."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

from colormatch.cli.common import Answer, add_json

#: Longest side of the pictures, pixels.
PICTURE_SIDE = 1200


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--out",
        type=Path,
        default=Path("colormatch-demo"),
        metavar="DIR",
        help="folder for the pictures and the report",
    )
    add_json(parser)


def run(args: argparse.Namespace) -> Answer:
    from colormatch.cli import match as match_command
    from colormatch.cli import read as read_command
    from colormatch.errors import ColorMatchError
    from colormatch.image.photo import open_photo
    from colormatch.library.starter import example
    from colormatch.mixing.cautions import cautions
    from colormatch.mixing.schedule import schedule
    from colormatch.records import RegionKind
    from colormatch.reference.neutral import balanced, find_neutral
    from colormatch.render.preview import jpeg, side_by_side, to_screen
    from colormatch.render.report import Report, report_page
    from colormatch.repair import match_repair, picture, read_regions, surface
    from colormatch.wash.ratio import format_layers
    from colormatch.workshop import starter_workshop

    shown = example()
    photo = open_photo(shown.photo)
    neutral = find_neutral(photo)
    regions = shown.regions
    reading = read_regions(photo, neutral, regions)
    workshop = starter_workshop()
    match = match_repair(reading, workshop)

    before = balanced(photo, neutral, PICTURE_SIDE)
    ground = surface(reading, RegionKind.DAMAGE).lab
    after = picture(before, [shown.outline], ground, match.washes[0].layers, workshop)
    try:
        args.out.mkdir(parents=True, exist_ok=True)
        preview = args.out / "preview.png"
        _save(side_by_side(to_screen(before), to_screen(after)), preview)
        report = args.out / "report.html"
        best = match.washes[0]
        names = {part.paint for layer in best.layers for part in layer.paints}
        paints = {paint.name: paint for paint in workshop.shelf.paints if paint.name in names}
        page = report_page(
            Report(
                shown.title,
                date.today().isoformat(),
                reading,
                match,
                best,
                jpeg(to_screen(before)),
                jpeg(to_screen(after)),
                steps=schedule(best.layers, paints),
                cautions=cautions(list(paints.values())),
                simulated=True,
            )
        )
        report.write_text(page, encoding="utf-8")
    except OSError as error:
        raise ColorMatchError(
            f"Writing {args.out} failed: {error.strerror}.", "Name another folder with --out."
        ) from None

    document = {
        "title": shown.title,
        "simulated": True,
        "read": read_command.document(reading),
        "match": match_command.document(match),
        "preview": str(preview),
        "report": str(report),
    }
    text = "\n".join(
        [
            f"{shown.title} (a simulated photo, invented paints)",
            "",
            read_command.text(reading),
            "",
            match_command.text(match),
            "",
            f"Recipe: {format_layers(best.layers)}. Try it on a hidden spot first; judge it dry.",
            f"Preview picture, before and after (simulated): {preview}",
            f"Report: {report}",
        ]
    )
    return Answer(document, text)


def _save(encoded_rgb: object, path: Path) -> None:
    import numpy as np
    from PIL import Image

    Image.fromarray(np.asarray(encoded_rgb, dtype=np.uint8)).save(path)
