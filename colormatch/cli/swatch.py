"""List, add, edit, copy and remove the swatches of your library.

colormatch swatch add --paint 'old brown' --ratio 1:3 --coats 2 --ground tabletop --ground-lab 70,5,20 --lab 61,9,28
colormatch swatch list --ground tabletop --near 62,9,25
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import STATES, lab, print_lab, typed
from colormatch.cli.paint import COMMAND as PAINTS
from colormatch.cli.records import (
    RecordCommand,
    add_color_options,
    add_photo_option,
    kept_photo,
    measured_color,
)

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import Flag, Swatch


class SwatchCommand(RecordCommand["Swatch"]):
    command, word, plural, known_by = "swatch", "swatch", "swatches", "number"
    plain = ("coats", "ground", "ground_lab", "lab", "uncertainty", "taken", "notes")
    head = ("paint", "ratio", "coats", "ground", "state", "ground L  a  b", "dried L  a  b", "± ΔE", "taken")
    right = (2, 7)

    def kind(self) -> type[Swatch]:
        from colormatch.records import Swatch

        return Swatch

    def add_options(self, action: argparse.ArgumentParser, *, new: bool) -> None:
        action.add_argument("--paint", required=new, metavar="NAME")
        action.add_argument("--ratio", required=new, metavar="RATIO", help="paint to water: 1:3, 25%%, full")
        action.add_argument("--coats", type=int, metavar="N", help="number of coats (1)")
        action.add_argument(
            "--ground", required=new, metavar="NAME", help="what it was painted on, such as 'light wood'"
        )
        action.add_argument("--ground-lab", type=lab, metavar="LAB", help="its color; not needed for a known ground")
        add_color_options(action, "color of the dried wash", new=new)
        action.add_argument("--state", choices=STATES, help="of the ground when it was painted (bare)")
        action.add_argument("--taken", metavar="DATE", help="year-month-day")
        add_photo_option(action, "a photo")
        action.add_argument("--notes", metavar="TEXT")

    def add_filters(self, listing: argparse.ArgumentParser) -> None:
        listing.add_argument("--paint", metavar="NAME", help="only of this paint")
        listing.add_argument("--ground", default="", metavar="NAME", help="only on this ground")
        listing.add_argument("--ratio", metavar="RATIO", help="only of this ratio of paint to water")

    def filters(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        from colormatch.wash.ratio import parse_ratio

        return {
            "paint": PAINTS.pick(library, args.paint).record.name if args.paint else "",
            "ground": args.ground,
            "paint_fraction": typed(parse_ratio, args.ratio).paint_fraction if args.ratio else None,
        }

    def given(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        from colormatch.records import SurfaceState
        from colormatch.wash.ratio import parse_ratio
        from colormatch.workshop import ground_named

        given = super().given(library, args) | measured_color(args) | kept_photo(library, args)
        if args.lab or args.measured:
            given["measured"] = "instrument" if args.measured else "typed in"
        if args.paint is not None:
            given["paint"] = PAINTS.pick(library, args.paint).record.name
        if args.ratio is not None:
            ratio = typed(parse_ratio, args.ratio)
            given |= {"paint_parts": ratio.paint, "water_parts": ratio.water}
        if args.state is not None:
            given["state"] = SurfaceState(args.state)
        if args.action == "add":
            given.setdefault("coats", 1)
            if args.ground_lab is None:
                known = ground_named(library, args.ground)
                given["ground"], given["ground_lab"] = known.name, known.lab
        return given

    def flags(self, library: Library, number: int, record: Swatch) -> list[Flag]:
        from colormatch.library.find import twins
        from colormatch.records import Flag, FlagCode
        from colormatch.wash.doubts import no_trace

        nothing = no_trace(record)
        flags = [nothing] if nothing else []
        same = [str(stored.id) for stored in twins(record, library.all(self.kind())) if stored.id != number]
        if same:
            told = f"Number {', '.join(same)} is the very same; 'colormatch library undo' takes this back."
            flags.append(Flag(FlagCode.SAME_SWATCH, told))
        return flags

    def cells(self, record: Swatch) -> Sequence[object]:
        from colormatch.wash.ratio import format_ratio

        return (
            record.paint,
            format_ratio(record.paint_parts, record.water_parts),
            record.coats,
            record.ground,
            record.state.value,
            print_lab(record.ground_lab),
            print_lab(record.lab),
            f"{record.uncertainty:.2g}",
            record.taken,
        )

    def words(self, number: int, record: Swatch) -> str:
        from colormatch.wash.ratio import format_ratio

        coats = "1 coat" if record.coats == 1 else f"{record.coats} coats"
        ratio = format_ratio(record.paint_parts, record.water_parts)
        return f"swatch {number}: {record.paint} {ratio}, {coats} on {record.ground}"


COMMAND = SwatchCommand()
add_arguments, run = COMMAND.add_arguments, COMMAND.run
