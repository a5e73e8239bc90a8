"""List, add, edit, copy and remove the gray cards and charts that you own.

colormatch card add "the big one" --kind three-step --value 0.89/0.18/0.035
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import typed
from colormatch.cli.records import RecordCommand
from colormatch.cli.references import CARD_KINDS

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import OwnCard


class CardCommand(RecordCommand["OwnCard"]):
    command, word, plural = "card", "card", "cards"
    plain = ("value", "notes")
    head = ("card", "kind", "value", "notes")

    def kind(self) -> type[OwnCard]:
        from colormatch.records import OwnCard

        return OwnCard

    def add_options(self, action: argparse.ArgumentParser, *, new: bool) -> None:
        action.add_argument("--kind", required=new, choices=CARD_KINDS)
        action.add_argument(
            "--value", metavar="VALUE", help="what its maker states, in the form of 'colormatch read --card-value'"
        )
        action.add_argument("--notes", metavar="TEXT")

    def given(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        from colormatch.records import CardKind
        from colormatch.reference.card_choice import parse_card_value

        given = super().given(library, args)
        if args.kind is not None:
            given["kind"] = CardKind(args.kind)
        kind = given.get("kind") or self.pick(library, args.chosen).record.kind
        typed(parse_card_value, args.value, kind)  # refuses what no photo could be read with
        return given

    def cells(self, record: OwnCard) -> Sequence[object]:
        return record.name, record.kind.value, record.value, record.notes


COMMAND = CardCommand()
add_arguments, run = COMMAND.add_arguments, COMMAND.run
