"""List, add, edit, copy and remove the paints of your library."""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from colormatch.cli.records import RecordCommand, add_photo_option, kept_photo, number_cell

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import Paint


def price(text: str) -> float:
    """A price with a point or a comma."""
    from colormatch.errors import BadInput
    from colormatch.mixing.measures import parse_number

    try:
        return parse_number(text, "price")
    except BadInput as error:
        raise argparse.ArgumentTypeError(f"{error.what} {error.fix}") from None


class PaintCommand(RecordCommand["Paint"]):
    command, word, plural = "paint", "paint", "paints"
    plain = ("maker", "kind", "thinner", "price", "size_ml", "on_hand_ml", "notes")
    head = ("paint", "maker", "kind", "left, ml", "tin, ml", "price")
    right = (3, 4, 5)

    def kind(self) -> type[Paint]:
        from colormatch.records import Paint

        return Paint

    def add_options(self, action: argparse.ArgumentParser, *, new: bool) -> None:
        action.add_argument("--maker", metavar="TEXT")
        action.add_argument("--kind", metavar="TEXT", help="such as acrylic, milk paint, stain, glaze")
        action.add_argument("--thinner", metavar="TEXT", help="what it is thinned with (water)")
        action.add_argument("--price", type=price, metavar="N", help="of one tin, in your own currency")
        action.add_argument("--size-ml", type=float, metavar="ML", help="of one tin")
        action.add_argument("--on-hand-ml", type=float, metavar="ML", help="what is left of it")
        action.add_argument("--notes", metavar="TEXT")
        add_photo_option(action, "a photo of the tin")

    def given(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        return super().given(library, args) | kept_photo(library, args)

    def filters(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        return {"swatches": library.shelf().swatches} if args.near else {}

    def cells(self, record: Paint) -> Sequence[object]:
        amounts = (record.on_hand_ml, record.size_ml, record.price)
        return (record.name, record.maker, record.kind, *map(number_cell, amounts))

    def further(self, library: Library) -> dict[str, Mapping[Paint, int]]:
        shelf = library.shelf()
        counts = Counter(swatch.paint for swatch in shelf.swatches)
        return {"swatches": {paint: counts[paint.name] for paint in shelf.paints}}

    def lost_along(self, library: Library) -> int:
        from colormatch.records import Swatch

        return library.count(Swatch)


COMMAND = PaintCommand()
add_arguments, run = COMMAND.add_arguments, COMMAND.run
