"""The commands for paints, swatches, grounds, shop chips, clear coats and cards: what each has of its own."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from colormatch.cli.common import STATES, lab, typed
from colormatch.cli.records import Fields, RecordCommand
from colormatch.cli.references import CARD_KINDS

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import Flag, Paint, Swatch


def _price(text: str) -> float:
    """A price with a point or a comma."""
    from colormatch.errors import BadInput
    from colormatch.mixing.measures import parse_number

    try:
        return parse_number(text, "price")
    except BadInput as error:
        raise argparse.ArgumentTypeError(f"{error.what} {error.fix}") from None


def _near_paints(library: Library, args: argparse.Namespace) -> Fields:
    return {"swatches": library.shelf().swatches} if args.near else {}


def _swatches_of_each(library: Library) -> dict[str, Mapping[Paint, int]]:
    shelf = library.shelf()
    counts = Counter(swatch.paint for swatch in shelf.swatches)
    return {"swatches": {paint: counts[paint.name] for paint in shelf.paints}}


def _asked_swatches(library: Library, args: argparse.Namespace) -> Fields:
    from colormatch.wash.ratio import parse_ratio

    return {
        "paint": PAINTS.pick(library, args.paint).record.name if args.paint else "",
        "ground": args.ground,
        "paint_fraction": typed(parse_ratio, args.ratio).paint_fraction if args.ratio else None,
    }


def _stated_swatch(library: Library, args: argparse.Namespace) -> Fields:
    from colormatch.wash.ratio import parse_ratio
    from colormatch.workshop import ground_named

    stated: Fields = {}
    if args.lab or args.measured:
        stated["measured"] = "instrument" if args.measured else "typed in"
    if args.paint is not None:
        stated["paint"] = PAINTS.pick(library, args.paint).record.name
    if args.ratio is not None:
        ratio = typed(parse_ratio, args.ratio)
        stated |= {"paint_parts": ratio.paint, "water_parts": ratio.water}
    if args.action == "add":
        stated["coats"] = 1 if args.coats is None else args.coats
        if args.ground_lab is None:
            known = ground_named(library, args.ground)
            stated |= {"ground": known.name, "ground_lab": known.lab}
    return stated


def _swatch_flags(library: Library, number: int, record: Swatch) -> list[Flag]:
    from colormatch.library.find import twins
    from colormatch.records import Flag, FlagCode
    from colormatch.wash.doubts import no_trace

    nothing = no_trace(record)
    flags = [nothing] if nothing else []
    same = [str(stored.id) for stored in twins(record, library.all(type(record))) if stored.id != number]
    if same:
        told = f"Number {', '.join(same)} is identical; 'colormatch library undo' takes this back."
        flags.append(Flag(FlagCode.SAME_SWATCH, told))
    return flags


def _ratio(record: Swatch) -> str:
    from colormatch.wash.ratio import format_ratio

    return format_ratio(record.paint_parts, record.water_parts)


def _swatch_words(number: int, record: Swatch) -> str:
    coats = "1 coat" if record.coats == 1 else f"{record.coats} coats"
    return f"swatch {number}: {record.paint} {_ratio(record)}, {coats} on {record.ground}"


def _stated_card(library: Library, args: argparse.Namespace) -> Fields:
    """Refuses a value that no photo could be read with."""
    from colormatch.records import CardKind
    from colormatch.reference.card_choice import parse_card_value

    kind = CardKind(args.kind) if args.kind else CARDS.pick(library, args.chosen).record.kind
    typed(parse_card_value, args.value, kind)
    return {"kind": kind}


_TEXT: Fields = {"metavar": "TEXT"}
_LAB: Fields = {"metavar": "LAB", "type": lab}
_FILE: Fields = {"metavar": "FILE", "type": Path}

PAINTS = RecordCommand(
    "paint",
    "paint",
    "paints",
    "Paint",
    "the paints of your library.",
    options={
        "--maker": _TEXT,
        "--kind": _TEXT | {"help": "such as acrylic, milk paint, stain, glaze"},
        "--thinner": _TEXT | {"help": "the thinner (water)"},
        "--price": {"metavar": "N", "type": _price, "help": "of one tin, in your own currency"},
        "--size-ml": {"metavar": "ML", "type": float, "help": "of one tin"},
        "--on-hand-ml": {"metavar": "ML", "type": float, "help": "amount left in ml"},
        "--notes": _TEXT,
        "--photo": _FILE | {"help": "a photo of the tin to keep with it; 'none' removes it"},
    },
    columns={
        "paint": "name",
        "maker": "maker",
        "kind": "kind",
        "left, ml": "on_hand_ml",
        "tin, ml": "size_ml",
        "price": "price",
    },
    asked=_near_paints,
    counts=_swatches_of_each,
)
SWATCHES = RecordCommand(
    "swatch",
    "swatch",
    "swatches",
    "Swatch",
    """the swatches of your library.

