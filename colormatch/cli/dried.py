"""What ``check`` and ``strips`` share: photos of dried paint under one light or two, and swatches kept from them."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import (
    STATES,
    add_json,
    add_library,
    box,
    flag_documents,
    lab,
    parse_layer,
    rounded,
    typed,
)
from colormatch.cli.references import add_camera_options, add_card_options, card_choice, card_place, learned_for

if TYPE_CHECKING:
    from colormatch.check.compare import Check, Judged
    from colormatch.library import Library
    from colormatch.records import Box, Layer, Reading, RegionKind, Sample
    from colormatch.workshop import Workshop


def add_photo_options(parser: argparse.ArgumentParser, name: str, form: Any, metavar: str) -> None:
    """The photo, its sound wood and its painted surfaces; and the same once more under a second light.

    Parameters
    ----------
    name : str
        Of the option that marks what is painted.
    form : callable
        Reads one mark.
    """
    parser.add_argument("photo", type=Path, metavar="PHOTO")
    parser.add_argument("--sound", nargs="+", action="extend", required=True, type=box, metavar="BOX")
    parser.add_argument(f"--{name}", nargs="+", action="extend", required=True, type=form, metavar=metavar)
    add_card_options(parser)
    add_camera_options(parser)
    group = parser.add_argument_group("the same under a second light", "it needs the same kind of card")
    group.add_argument("--second", type=Path, metavar="PHOTO", help="for example by a warm bulb, if this one is by day")
    group.add_argument("--second-card", default="auto", type=card_place, metavar="auto|BOX|none", help="as --card")
    group.add_argument("--second-sound", nargs="+", action="extend", default=[], type=box, metavar="BOX")
    group.add_argument(f"--second-{name}", nargs="+", action="extend", default=[], type=form, metavar=metavar)
    add_library(parser)
    add_json(parser)


def add_keep_options(parser: argparse.ArgumentParser, keep: dict[str, Any]) -> None:
    """What was painted on what, and ``--keep``, which is of the form that ``keep`` gives."""
    group = parser.add_argument_group("keep it as a swatch")
    group.add_argument("--keep", **keep)
    group.add_argument(
        "--painted",
        action="append",
        default=[],
        metavar="PAINT,RATIO,COATS",
        help="what is on it (repeatable, lowest first)",
    )
    group.add_argument("--ground", type=lab, metavar="LAB", help="color of the wood under it before it was painted")
    group.add_argument(
        "--sound-before",
        type=lab,
        metavar="LAB",
        help="the sound wood in the photo that --ground comes from; links that photo to this one",
    )
    group.add_argument("--ground-name", default="repair", metavar="NAME", help="name of the ground (repair)")
    group.add_argument("--state", choices=STATES, default="bare", help="of the ground when it was painted (bare)")


def photographed(args: argparse.Namespace, kind: RegionKind) -> list[Reading]:
    """The photo, or the photos of both lights, with their marks.

    Raises
    ------
    WrongUsage
        A second photo without its marks, or marks without it.
    PhotoError
        See `read_photo`.
    """
    from colormatch.errors import WrongUsage

    name = str(kind)
    second = (args.second_sound, getattr(args, f"second_{name}"))
    if args.second is None:
        if any(second):
            raise WrongUsage("Marks were given for a second photo, but not the photo.", "Name it with --second PHOTO.")
        return [_read(args.photo, args.sound, getattr(args, name), kind, args)]
    if not all(second):
        raise WrongUsage(
            "The second photo has no marks.", f"Add at least one --second-sound BOX and one --second-{name}."
        )
    other = argparse.Namespace(**vars(args) | {"card": args.second_card})
    first = _read(args.photo, args.sound, getattr(args, name), kind, args)
    return [first, _read(args.second, *second, kind, other)]


def _read(path: Path, sound: Sequence[Box], painted: Sequence[Any], kind: RegionKind, args: Any) -> Reading:
    from colormatch.image.photo import open_photo
    from colormatch.records import Region, RegionKind
    from colormatch.repair import boxed, read_photo

    photo = open_photo(path)
    size = photo.facts.width, photo.facts.height
    regions = boxed(photo, RegionKind.SOUND, sound)
    for number, mark in enumerate(painted, 1):
        name, place = mark if isinstance(mark[0], str) else (f"{kind} {number}", mark)
        regions.append(Region.from_box(kind, place, *size, name))
    return read_photo(photo, regions, card_choice(args), learned=learned_for(args, photo))


def painted_layers(args: argparse.Namespace, workshop: Workshop) -> tuple[Layer, ...]:
    """What ``--painted`` says, named as on the tins.

    Raises
    ------
    WrongUsage, PaintError
    """
    from colormatch.records import Limits
    from colormatch.workshop import resolve_paint_names

    return resolve_paint_names(
        Limits(then=tuple(typed(parse_layer, text) for text in args.painted)), workshop.shelf
    ).then


def keep(
    args: argparse.Namespace, library: Library, painted: Sample, photo: Reading, layers: Sequence[Layer]
) -> tuple[dict[str, Any], str]:
    """Put a dried surface into the library as a swatch; what was learned, for programs and for people.

    Raises
    ------
    WrongUsage
        It is not said what was painted on what.
    BadInput
        It can't be one swatch.
    """
    from datetime import date

    from colormatch.check.learn import Before, lesson, swatch_from
    from colormatch.errors import WrongUsage
    from colormatch.image.file import bytes_of
    from colormatch.records import SurfaceState
    from colormatch.wash.doubts import no_trace
    from colormatch.wash.ratio import format_layers
    from colormatch.workshop import paint_named

    if not layers or args.ground is None:
        raise WrongUsage(
            "A swatch needs the wash and the ground it was painted on.",
            "Add --painted PAINT,RATIO,COATS and --ground L,a,b; 'colormatch read' gives the color of the ground.",
        )
    swatch = swatch_from(
        painted,
        photo,
        Before(args.ground, args.sound_before),
        layers,
        args.ground_name,
        SurfaceState(args.state),
        date.today().isoformat(),
        library.photos.add(bytes_of(args.photo), args.photo.name),
    )
    shelf = library.shelf()
    learned = lesson(swatch, shelf.of(swatch.paint), paint_named(shelf, swatch.paint).kind)
    number = library.add(swatch)
    nothing = no_trace(swatch)
    words = [nothing.text] if nothing else []
    words += [f"Kept as swatch {number}: {format_layers(layers)}, ± {swatch.uncertainty:.1f} ΔE."]
    if learned.missed is not None and learned.before is not None:
        words.append(
            f"The paint's model was off by ΔE {learned.missed:.1f}. On this ground the paint's washes were known "
            f"to ΔE {learned.before:.1f} and are now known to {learned.after:.1f} (nine times in ten)."
        )
    else:
        words.append(
            f"It is the paint's first swatch: its washes on this ground are now known to ΔE {learned.after:.1f} "
            "(nine times in ten)."
        )
    document = {
        "id": number,
        "uncertainty": swatch.uncertainty,
        "lab": swatch.lab,
        "missed": learned.missed,
        "doubt_before": learned.before,
        "doubt_after": learned.after,
        "flags": flag_documents([nothing] if nothing else []),
    }
    return rounded(document), "\n".join([*words, "'colormatch library undo' takes it back."])


def lights(judged: Judged) -> dict[str, Any]:
    """What is added to a document where there are two lights."""
    if len(judged.lights) == 1:
        return {}
    return {"lights": [figures(check) for check in judged.lights], "one_light_only": judged.one_light_only}


def figures(check: Check) -> dict[str, Any]:
    """A check for programs."""
    return {
        "delta_e": check.delta_e,
        "low": check.low,
        "high": check.high,
        "off": check.off,
        "verdict": check.verdict,
        "lab": check.lab,
    }
