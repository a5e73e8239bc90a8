"""The references in a photo on the command line: its card, white places, shop chips; and what is read by them.

Imports nothing heavy: it is on the way to ``--help``.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from colormatch.cli.common import box, lab, named_box, open_library, typed

if TYPE_CHECKING:
    from colormatch.image.photo import DecodedPhoto
    from colormatch.library.columns import Record
    from colormatch.records import Box, Ground, Lab, Reading, Region, ShopChip
    from colormatch.reference.camera import LearnedCamera
    from colormatch.reference.card_choice import CardChoice, Settled

R = TypeVar("R", bound="Record")

#: Kinds of card that options take, as `CardKind` has them.
CARD_KINDS = ("gray", "three-step", "chart24", "paper", "cardboard", "piece")


def add_card_options(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("the card in the photo")
    group.add_argument(
        "--card",
        default="auto",
        type=card_place,
        metavar="auto|BOX|none",
        help="find it automatically, use this box, or use no card",
    )
    group.add_argument(
        "--card-kind",
        choices=CARD_KINDS,
        default="gray",
        help="paper, cardboard and piece stand in for a card with less certainty; mark them with --card",
    )
    group.add_argument(
        "--card-value",
        metavar="VALUE",
        help="reflectance of the gray card (0.18), its Lab (49.5,0,0), white/gray/black reflectances of a three-step "
        "card (0.89/0.18/0.035); for a chart before-2014, since-2014 or a file of its measured patches; for paper and "
        "cardboard the measured Lab; for a piece its Lab, or the name of a wood or chip in the library",
    )


#: Kinds of light, as `LightKind` has them.
LIGHTS = ("daylight", "bulb", "fluorescent", "led")


def add_camera_options(parser: argparse.ArgumentParser) -> None:
    """The learned camera that a photo with a gray card is read through."""
    group = parser.add_argument_group("the learned camera")
    group.add_argument("--light", choices=LIGHTS, help="the light in the photo, if the camera was learned in several")
    group.add_argument(
        "--camera",
        metavar="NAME|none",
        help="which learned camera to use (default: the one named in the photo's file), or none",
    )
    group.add_argument(
        "--known",
        action="append",
        default=[],
        type=named_box,
        metavar="NAME=BOX",
        help="a wood from the library in the photo (repeatable); if the learned camera reads it differently, the "
        "photo is read by its gray card alone",
    )


def kept_records(folder: Path | None, kind: type[R]) -> list[R]:
    """Records of one kind; none where there is no library, which isn't made."""
    from colormatch.library.store import default_folder, holds_library

    if not holds_library((folder or default_folder()).expanduser()):
        return []
    return [stored.record for stored in open_library(folder).all(kind)]


def learned_for(args: argparse.Namespace, photo: DecodedPhoto) -> LearnedCamera | None:
    """The learned camera of a photo, of the library at hand; None where there is none."""
    from colormatch.records import CameraPhoto, LightKind

    name = args.camera or photo.facts.taken_with
    if not name or name == "none":
        return None
    kept = kept_records(args.library, CameraPhoto)
    if not kept:
        return None
    from colormatch.reference.teach import learned_camera

    return learned_camera(kept, name, photo.facts.raw, LightKind(args.light) if args.light else None)


def add_reference_options(parser: argparse.ArgumentParser) -> None:
    """The card, and what helps it."""
    add_card_options(parser)
    add_camera_options(parser)
    parser.add_argument(
        "--white",
        nargs="+",
        action="extend",
        default=[],
        type=box,
        metavar="BOX",
        help="several places on one white sheet, or several gray cards, to correct uneven light (repeatable)",
    )
    parser.add_argument(
        "--chip",
        action="append",
        default=[],
        type=_chip,
        metavar="NAME[@LAB]=BOX",
        help="a shop chip in the photo, to link photos: one from the library, or one with its color (repeatable)",
    )


def card_place(text: str) -> str | Box:
    """``auto``, ``none``, or where the card lies."""
    if text in ("auto", "none"):
        return text
    try:
        return box(text)
    except argparse.ArgumentTypeError as error:
        raise argparse.ArgumentTypeError(f"{error}; or give auto or none") from None