colormatch swatch add --paint 'old brown' --ratio 1:3 --coats 2 --ground tabletop --ground-lab 70,5,20 --lab 61,9,28
colormatch swatch list --ground tabletop --near 62,9,25""",
    options={
        "--paint": {"metavar": "NAME", "required": True},
        "--ratio": {"metavar": "RATIO", "required": True, "help": "paint to water: 1:3, 25%%, full"},
        "--coats": {"metavar": "N", "type": int, "help": "number of coats (1)"},
        "--ground": {"metavar": "NAME", "required": True, "help": "what it was painted on, such as 'light wood'"},
        "--ground-lab": _LAB | {"help": "the color of the ground; not needed if the library has that ground"},
        "--lab": {"help": "color of the dried wash"},
        "--state": {"choices": STATES, "help": "of the ground when it was painted (bare)"},
        "--taken": {"metavar": "DATE", "help": "year-month-day"},
        "--photo": _FILE | {"help": "a photo to keep with it; 'none' removes it"},
        "--notes": _TEXT,
    },
    columns={
        "paint": "paint",
        "ratio": _ratio,
        "coats": "coats",
        "ground": "ground",
        "state": "state",
        "ground L  a  b": "ground_lab",
        "dried L  a  b": "lab",
        "± ΔE": "uncertainty",
        "taken": "taken",
    },
    filters={
        "--paint": {"metavar": "NAME", "help": "only of this paint"},
        "--ground": {"metavar": "NAME", "default": "", "help": "only on this ground"},
        "--ratio": {"metavar": "RATIO", "help": "only of this ratio of paint to water"},
    },
    asked=_asked_swatches,
    stated=_stated_swatch,
    flags=_swatch_flags,
    words=_swatch_words,
)
GROUNDS = RecordCommand(
    "ground",
    "ground",
    "grounds",
    "Ground",
    """grounds: woods and cards that you measured once and try washes on.

colormatch ground add "light board" --lab 70,5,20""",
    options={
        "--lab": {"help": "its color"},
        "--state": {"choices": STATES, "help": "of its surface (bare)"},
        "--notes": _TEXT,
    },
    columns={"ground": "name", "state": "state", "L  a  b": "lab", "± ΔE": "uncertainty", "notes": "notes"},
)
CHIPS = RecordCommand(
    "chip",
    "shop chip",
    "chips",
    "ShopChip",
    """shop chips: objects of known color that you photograph with every job to link the photos.

colormatch chip add "red offcut" --lab 45,30,18""",
    options={"--lab": {"help": "its color"}, "--notes": _TEXT},
    columns={"chip": "name", "L  a  b": "lab", "± ΔE": "uncertainty", "notes": "notes"},
)
CLEAR_COATS = RecordCommand(
    "clear",
    "clear coat",
    "clear coats",
    "ClearCoatPair",
    """clear coats: the color of one spot before and after a coat.

colormatch clear add "satin varnish" --before 62,9,25 --after 55,12,32 --on "bare wood"
""",
    options={
        "--before": _LAB | {"dest": "bare_lab", "required": True, "help": "color of the spot without it"},
        "--after": _LAB | {"dest": "sealed_lab", "required": True, "help": "color of the same spot, sealed"},
        "--on": _TEXT | {"help": "what it was applied to, such as 'bare wood' or 'washed wood'"},
        "--notes": _TEXT,
    },
    columns={
        "clear coat": "name",
        "on": "on",
        "before L  a  b": "bare_lab",
        "after L  a  b": "sealed_lab",
        "notes": "notes",
    },
)
CARDS = RecordCommand(
    "card",
    "card",
    "cards",
    "OwnCard",
    """the gray cards and charts that you own.

colormatch card add "the big one" --kind three-step --value 0.89/0.18/0.035""",
    options={
        "--kind": {"required": True, "choices": CARD_KINDS},
        "--value": {"metavar": "VALUE", "help": "what its maker states, in the form of 'colormatch read --card-value'"},
        "--notes": _TEXT,
    },
    columns={"card": "name", "kind": "kind", "value": "value", "notes": "notes"},
    stated=_stated_card,
)

#: By the name of the command.
RECORD_COMMANDS = {one.command: one for one in (PAINTS, SWATCHES, GROUNDS, CHIPS, CLEAR_COATS, CARDS)}
