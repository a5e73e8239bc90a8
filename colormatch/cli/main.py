"""Entry of the ``colormatch`` command: picks one command's module and prints its answer.

Only the chosen module is imported, and the modules import the library inside their ``run``, so that help and usage
errors answer at once.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import sys
import warnings
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NoReturn, TextIO

from colormatch.errors import CardNotFound, ColorMatchError, WrongUsage

if TYPE_CHECKING:
    from colormatch.cli.common import Answer

#: How Python itself shows a warning.
_python_warns = warnings.showwarning

#: Command, the module in this package that answers it, and its line of help.
COMMANDS = {
    "app": "open the bench app in the browser (also without any command)",
    "demo": "do the whole job on the shipped photo and starter library",
    "read": "read the colors of patches in a photo",
    "match": "rank washes for a repair, from a photo or from numbers",
    "check": "show how visible a dried repair is, and what to do about it",
    "strips": "rank painted test strips that lie in one photo",
    "mix": "calculate amounts, times and cautions for a wash",
    "paint": "your paints: list, add, edit, copy and remove",
    "swatch": "your swatches: list, search by color, add, edit, copy and remove",
    "ground": "woods and cards that you try washes on",
    "chip": "shop chips, which link photos",
    "clear": "clear coats, measured before and after",
    "camera": "learn a camera once, from photos of a chart or a three-step card",
    "card": "the gray cards and charts that you own",
    "sheet": "print a sheet for many swatches, and read a photo of it",
    "library": "import, export, back up, restore and verify the library",
}


#: Characters of a path that are shown where it is at fault.
_LONGEST_PATH = 200


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments after the program's name; those of the process by default.

    Returns
    -------
    int
        0 done, 1 a clear error was printed, 2 wrong usage, 130 interrupted.
    """
    arguments = list(sys.argv[1:] if argv is None else argv)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a pipe of Windows knows no Δ: a question mark is better than nothing
            stream.reconfigure(errors="replace")
    try:
        return _dispatch(arguments)
    except ColorMatchError as error:
        options = " (--card x,y,w,h or --card none)" if isinstance(error, CardNotFound) else ""
        print(f"{error}{options}", file=sys.stderr)
        return 2 if isinstance(error, WrongUsage) else 1
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of a pipe went away (`colormatch match ... | head`): nothing is wrong, and nobody is left to tell.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        if os.environ.get("COLORMATCH_DEBUG"):
            raise
        where = str(error.filename or "A file or folder")
        where = where if len(where) <= _LONGEST_PATH else f"{where[:_LONGEST_PATH]} ..."
        reason = (error.strerror or str(error)).lower()
        print(f"Using {where} failed: {reason}. Check the name, and the disk it is on.", file=sys.stderr)
        return 1
    except Exception as error:
        if os.environ.get("COLORMATCH_DEBUG"):
            raise
        print(
            f"The program had an internal error ({type(error).__name__}: {error}). "
            "Your library is unharmed; run it again with COLORMATCH_DEBUG=1 set to see where, and report it.",
            file=sys.stderr,
        )
        return 1


class _Parser(argparse.ArgumentParser):
    """Says what is wrong and where to read more, instead of repeating every option."""

    def error(self, message: str) -> NoReturn:
        if message.endswith("expected one argument"):
            option = message.removeprefix("argument ").partition(":")[0]
            message = f"{option} needs a value; one that begins with a minus sign is written {option}=-1"
        self.exit(2, f"{message[:1].upper()}{message[1:].rstrip('.')}. '{self.prog} --help' shows how it is used.\n")


def _dispatch(arguments: list[str]) -> int:
    if arguments and arguments[0] in COMMANDS:
        name, rest = arguments[0], arguments[1:]
    elif arguments and (arguments[0] in ("-h", "--help", "--version") or not arguments[0].startswith("-")):
        _top_parser().parse_args(arguments)
        return 0
    else:
        name, rest = "app", arguments
    parser, run = command(name)
    args = parser.parse_args(rest)
    warnings.showwarning = _warn
    answer = run(args)
    if answer is None:
        return 0
    if getattr(args, "json", False):
        # Escaped where the pipe's encoding lacks Δ and names: the document stays the same.
        escape = (sys.stdout.encoding or "").lower().replace("-", "") != "utf8"
        print(json.dumps(answer.document, ensure_ascii=escape, allow_nan=False))
    else:
        print(answer.text)
    return answer.status


def command(name: str) -> tuple[argparse.ArgumentParser, Callable[[argparse.Namespace], Answer | None]]:
    """The parser of a command, and what answers it."""
    from colormatch.cli.kinds import RECORD_COMMANDS

    kind = RECORD_COMMANDS.get(name)
    found = kind or importlib.import_module(f"colormatch.cli.{name}")
    about = f"List, add, edit, copy and remove {kind.about}" if kind else found.__doc__
    parser = _Parser(prog=f"colormatch {name}", description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    found.add_arguments(parser)
    return parser, found.run


def _warn(
    message: Warning | str,
    category: type[Warning],
    filename: str,
    lineno: int,
    file: TextIO | None = None,
    line: str | None = None,
) -> None:
    """Our own sentence without the line of code that Python puts around it."""
    from colormatch.errors import LibraryReadOnly, RecordLeftOut

    if issubclass(category, (LibraryReadOnly, RecordLeftOut)):
        print(message, file=sys.stderr)
    else:
        _python_warns(message, category, filename, lineno, file, line)


def _top_parser() -> argparse.ArgumentParser:
    from colormatch import __version__

    width = max(map(len, COMMANDS))
    listing = "\n".join(f"  {name:<{width}}  {line}" for name, line in COMMANDS.items())
    parser = _Parser(
        prog="colormatch",
        description="Find the wash, from your own paints, that hides a repair in wood.",
        epilog=f"commands:\n{listing}\n\n'colormatch COMMAND --help' explains one of them.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"colormatch {__version__}")
    parser.add_argument("command", choices=COMMANDS, metavar="COMMAND", nargs="?", help="one of the commands below")
    return parser


if __name__ == "__main__":
    sys.exit(main())
