"""List, add, edit, copy and remove clear coats: the color of one spot before and after a coat.

colormatch clear add "satin varnish" --before 62,9,25 --after 55,12,32 --on "bare wood"
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import lab, print_lab
from colormatch.cli.records import RecordCommand

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import ClearCoatPair


class ClearCommand(RecordCommand["ClearCoatPair"]):
    command, word, plural = "clear", "clear coat", "clear coats"
    plain = ("on", "notes")
    head = ("clear coat", "on", "before L  a  b", "after L  a  b", "notes")

    def kind(self) -> type[ClearCoatPair]:
        from colormatch.records import ClearCoatPair

        return ClearCoatPair

    def add_options(self, action: argparse.ArgumentParser, *, new: bool) -> None:
        action.add_argument("--before", type=lab, required=new, metavar="LAB", help="color of the spot without it")
        action.add_argument("--after", type=lab, required=new, metavar="LAB", help="color of the same spot, sealed")
        action.add_argument("--on", metavar="TEXT", help="what it was laid on, such as 'bare wood' or 'washed wood'")
        action.add_argument("--notes", metavar="TEXT")

    def given(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        colors = {"bare_lab": args.before, "sealed_lab": args.after}
        return super().given(library, args) | {name: color for name, color in colors.items() if color is not None}

    def cells(self, record: ClearCoatPair) -> Sequence[object]:
        return record.name, record.on, print_lab(record.bare_lab), print_lab(record.sealed_lab), record.notes


COMMAND = ClearCommand()
add_arguments, run = COMMAND.add_arguments, COMMAND.run
