"""List, add, edit and remove the paints of your library."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import Answer, add_json, add_library, table

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import Paint


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(dest="action", required=True, metavar="add|list|edit|remove")
    add = actions.add_parser("add", help="put a paint on the shelf")
    add.add_argument("name", help="as it stands on the tin")
    edit = actions.add_parser("edit", help="change what is known of a paint")
    edit.add_argument("name", help="the paint")
    edit.add_argument("--name", dest="new_name", metavar="NAME", help="its new name; its swatches follow")
    for action in (add, edit):
        action.add_argument("--maker", metavar="TEXT")
        action.add_argument("--kind", metavar="TEXT", help="such as acrylic, milk paint, stain, glaze")
        action.add_argument("--thinner", metavar="TEXT", help="what it is thinned with (water)")
        action.add_argument("--price", type=float, metavar="N", help="of one tin, in your own currency")
        action.add_argument("--size-ml", type=float, metavar="ML", help="of one tin")
        action.add_argument("--on-hand-ml", type=float, metavar="ML", help="what is left of it")
        action.add_argument("--notes", metavar="TEXT")
    remove = actions.add_parser(
        "remove", help="take a paint and its swatches off the shelf; 'library undo' brings it back"
    )
    remove.add_argument("name", help="the paint")
    for action in (add, actions.add_parser("list", help="list the paints"), edit, remove):
        add_library(action)
        add_json(action)


def run(args: argparse.Namespace) -> Answer:
    from colormatch.library import Library

    library = Library.open(args.library)
    actions = {"add": _add, "list": _list, "edit": _edit, "remove": _remove}
    return actions[args.action](library, args)


def _given(args: argparse.Namespace) -> dict[str, Any]:
    names = ("maker", "kind", "thinner", "price", "size_ml", "on_hand_ml", "notes")
    return {name: value for name in names if (value := getattr(args, name)) is not None}


def _add(library: Library, args: argparse.Namespace) -> Answer:
    from colormatch.records import Paint

    number = library.add(Paint(args.name, **_given(args)))
    paint = library.get(Paint, number)
    return Answer({"added": _document(number, paint)}, f"Added the paint {paint.name}.")


def _edit(library: Library, args: argparse.Namespace) -> Answer:
    from dataclasses import replace

    from colormatch.records import Paint

    number, paint = find_paint(library, args.name)
    changes = _given(args) | ({} if args.new_name is None else {"name": args.new_name})
    library.edit(number, replace(paint, **changes))
    paint = library.get(Paint, number)
    return Answer({"changed": _document(number, paint)}, f"Changed the paint {paint.name}.")


def _remove(library: Library, args: argparse.Namespace) -> Answer:
    from colormatch.records import Paint, Swatch

    number, paint = find_paint(library, args.name)
    before = library.count(Swatch)
    library.remove(Paint, number)
    swatches = before - library.count(Swatch)
    return Answer(
        {"removed": _document(number, paint), "swatches": swatches},
        f"Removed the paint {paint.name} and its {swatches} swatches; 'colormatch library undo' brings them back.",
    )


def _list(library: Library, args: argparse.Namespace) -> Answer:
    from collections import Counter

    from colormatch.records import Paint, Swatch

    paints = library.all(Paint)
    swatches = Counter(stored.record.paint for stored in library.all(Swatch))
    documents = [_document(stored.id, stored.record) | {"swatches": swatches[stored.record.name]} for stored in paints]
    if not paints:
        return Answer({"paints": []}, "There is no paint on the shelf yet; add one with 'colormatch paint add NAME'.")
    rows = [
        (p.name, p.maker, p.kind, _number(p.on_hand_ml), _number(p.size_ml), _number(p.price), swatches[p.name])
        for p in (stored.record for stored in paints)
    ]
    head = ("paint", "maker", "kind", "left, ml", "tin, ml", "price", "swatches")
    return Answer({"paints": documents}, table(head, rows, right=(3, 4, 5, 6)))


def find_paint(library: Library, name: str) -> tuple[int, Paint]:
    """Number and record of a paint; capitals don't matter where only one paint fits.

    Raises
    ------
    PaintError
        No paint, or several, have the name.
    """
    from colormatch.errors import PaintError
    from colormatch.records import Paint

    paints = library.all(Paint)
    found = [stored for stored in paints if stored.record.name == name.strip()] or [
        stored for stored in paints if stored.record.name.casefold() == name.strip().casefold()
    ]
    if len(found) != 1:
        raise PaintError(f"There is no paint named {name} on the shelf.", "See 'colormatch paint list' for the names.")
    return found[0].id, found[0].record


def _document(number: int, paint: Paint) -> dict[str, Any]:
    from colormatch.library.columns import row_of

    return {"id": number} | row_of(paint) | {"extra": dict(paint.extra)}


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
