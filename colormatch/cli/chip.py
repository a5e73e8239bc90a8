"""List, add, edit, copy and remove shop chips: things of settled color that lie in many photos and tie them together.

colormatch chip add "red offcut" --lab 45,30,18
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import print_lab
from colormatch.cli.records import RecordCommand, add_color_options, measured_color

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import ShopChip


class ChipCommand(RecordCommand["ShopChip"]):
    command, word, plural = "chip", "shop chip", "chips"
    plain = ("lab", "uncertainty", "notes")
    head = ("chip", "L  a  b", "± ΔE", "notes")
    right = (2,)

    def kind(self) -> type[ShopChip]:
        from colormatch.records import ShopChip

        return ShopChip

    def add_options(self, action: argparse.ArgumentParser, *, new: bool) -> None:
        add_color_options(action, "its color", new=new)
        action.add_argument("--notes", metavar="TEXT")

    def given(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        return super().given(library, args) | measured_color(args)

    def cells(self, record: ShopChip) -> Sequence[object]:
        return record.name, print_lab(record.lab), f"{record.uncertainty:.2g}", record.notes


COMMAND = ChipCommand()
add_arguments, run = COMMAND.add_arguments, COMMAND.run
