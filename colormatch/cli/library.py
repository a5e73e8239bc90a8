"""Import, export, back up, restore and check your library, and take back what you did."""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from colormatch.cli.common import Answer, add_json, add_library, flag_documents, open_library, progress, table

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.library.merge import Incoming

#: Differing records that are listed by name; the rest is counted. Our choice: a screenful.
_LISTED = 20


def add_arguments(parser: argparse.ArgumentParser) -> None:
    actions = parser.add_subparsers(
        dest="action", required=True, metavar="export|import|backup|restore|verify|undo|redo"
    )
    export = actions.add_parser(
        "export", help="export your paints and swatches for somebody else, as a folder or a .zip file"
    )
    export.add_argument("target", type=Path, help="a new folder, or a name that ends in .zip")
    export.add_argument("--repairs", action="store_true", help="also your repairs")
    export.add_argument(
        "--photos",
        action="store_true",
        help="also the photos of all exported records, without location, owner, serial numbers, dates and thumbnails",
    )
    bring = actions.add_parser("import", help="import an exported folder or zip file, a sheet, or an instrument's file")
    bring.add_argument(
        "source",
        type=Path,
        nargs="?",
        help="a folder, a .zip, one .csv from them, or a CxF or CGATS file whose samples become grounds (default: "
        "the starter library)",
    )
    bring.add_argument("--preview", action="store_true", help="only show what would be done")
    bring.add_argument(
        "--conflicts",
        choices=("mine", "theirs", "both"),
        default="mine",
        help="where yours and theirs differ: keep yours (the default), take theirs, or keep both",
    )
    back_up = actions.add_parser("backup", help="make a backup beside the library, or one file to keep elsewhere")
    back_up.add_argument("--out", type=Path, metavar="FILE", help="write database and photos as this one .zip file")
    back_up.add_argument("--list", action="store_true", help="list the backups")
    restore = actions.add_parser("restore", help="replace the library with a backup; the current library is kept")
    restore.add_argument(
        "backup", type=Path, nargs="?", help="a backup or a saved file (default: the newest sound backup)"
    )
    verify = actions.add_parser("verify", help="check the database, every record, photo, undo step and backup")
    verify.add_argument(
        "--set-aside",
        action="store_true",
        help="first move damaged records, drafts and undo steps from the library to a file beside it",
    )
    undo = actions.add_parser("undo", help="undo the last change; repeat it for earlier changes")
    redo = actions.add_parser("redo", help="redo the change that was undone last")
    for action in (export, bring, back_up, restore, verify, undo, redo):
        add_library(action, makes=action in (bring, restore))
        add_json(action)


def run(args: argparse.Namespace) -> Answer:
    if args.action == "restore":  # the only one that a library which can't be opened needs
        return _restore(args)
    if args.action == "import" and args.preview:
        return _preview(args)
    library = open_library(args.library, makes=args.action == "import")
    actions = {
        "export": _export,
        "import": _import,
        "backup": _back_up,
        "verify": _verify,
        "undo": _undo,
        "redo": _undo,
    }
    return actions[args.action](library, args)


def _export(library: Library, args: argparse.Namespace) -> Answer:
    from colormatch.library.export import export_exchange
    from colormatch.library.merge import PLURALS, counted

    shared = export_exchange(library, args.target, progress, repairs=args.repairs, photos=args.photos)
    counts = {PLURALS[kind]: len(rows) for kind, rows in shared.records.items()}
    counts |= {"repairs": len(shared.repairs), "photos": len(shared.photos)}
    told = ", ".join(counted(n, name) for name, n in counts.items() if n)
    lines = [f"Wrote {args.target}: {told or 'nothing, because the library is empty'}."]
    if shared.photos:
        lines.append("The photos were exported without location, owner, serial number, date and thumbnail.")
    left = [(shared.repairs_left, "repairs"), (shared.photos_left, "photos")]
    if any(n for n, _ in left):
        words = " and ".join(counted(n, name) for n, name in left if n)
        options = " and ".join(f"--{name}" for n, name in left if n)
        lines.append(f"Not included: {words}; {options} would include them.")
    lines += [flag.text for flag in shared.flags]
    document = {"target": str(args.target), **counts, "left_out": {name: n for n, name in left}}
    return Answer(document | {"flags": flag_documents(shared.flags)}, "\n".join(lines))


def _import(library: Library, args: argparse.Namespace) -> Answer:
    from colormatch.library.merge import Conflicts, Fate, import_exchange
    from colormatch.library.starter import bundled
    from colormatch.records import FlagCode

    source = bundled("swatches") if args.source is None else args.source
    with _as_folder(source) as folder:
        plan = import_exchange(
            library, folder, preview=args.preview, conflicts=Conflicts(args.conflicts), progress=progress
        )
    counts = plan.counts()
    rows = [(name.replace("_", " "), *numbers.values()) for name, numbers in counts.items() if any(numbers.values())]
    # A single file is never the whole folder.
    flags = [flag for flag in plan.flags if flag.code is not FlagCode.MANIFEST_MISSING or source.is_dir()]
    lines = [flag.text for flag in flags]
    lines.append(table(("", *(fate.value for fate in Fate)), rows, right=(1, 2, 3, 4)))
    differing = [_item(item) for item in plan.items if item.fate in (Fate.CHANGED, Fate.CONFLICT)]
    lines += [f"{one['fate']}: {one['what']} ({', '.join(one['fields'])})" for one in differing[:_LISTED]]
    if len(differing) > _LISTED:
        lines.append(f"... and {len(differing) - _LISTED} more that differ.")
    if args.preview:
        lines.append("Nothing has been imported yet; leave out --preview to import.")
    elif all(item.fate is Fate.SAME for item in plan.items):
        lines.append("You already have everything in it.")
    else:
        lines.append("Done; 'colormatch library undo' takes back the changes.")
    document = {"source": str(source), "preview": args.preview, **counts, "differing": differing}
    return Answer(document | {"flags": flag_documents(flags)}, "\n".join(lines))


