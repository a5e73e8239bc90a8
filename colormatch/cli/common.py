"""What the commands share: forms of arguments, match options, tables.

Imports nothing heavy: it is on the way to ``--help``.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.records import Box, Flag, Lab, Layer, Limits, Reading


T = TypeVar("T")

#: States of a surface that options take, as `SurfaceState` has them: records are not imported on the way to ``--help``.
STATES = ("bare", "sealed", "washed", "top-coated")


class Answer(NamedTuple):
    """What a command has to say: for programs, and for people."""

    document: dict[str, Any]
    text: str
    #: Exit status of the command.
    status: int = 0


# --- forms of arguments ----------------------------------------------------------------------------------------------


def box(text: str) -> Box:
    """``x,y,w,h`` in pixels of the upright photo."""
    from colormatch.records import Box

    try:
        numbers = [int(part) for part in text.split(",")]
    except ValueError:
        numbers = []
    if len(numbers) != 4:
        raise argparse.ArgumentTypeError(
            f"'{text}' is not a box; give x,y,w,h in whole pixels, for example 120,80,200,150"
        )
    found = Box(*numbers)
    if min(found.x, found.y) < 0 or min(found.w, found.h) < 1:
        raise argparse.ArgumentTypeError(
            f"'{text}' lies outside any photo; x and y must be at least 0, w and h at least 1"
        )
    return found


def named_box(text: str) -> tuple[str, Box]:
    """``NAME=x,y,w,h``."""
    name, equals, rest = text.rpartition("=")
    if not equals or not name.strip():
        raise argparse.ArgumentTypeError(f"'{text}' is not a named box; give NAME=x,y,w,h")
    return name.strip(), box(rest)


def lab(text: str) -> Lab:
    """``L,a,b``."""
    from colormatch.errors import BadInput
    from colormatch.records import lab_of

    try:
        return lab_of(text.split(","))
    except BadInput as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def radius(text: str) -> float:
    """An uncertainty in ΔE00."""
    try:
        size = float(text)
    except ValueError:
        size = -1.0
    if not 0 <= size <= 100:
        raise argparse.ArgumentTypeError(f"'{text}' is not an uncertainty in ΔE; give 0 to 100, for example 1.5")
    return size


def whole(low: int, high: int) -> Any:
    """A whole number between two limits, both included."""

    def parse(text: str) -> int:
        try:
            number = int(text)
        except ValueError:
            number = low - 1
        if not low <= number <= high:
            raise argparse.ArgumentTypeError(f"'{text}' is not a whole number from {low} to {high}")
        return number

    return parse


def coats(text: str) -> int:
    """A number of coats that can be planned."""
    from colormatch.match.candidates import MOST_COATS_OF_ONE

    number: int = whole(1, MOST_COATS_OF_ONE)(text)
    return number


def typed(read: Callable[..., T], *given: Any) -> T:
    """What a reader makes of something that was typed.

    Raises
    ------
    WrongUsage
        The reader refuses it.
    """
    from colormatch.errors import BadInput, WrongUsage

    try:
        return read(*given)
    except BadInput as error:
        raise WrongUsage(error.what, error.fix) from error


# --- options that commands share -------------------------------------------------------------------------------------


def add_json(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of text")


def add_library(parser: argparse.ArgumentParser, *, makes: bool = False, needs: bool = True) -> None:
    """``--library``; a command that ``needs`` a library and doesn't make one refuses a folder without."""
    parser.add_argument(
        "--library",
        type=_present_library if needs and not makes else Path,
        metavar="DIR",
        help="folder of the swatch library (default: your data folder)"
        + ("; a new one is made if there is none" if makes else ""),
    )


def _present_library(text: str) -> Path:
    from colormatch.library.store import refuse_absent

    refuse_absent(Path(text))
    return Path(text)


def open_library(folder: Path | None, *, makes: bool = False) -> Library:
    """The library of a command; one that is made is told on standard error.

    Raises
    ------
    LibraryError
        There is none where an option or the environment names one, and the command only reads; see `Library.open`.
    """
    from colormatch.library.store import Library, default_folder, holds_library, refuse_absent

    place = (folder or default_folder()).expanduser()
    if not makes and _names_library(folder):
        refuse_absent(place)
    is_new = not holds_library(place)
    library = Library.open(place)
    if is_new:
        print(f"Made a new library in {library.folder}.", file=sys.stderr)
    return library


def tell_absent_library(folder: Path | None) -> None:
    """Tell on standard error that an option or the environment names a library that isn't there."""
    from colormatch.library.store import default_folder, holds_library

    place = (folder or default_folder()).expanduser()
    if _names_library(folder) and not holds_library(place):
        print(f"There is no library in {place}; the photo is read without one.", file=sys.stderr)


def _names_library(folder: Path | None) -> bool:
    import os

    from colormatch.library.store import LIBRARY_VARIABLE

    return bool(folder or os.environ.get(LIBRARY_VARIABLE))