def _chip(text: str) -> tuple[str, Lab | None, Box]:
    named, place = named_box(text)
    name, at, color = named.rpartition("@")
    if not at:
        return named, None, place
    if not name.strip():
        raise argparse.ArgumentTypeError(f"'{text}' is not a chip; give NAME=x,y,w,h or NAME@L,a,b=x,y,w,h")
    return name.strip(), lab(color), place


def read_by_references(args: argparse.Namespace, photo: DecodedPhoto, marked: Sequence[Region]) -> Reading:
    """The colors of marked regions, and of the references that the options mark.

    Raises
    ------
    BadInput
        A chip that is given without its color isn't in the library; or see `card_choice`.
    PhotoError
        See `read_photo`.
    """
    from colormatch.records import Region, RegionKind, ShopChip
    from colormatch.reference.known_colors import SeenBefore
    from colormatch.repair import boxed, read_photo

    # What is typed is taken as exact.
    settled = [
        _settled_chip(args.library, name) if color is None else ShopChip(name, color, 0.0)
        for name, color, _ in args.chip
    ]
    chips = [
        Region.from_box(RegionKind.CHIP, place, photo.facts.width, photo.facts.height, chip.name)
        for chip, (_, _, place) in zip(settled, args.chip, strict=True)
    ]
    regions = [*marked, *chips, *boxed(photo, RegionKind.WHITE, args.white)]
    size = photo.facts.width, photo.facts.height
    known = [
        SeenBefore(_known_wood(args.library, name), Region.from_box(RegionKind.SOUND, place, *size, name))
        for name, place in args.known
    ]
    return read_photo(photo, regions, card_choice(args), settled, learned_for(args, photo), known)


def _known_wood(folder: Path | None, name: str) -> Ground:
    """A wood of the library by its name, however it is capitalized."""
    from colormatch.errors import BadInput
    from colormatch.records import Ground, named

    wood = named(kept_records(folder, Ground), name)
    if wood is None:
        raise BadInput(
            f"The library has no wood named {name}.",
            "Add its color with 'colormatch ground add'.",
        )
    return wood


def _settled_chip(folder: Path | None, name: str) -> ShopChip:
    """A shop chip of the library by its name, however it is capitalized."""
    from colormatch.errors import BadInput
    from colormatch.records import ShopChip, named

    chips = kept_records(folder, ShopChip)
    chip = named(chips, name)
    if chip is not None:
        return chip
    known = f"The library has: {', '.join(sorted(chip.name for chip in chips))}. " if chips else ""
    raise BadInput(
        f"The library has no shop chip named {name}.",
        f"{known}Add it with 'colormatch chip add', or give its color as NAME@L,a,b=x,y,w,h.",
    )


def card_choice(args: argparse.Namespace) -> CardChoice:
    """The card options as a value.

    Raises
    ------
    WrongUsage
        ``--card-value`` is of no known form.
    BadInput
        A piece that the library doesn't have.
    """
    from colormatch.records import CardKind
    from colormatch.reference.card_choice import CardChoice, parse_card_value

    kind = CardKind(args.card_kind)
    piece = _piece_of_library(args) if kind is CardKind.PIECE else None
    value = piece or typed(parse_card_value, args.card_value, kind)
    if args.card == "none":
        return CardChoice(kind=CardKind.NONE)
    return CardChoice(kind=kind, value=value, box=None if args.card == "auto" else args.card)


def _piece_of_library(args: argparse.Namespace) -> Settled | None:
    """The color of a piece that is named as a wood or a chip of the library; None if its Lab is typed, or nothing."""
    from colormatch.errors import BadInput
    from colormatch.records import Ground, ShopChip, named
    from colormatch.reference.card_choice import Settled

    name = args.card_value
    if not name or name.count(",") in (2, 3):
        return None
    known: Ground | ShopChip | None = named(kept_records(args.library, Ground), name)
    known = known or named(kept_records(args.library, ShopChip), name)
    if known is None:
        raise BadInput(
            f"The library has no wood or chip named {name}.",
            "Add its color with 'colormatch ground add', or give its Lab, such as 62,9,24.",
        )
    return Settled(known.lab, known.uncertainty)
