"""Print a sheet for many swatches, and read a photo of it.

colormatch sheet print --rows "Ochre,Raw Umber" --columns "full,1:1,1:3x1,1:3x2" --out sheet.pdf
colormatch sheet read photo.jpg --layout sheet.json --ground paper --keep

A column is a ratio of paint to water and, behind an x, a number of coats. One more column, at the left, stays bare.
A board of your own, without the printed sheet, is read by the four corners of its cells; its left column is bare too.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import (
    STATES,
    Answer,
    add_json,
    add_library,
    flag_documents,
    open_library,
    print_lab,
    rounded,
    table,
    typed,
)
from colormatch.cli.references import add_card_options, card_choice

if TYPE_CHECKING:
    from colormatch.image.photo import DecodedPhoto
    from colormatch.reference.neutral import Neutral
    from colormatch.sheet.cells import BoardReading
    from colormatch.sheet.layout import Plan
    from colormatch.sheet.swatches import Proposal

#: Largest layout file that is read. Our choice: one holds a few names.
_MOST_LAYOUT_BYTES = 1_000_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(dest="action", required=True, metavar="print|read")
    printing = actions.add_parser("print", help="write the sheet as a PDF, and its layout beside it")
    reading = actions.add_parser("read", help="read the swatches from a photo of the painted sheet")
    for action in (printing, reading):
        new = action is printing
        action.add_argument("--rows", required=new, metavar="PAINT,...", help="paints, top to bottom")
        action.add_argument("--columns", required=new, metavar="RATIO[xCOATS],...", help="such as full,1:1,1:3x2")
        action.add_argument("--paper", choices=("a4", "letter"), default="a4", help="(a4)")
        add_json(action)
    printing.add_argument("--out", type=Path, default=Path("sheet.pdf"), metavar="FILE", help="(sheet.pdf)")
    reading.add_argument("photo", type=Path)
    reading.add_argument(
        "--layout", type=Path, metavar="FILE", help="the .json file written with the PDF, instead of the names"
    )
    reading.add_argument(
        "--corners", nargs=4, metavar="x,y", help="corners of the cells, on a board without the printed sheet"
    )
    reading.add_argument("--ground", default="paper", metavar="NAME", help="the ground it was painted on (paper)")
    reading.add_argument("--state", choices=STATES, default="bare", help="of the ground when it was painted (bare)")
    reading.add_argument("--taken", default="", metavar="DATE", help="year-month-day")
    reading.add_argument("--keep", action="store_true", help="add the swatches to your library")
    add_card_options(reading)
    add_library(reading, makes=True)


def run(args: argparse.Namespace) -> Answer:
    return _print(args) if args.action == "print" else _read(args)


def _print(args: argparse.Namespace) -> Answer:
    from colormatch.errors import ColorMatchError, WrongUsage
    from colormatch.sheet.pdf import sheet_pdf
    from colormatch.sheet.swatches import parse_column

    plan = _plan_of_names(args)
    for column in plan.columns:
        typed(parse_column, column)
    if not args.out.name or args.out.suffix.lower() == ".json":
        raise WrongUsage(f"'{args.out}' is not a name for a PDF.", "Name a file, for example --out sheet.pdf.")
    layout = args.out.with_suffix(".json")
    try:
        args.out.write_bytes(sheet_pdf(plan))
        layout.write_text(plan.to_json(), encoding="utf-8")
    except OSError as error:
        raise ColorMatchError(f"Writing {args.out} failed: {error.strerror}.", "Choose another place.") from None
    document = {"pdf": str(args.out), "layout": str(layout), "rows": plan.rows, "columns": plan.columns}
    text = (
        f"Sheet: {args.out}\nIts layout, needed to read it: {layout}\n"
        "Print it at 100 % (no fitting to the page), and check the 50 mm line with a ruler."
    )
    return Answer(rounded(document), text)


def _read(args: argparse.Namespace) -> Answer:
    from colormatch.image.photo import open_photo
    from colormatch.records import SurfaceState
    from colormatch.sheet.swatches import parse_column, swatches_of

    plan = _plan_of_layout(args) if args.layout else _plan_of_names(args)
    for column in plan.columns:
        typed(parse_column, column)
    photo = open_photo(args.photo)
    board, neutral = _read_board(photo, plan, args)
    sha = photo.facts.sha256 if args.keep else ""
    proposals = swatches_of(board, args.ground, SurfaceState(args.state), args.taken, sha)
    kept = _keep(args, proposals) if args.keep else []
    document = rounded(
        {
            "rows": plan.rows,
            "columns": plan.columns,
            "card": {"found": neutral.card.found, "flags": flag_documents(neutral.card.flags)},
            "ground": {"name": args.ground, "lab": board.ground.lab, "uncertainty": board.ground.uncertainty},
            "swatches": [_document(proposal) for proposal in proposals],
            "unpainted": [r.sample.name for r in board.cells if not r.painted],
            "kept": kept,
            "flags": flag_documents(board.flags),
        }
    )
    return Answer(document, _text(args, board, neutral, proposals, kept))


def _read_board(photo: DecodedPhoto, plan: Plan, args: argparse.Namespace) -> tuple[BoardReading, Neutral]:
    from colormatch.sheet.read import read_board, read_sheet

    if args.corners:
        return read_board(photo, plan, [_corner(text) for text in args.corners], card_choice(args))
    return read_sheet(photo, plan, card_choice(args))


def _keep(args: argparse.Namespace, proposals: list[Proposal]) -> list[int]:
    from colormatch.image.file import bytes_of
    from colormatch.sheet.read import keep_swatches

    library = open_library(args.library, makes=True)
    library.photos.add(bytes_of(args.photo), args.photo.name)
    return keep_swatches(library, [p.swatch for p in proposals], f"added {len(proposals)} swatches of a sheet")


def _plan_of_names(args: argparse.Namespace) -> Plan:
    from colormatch.errors import WrongUsage
    from colormatch.sheet.layout import Plan

    if not (args.rows and args.columns):
        raise WrongUsage(
            "The names of the sheet's rows and columns are missing.",
            "Give --layout, or --rows and --columns as printed.",
        )
    rows, columns = (tuple(name.strip() for name in text.split(",")) for text in (args.rows, args.columns))
    return typed(Plan, args.paper, rows, columns)


def _plan_of_layout(args: argparse.Namespace) -> Plan:
    from colormatch.errors import BadInput
    from colormatch.files import content_of
    from colormatch.sheet.layout import Plan

    content = content_of(args.layout, _MOST_LAYOUT_BYTES, unreadable=BadInput)
    return Plan.from_json(content.decode("utf-8", errors="replace"))


def _corner(text: str) -> tuple[float, float]:
    from colormatch.errors import WrongUsage

    try:
        x, y = (float(part) for part in text.split(","))
    except ValueError:
        raise WrongUsage(f"'{text}' is not a corner.", "Give four times x,y in pixels.") from None
    return x, y


def _document(proposal: Proposal) -> dict[str, Any]:
    swatch = proposal.swatch
    return {
        "paint": swatch.paint,
        "column": proposal.reading.cell.column,
        "paint_parts": swatch.paint_parts,
        "water_parts": swatch.water_parts,
        "coats": swatch.coats,
        "lab": swatch.lab,
        "uncertainty": swatch.uncertainty,
        "points": proposal.reading.region.points,
        "flags": flag_documents(proposal.flags),
    }


def _text(
    args: argparse.Namespace, board: BoardReading, neutral: Neutral, proposals: list[Proposal], kept: list[int]
) -> str:
    rows = [
        (p.swatch.paint, p.reading.cell.column, print_lab(p.swatch.lab), f"{p.swatch.uncertainty:.1f}",
         ", ".join(flag.code for flag in p.flags))
        for p in proposals
    ]  # fmt: skip
    missing = [r.sample.name for r in board.cells if not r.painted]
    lines = [
        f"Ground, {args.ground}: {print_lab(board.ground.lab)}  ± {board.ground.uncertainty:.1f} ΔE00",
        table(("paint", "wash", "L* a* b*", "±", "look at"), rows, right=(3,)),
        f"Left out because they look unpainted: {'; '.join(missing)}." if missing else "",
        *(flag.text for flag in (*neutral.card.flags, *board.flags)),
        *(flag.text for p in proposals for flag in p.flags),
        f"Added {len(kept)} swatches to the library; 'colormatch library undo' takes them back." if kept else "",
    ]
    return "\n".join(line for line in lines if line)
