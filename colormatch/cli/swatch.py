"""List, add, edit and remove the swatches of your library."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import Answer, add_json, add_library, lab, print_lab, table, whole
from colormatch.cli.paint import find_paint

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import Lab, Swatch

_STATES = ("bare", "sealed", "washed", "top-coated")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(dest="action", required=True, metavar="add|list|edit|remove")
    add = actions.add_parser("add", help="keep a painted and measured sample")
    edit = actions.add_parser("edit", help="correct a swatch")
    edit.add_argument("number", type=int, help="its number in 'colormatch swatch list'")
    for action in (add, edit):
        new = action is add
        action.add_argument("--paint", required=new, metavar="NAME")
        action.add_argument("--ratio", required=new, metavar="RATIO", help="paint to water: 1:3, 25%%, full")
        action.add_argument("--coats", type=whole(1, 1000), metavar="N", help="number of coats (1)")
        action.add_argument(
            "--ground", required=new, metavar="NAME", help="what it was painted on, such as 'light wood'"
        )
        action.add_argument("--ground-lab", type=lab, metavar="LAB", help="its color; not needed for a known ground")
        color = action.add_mutually_exclusive_group(required=new)
        color.add_argument("--lab", type=lab, metavar="LAB", help="color of the dried wash, L,a,b for D65")
        color.add_argument(
            "--measured", type=Path, metavar="FILE", help="read it from an instrument's CxF or CGATS file"
        )
        action.add_argument("--sample", default="", metavar="NAME", help="which sample of that file, if it has several")
        action.add_argument("--uncertainty", type=float, metavar="ΔE", help="of the color, 90%% radius (1)")
        action.add_argument("--state", choices=_STATES, help="of the ground when it was painted (bare)")
        action.add_argument("--taken", metavar="DATE", help="year-month-day")
        action.add_argument("--photo", type=Path, metavar="FILE", help="a photo to keep with it")
        action.add_argument("--notes", metavar="TEXT")
    listing = actions.add_parser("list", help="list the swatches")
    listing.add_argument("--paint", metavar="NAME", help="only of this paint")
    remove = actions.add_parser("remove", help="remove swatches; 'library undo' brings them back")
    remove.add_argument("numbers", type=int, nargs="+", metavar="number", help="numbers in 'colormatch swatch list'")
    for action in (add, listing, edit, remove):
        add_library(action)
        add_json(action)


def run(args: argparse.Namespace) -> Answer:
    from colormatch.library import Library

    library = Library.open(args.library)
    actions = {"add": _add, "list": _list, "edit": _edit, "remove": _remove}
    return actions[args.action](library, args)


def _add(library: Library, args: argparse.Namespace) -> Answer:
    from colormatch.records import Swatch

    given = _given(library, args)
    if "ground_lab" not in given:
        given["ground_lab"] = _known_ground(library, args.ground)
    number = library.add(Swatch(**({"coats": 1} | given)))
    swatch = library.get(Swatch, number)
    return Answer({"added": _document(number, swatch)}, f"Added swatch {number}: {_words(swatch)}.")


def _edit(library: Library, args: argparse.Namespace) -> Answer:
    from dataclasses import replace

    from colormatch.records import Swatch

    library.edit(args.number, replace(library.get(Swatch, args.number), **_given(library, args)))
    swatch = library.get(Swatch, args.number)
    return Answer({"changed": _document(args.number, swatch)}, f"Changed swatch {args.number}: {_words(swatch)}.")


def _remove(library: Library, args: argparse.Namespace) -> Answer:
    from colormatch.records import Swatch

    numbers = sorted(set(args.numbers))
    what = f"removed swatch {numbers[0]}" if len(numbers) == 1 else f"removed {len(numbers)} swatches"
    with library.step(what) as step:
        for number in numbers:
            step.remove(Swatch, number)
    return Answer({"removed": numbers}, f"{what.capitalize()}; 'colormatch library undo' brings back what is gone.")


def _list(library: Library, args: argparse.Namespace) -> Answer:
    from colormatch.records import Swatch
    from colormatch.wash.ratio import format_ratio

    stored = library.all(Swatch)
    if args.paint is not None:
        name = find_paint(library, args.paint)[1].name
        stored = tuple(one for one in stored if one.record.paint == name)
    if not stored:
        return Answer({"swatches": []}, "There is no swatch yet; add one with 'colormatch swatch add'.")
    rows = [
        (
            one.id, s.paint, format_ratio(s.paint_parts, s.water_parts), s.coats, s.ground, s.state.value,
            print_lab(s.ground_lab), print_lab(s.lab), f"{s.uncertainty:.2g}", s.taken,
        )
        for one in stored
        for s in (one.record,)
    ]  # fmt: skip
    head = ("no.", "paint", "ratio", "coats", "ground", "state", "ground L  a  b", "dried L  a  b", "± ΔE", "taken")
    return Answer({"swatches": [_document(one.id, one.record) for one in stored]}, table(head, rows, right=(0, 3, 8)))


def _given(library: Library, args: argparse.Namespace) -> dict[str, Any]:
    """The fields of a swatch that the options state."""
    from colormatch.records import SurfaceState
    from colormatch.wash.ratio import parse_ratio

    names = ("coats", "ground", "ground_lab", "lab", "uncertainty", "taken", "notes")
    given: dict[str, Any] = {name: value for name in names if (value := getattr(args, name)) is not None}
    if args.paint is not None:
        given["paint"] = find_paint(library, args.paint)[1].name
    if args.ratio is not None:
        ratio = parse_ratio(args.ratio)
        given |= {"paint_parts": ratio.paint, "water_parts": ratio.water}
    if args.state is not None:
        given["state"] = SurfaceState(args.state)
    if args.measured is not None:
        from colormatch.instrument.measurements import pick, read_measurements

        given["lab"] = pick(read_measurements(args.measured), args.sample).lab
    if args.photo is not None:
        given["photo"] = library.photos.add(_content(args.photo), args.photo.name)
    return given


def _content(path: Path) -> bytes:
    from colormatch.errors import PhotoUnreadable

    try:
        return path.read_bytes()
    except OSError as error:
        raise PhotoUnreadable(f"The photo {path} can't be read: {error.strerror}.", "Check its name.") from None


def _known_ground(library: Library, name: str) -> Lab:
    from colormatch.errors import BadInput
    from colormatch.records import Ground, Swatch

    wanted = name.strip().casefold()
    for stored in library.all(Ground):
        if stored.record.name.casefold() == wanted:
            return stored.record.lab
    for swatch in reversed(library.all(Swatch)):  # the one stated last
        if swatch.record.ground.casefold() == wanted:
            return swatch.record.ground_lab
    raise BadInput(f"The ground {name} is not known yet.", "Give its color with --ground-lab L,a,b.")


def _words(swatch: Swatch) -> str:
    from colormatch.wash.ratio import format_ratio

    coats = "1 coat" if swatch.coats == 1 else f"{swatch.coats} coats"
    ratio = format_ratio(swatch.paint_parts, swatch.water_parts)
    return f"{swatch.paint} {ratio}, {coats} on {swatch.ground}"


def _document(number: int, swatch: Swatch) -> dict[str, Any]:
    from colormatch.library.columns import row_of

    return {"id": number} | row_of(swatch) | {"extra": dict(swatch.extra)}
