"""List, add, edit, copy and remove grounds: woods and cards that you measured once and try washes on.

colormatch ground add "light board" --lab 70,5,20
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import STATES, print_lab
from colormatch.cli.records import RecordCommand, add_color_options, measured_color

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import Ground


class GroundCommand(RecordCommand["Ground"]):
    command, word, plural = "ground", "ground", "grounds"
    plain = ("lab", "uncertainty", "notes")
    head = ("ground", "state", "L  a  b", "± ΔE", "notes")
    right = (3,)

    def kind(self) -> type[Ground]:
        from colormatch.records import Ground

        return Ground

    def add_options(self, action: argparse.ArgumentParser, *, new: bool) -> None:
        add_color_options(action, "its color", new=new)
        action.add_argument("--state", choices=STATES, help="of its surface (bare)")
        action.add_argument("--notes", metavar="TEXT")

    def given(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        from colormatch.records import SurfaceState

        state = {} if args.state is None else {"state": SurfaceState(args.state)}
        return super().given(library, args) | measured_color(args) | state

    def cells(self, record: Ground) -> Sequence[object]:
        return record.name, record.state.value, print_lab(record.lab), f"{record.uncertainty:.2g}", record.notes


COMMAND = GroundCommand()
add_arguments, run = COMMAND.add_arguments, COMMAND.run