def _preview(args: argparse.Namespace) -> Answer:
    """What an import would do; where there is no library none is made."""
    from colormatch.library import Library
    from colormatch.library.store import default_folder, holds_library

    place = (args.library or default_folder()).expanduser()
    if holds_library(place):
        return _import(Library.open(place), args)
    with tempfile.TemporaryDirectory() as folder:
        return _import(Library.open(Path(folder)), args)


def _item(item: Incoming) -> dict[str, Any]:
    """A record that differs from the library's, for programs."""
    from colormatch.library.rows import describe
    from colormatch.library.store import SavedRepair

    theirs = item.theirs
    what = f"repair {theirs.name}" if isinstance(theirs, SavedRepair) else describe(theirs)
    return {"fate": item.fate.value, "what": what, "fields": list(item.differences())}


@contextmanager
def _as_folder(source: Path) -> Iterator[Path]:
    """What is to be imported: a folder or zip as it stands; a sheet or an instrument's file in a folder of its own."""
    from colormatch.library.uploads import ENDINGS, lay_out

    if not source.is_file() or source.suffix.lower() == ".zip" or source.suffix.lower()[1:] not in ENDINGS:
        yield source
        return
    with tempfile.TemporaryDirectory() as folder:
        yield lay_out([source], Path(folder))


def _back_up(library: Library, args: argparse.Namespace) -> Answer:
    from colormatch.library import backup, limits
    from colormatch.library.merge import counted
    from colormatch.library.saved import save_archive

    if args.list:
        found = backup.backups(library.database)
        documents = [{"path": str(one.path), "made": one.made.isoformat(), "reason": one.reason} for one in found]
        rows = [(one.made.strftime("%Y-%m-%d %H:%M UTC"), one.reason, one.path) for one in found]
        return Answer({"backups": documents}, table(("made", "why", "file"), rows))
    if args.out is not None:
        saved = save_archive(library, args.out, progress)
        lines = [
            f"Backed up to {args.out} and read back: {counted(saved.photos, 'photos')}, {limits.shown(saved.size)}."
        ]
        lines += [flag.text for flag in saved.flags]
        document = {"backup": str(args.out), "photos": saved.photos, "flags": flag_documents(saved.flags)}
        return Answer(document, "\n".join(lines))
    path = backup.back_up(library.database, "asked")
    return Answer({"backup": str(path)}, f"Backed up to {path}.")


def _restore(args: argparse.Namespace) -> Answer:
    from colormatch.library import Library
    from colormatch.library.merge import counted
    from colormatch.library.rescue import restore, trust_warning
    from colormatch.library.store import default_folder
    from colormatch.records import Paint, Swatch

    folder = args.library or default_folder()
    known = args.backup is not None and args.backup.expanduser().exists()
    if known and (warning := trust_warning(args.backup, folder)):
        print(warning, file=sys.stderr)
        if sys.stdin.isatty() and input("Go on? [y/N] ").strip().lower() not in ("y", "yes"):
            return Answer({"restored": None}, "Nothing was changed.", status=1)
    taken = restore(folder, args.backup, progress)
    library = Library.open(folder)
    paints, swatches = library.count(Paint), library.count(Swatch)
    lines = [f"The newer backup {path} is damaged and was skipped." for path in taken.passed_over]
    lines.append(
        f"Restored {taken.source}: {counted(paints, 'paints')}, {counted(swatches, 'swatches')}. "
        "The previous library is kept as a backup."
    )
    lines += [flag.text for flag in taken.flags]
    return Answer(
        {
            "restored": str(taken.source),
            "passed_over": [str(path) for path in taken.passed_over],
            "paints": paints,
            "swatches": swatches,
            "flags": flag_documents(taken.flags),
        },
        "\n".join(lines),
    )


def _verify(library: Library, args: argparse.Namespace) -> Answer:
    from colormatch.library.aside import set_aside
    from colormatch.library.verify import verify

    aside = set_aside(library) if args.set_aside else None
    found = verify(library, progress)
    document = {
        "folder": str(library.folder),
        "sound": not found.problems,
        "problems": [vars(one) for one in found.problems],
        "records": found.records,
        "photos": found.photos,
        "spare_files": found.spare,
        "remarks": list(found.remarks),
        "set_aside": None if aside is None else {"count": aside.count, "file": str(aside.kept or "")},
    }
    lines = [f"Moved {aside.count} to {aside.kept}."] if aside and aside.kept else []
    looked = f"{found.records} records and {found.photos} photos"
    if not found.problems:
        well = f"All is well: {looked} checked in {library.folder}."
        return Answer(document, "\n".join([*lines, well, *found.remarks]))
    lines += [*map(str, found.problems), *found.remarks]
    return Answer(document, "\n".join(lines), status=1)


def _undo(library: Library, args: argparse.Namespace) -> Answer:
    taking_back = args.action == "undo"
    what = library.undo() if taking_back else library.redo()
    if what is None:
        text = "There is nothing to undo." if taking_back else "There is nothing to redo."
    else:
        text = f"{'Taken back' if taking_back else 'Done again'}: {what}."
    return Answer({args.action: what}, text)