def add_match_options(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("limits of the recipe")
    add_library(parser)
    group.add_argument("--top", type=whole(1, 1000), default=10, metavar="N", help="how many washes to list (10)")
    group.add_argument("--coats", type=coats, default=3, metavar="N", help="most coats of one wash (3)")
    group.add_argument("--layers", type=int, choices=(1, 2), default=1, help="2: a second wash or glaze over the first")
    group.add_argument("--mix", type=int, choices=(1, 2), default=1, help="2: also mixes of two paints")
    group.add_argument(
        "--paint", nargs="+", action="extend", default=[], metavar="NAME", help="only these paints (repeatable)"
    )
    group.add_argument(
        "--smallest", metavar="VOLUME", help="smallest measure you have, such as 1ml; keeps only ratios it can measure"
    )
    group.add_argument("--batch", metavar="VOLUME", default="30ml", help="largest batch to measure out with it (30ml)")
    group.add_argument(
        "--invented", action="store_true", help="also use the example's invented paints, if you have paints of your own"
    )
    group.add_argument("--on-hand", action="store_true", help="only paints that you have left")
    group.add_argument(
        "--then",
        nargs="+",
        action="extend",
        default=[],
        metavar="PAINT,RATIO,COATS",
        help="washes that go over the whole piece afterwards, sound wood included, lowest first (repeatable)",
    )
    group.add_argument("--clear", default="", metavar="NAME", help="a clear coat that goes over the whole piece")
    group.add_argument(
        "--grain-kept",
        type=float,
        default=0.5,
        metavar="SHARE",
        help="least share of the wood's own contrast that must still show (0.5; 0: any wash)",
    )
    group.add_argument(
        "--shift", metavar="DIRECTION=ΔE", help="aim warmer, cooler, darker or lighter than the sound wood"
    )
    group.add_argument("--seed", type=whole(0, 2**32 - 1), default=0, metavar="N", help="seed of the random draws (0)")


def limits(args: argparse.Namespace) -> Limits:
    """The match options as a value.

    Raises
    ------
    WrongUsage
        One can't be.
    """
    from colormatch.match.candidates import check_limits
    from colormatch.records import Limits
    from colormatch.wash.ratio import parse_volume

    allowed = Limits(
        coats=args.coats,
        layers=args.layers,
        mix=args.mix,
        paints=tuple(args.paint),
        on_hand=args.on_hand,
        smallest_ml=typed(parse_volume, args.smallest) if args.smallest else 0.0,
        batch_ml=typed(parse_volume, args.batch),
        top=args.top,
        then=tuple(typed(parse_layer, text) for text in args.then),
        clear=args.clear,
        grain_kept=args.grain_kept,
        seed=args.seed,
        invented=args.invented,
    )
    typed(check_limits, allowed)
    return allowed


def parse_layer(text: str) -> Layer:
    """A wash of one paint, written ``PAINT,RATIO,COATS``.

    Raises
    ------
    BadInput
    """
    from colormatch.errors import BadInput
    from colormatch.match.candidates import MOST_COATS_OF_ONE
    from colormatch.records import Layer, Part
    from colormatch.wash.ratio import parse_ratio

    parts = [part.strip() for part in text.rsplit(",", 2)]
    if len(parts) != 3 or not parts[2].isdecimal():
        raise BadInput(f"'{text}' is not a wash.", "Give PAINT,RATIO,COATS, for example 'brown glaze,80/20,1'.")
    if len(parts[2]) > 3 or int(parts[2]) > MOST_COATS_OF_ONE:
        raise BadInput(f"'{text}' has more coats than can be planned.", f"Give 1 to {MOST_COATS_OF_ONE}.")
    return Layer((Part(parts[0]),), parse_ratio(parts[1]).paint_fraction, int(parts[2]))


def fitting_progress(done: int, count: int) -> None:
    """Progress of the paints that are fitted."""
    progress("Fitting paints", done, count)


def progress(words: str, done: int, count: int) -> None:
    """A line on the terminal that fills while something takes long, and goes away at the end; nothing in a pipe."""
    if not sys.stderr.isatty():
        return
    width = 30
    filled = width * done // max(1, count)
    line = f"{words} [{'#' * filled}{'.' * (width - filled)}] {done} of {count}"
    print(
        f"\r{line if done < count else ' ' * len(line)}", end="" if done < count else "\r", file=sys.stderr, flush=True
    )


# --- print -----------------------------------------------------------------------------------------------------------


def rounded(value: Any, digits: int = 4) -> Any:
    """Floats of a JSON document cut to a readable number of digits; tuples become lists."""
    if isinstance(value, float):
        return round(value, digits)
    if isinstance(value, dict):
        return {key: rounded(item, digits) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [rounded(item, digits) for item in value]
    return value


def flag_documents(flags: Iterable[Flag]) -> list[dict[str, Any]]:
    return [{"code": flag.code, "text": flag.text, "value": flag.value} for flag in flags]


def reading_flags(*readings: Reading) -> list[Flag]:
    """All that is to be doubted about photos, their light, their cards and their samples, each said once."""
    told: dict[str, Flag] = {}
    for reading in readings:
        about_photo = (*reading.photo.flags, *reading.card.flags, *reading.light.flags)
        for flag in (*about_photo, *reading.doubts_about_samples()):
            told.setdefault(flag.text, flag)
    return list(told.values())


def notes(flags: Iterable[Flag]) -> list[str]:
    """Flags for people, one line each."""
    return [f"Note: {flag.text}" for flag in flags]


def table(head: Sequence[str], rows: Iterable[Sequence[object]], right: Sequence[int] = ()) -> str:
    """Plain text table; ``right`` are the columns set flush right."""
    cells = [list(head), *([str(cell) for cell in row] for row in rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(head))]
    lines = [
        "  ".join(
            cell.rjust(w) if i in right else cell.ljust(w) for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        )
        for row in cells
    ]
    return "\n".join(line.rstrip() for line in lines)


def print_lab(color: Lab) -> str:
    """``62.1  9.4  25.0``."""
    return f"{color.L:5.1f} {color.a:6.1f} {color.b:6.1f}"
