"""What the commands for one kind of record share: list, add, edit, copy and remove.

What one kind has of its own, its options and the columns of its table, stands in `cli/kinds.py`. Imports nothing heavy:
it is on the way to ``--help``.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Mapping
from importlib import import_module
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

from colormatch.cli.common import (
    Answer,
    add_json,
    add_library,
    flag_documents,
    lab,
    open_library,
    print_lab,
    table,
    typed,
)

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.library.rows import Stored
    from colormatch.records import Flag

#: Orders of a list, as `library.find.Sort` has them.
SORTS = ("added", "name", "newest")

#: Fields of a record by their names.
Fields = dict[str, Any]

#: Columns of numbers, which are set flush right, and how they are written.
_NUMBERS = {"coats": "d", "on_hand_ml": "g", "price": "g", "size_ml": "g", "uncertainty": ".2g"}


class RecordCommand(NamedTuple):
    """The command for one kind of record."""

    #: Its name.
    command: str
    #: What people call one and several of the records.
    word: str
    plural: str
    #: Name of the record's class in `colormatch.records`, which is imported late.
    record: str
    #: What its help says of them, and examples.
    about: str
    #: Options of ``add`` and ``edit``, as argparse has them. One that is named like a field states it; what is required
    #: is so where a record is added; ``--lab`` brings the other options of a color along.
    options: Mapping[str, Fields]
    #: Head of each column of the list, and the field that it shows or what it says of a record.
    columns: Mapping[str, str | Callable[[Any], object]]
    #: Options of the list beside those of every list, and what they ask of :func:`colormatch.library.find.find`.
    filters: Mapping[str, Fields] = MappingProxyType({})
    asked: Callable[[Library, argparse.Namespace], Fields] = lambda library, args: {}
    #: Further fields of a record that is added or changed; refuses what can't be.
    stated: Callable[[Library, argparse.Namespace], Fields] = lambda library, args: {}
    #: Doubts about a record that was added or changed.
    flags: Callable[[Library, int, Any], list[Flag]] = lambda library, number, record: []
    #: Numbers that the list tells of each record beside its own fields, by their name.
    counts: Callable[[Library], Mapping[str, Mapping[Any, int]]] = lambda library: {}
    #: A record in a sentence, where it has no name.
    words: Callable[[int, Any], str] | None = None

    def type(self) -> Any:
        """The record's class."""
        return getattr(import_module("colormatch.records"), self.record)

    def pick(self, library: Library, text: str) -> Stored[Any]:
        """The record of that name or number; capitals and spaces don't matter where only one fits.

        Raises
        ------
        BadInput
            None fits, or several do.
        """
        from colormatch.errors import BadInput, PaintError
        from colormatch.records import Paint, name_key

        stored = library.all(self.type())
        found = [one for one in stored if getattr(one.record, "name", None) == text.strip()]
        found = found or [one for one in stored if name_key(getattr(one.record, "name", "")) == name_key(text)]
        if not found and text.strip().isdecimal():
            found = [one for one in stored if one.id == int(text)]
        if len(found) > 1:
            numbers = ", ".join(str(one.id) for one in found)
            raise BadInput(f"{len(found)} {self.plural} have the name {text}.", f"Give the number: {numbers}.")
        if not found:
            named = f"number {text}" if self.words and text.strip().isdecimal() else f"named {text}"
            error = PaintError if self.type() is Paint else BadInput
            raise error(
                f"The library has no {self.word} {named}.", f"'colormatch {self.command} list' shows what there is."
            )
        return found[0]

    # --- the actions -------------------------------------------------------------------------------------------------

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        actions = parser.add_subparsers(dest="action", required=True, metavar="list|add|edit|copy|remove")
        listing = actions.add_parser("list", help=f"list the {self.plural}, or search them")
        listing.add_argument("--search", default="", metavar="WORDS", help="only those that contain all of these words")
        listing.add_argument("--near", type=lab, metavar="LAB", help="the nearest to this color first, with their ΔE00")
        listing.add_argument("--sort", choices=SORTS, default="added", help="sort order (as they were added)")
        add = actions.add_parser("add", help=f"add a {self.word}")
        edit = actions.add_parser("edit", help=f"edit a {self.word}")
        known_by = "number" if self.words else "name"
        if known_by == "name":
            add.add_argument("name", help=f"of the {self.word}")
            edit.add_argument("--name", metavar="NAME", help="its new name")
        for flag, form in self.options.items():
            if flag == "--lab":
                _add_color_options(add, form["help"], new=True)
                _add_color_options(edit, form["help"], new=False)
            else:
                add.add_argument(flag, **form)
                edit.add_argument(flag, **form | {"required": False})
        for flag, form in self.filters.items():
            listing.add_argument(flag, **form)
        copy = actions.add_parser("copy", help=f"add a copy of a {self.word} to edit")
        remove = actions.add_parser("remove", help=f"remove {self.plural}; 'library undo' brings them back")
        for action, many in ((edit, None), (copy, None), (remove, "+")):
            action.add_argument("chosen", nargs=many, metavar=known_by, help=f"of the {self.word} in the list")
        for action in (listing, add, edit, copy, remove):
            add_library(action, makes=action is add)
            add_json(action)

    def run(self, args: argparse.Namespace) -> Answer:
        actions = {"list": self._list, "add": self._add, "edit": self._edit, "copy": self._copy, "remove": self._remove}
        return actions[args.action](open_library(args.library, makes=args.action == "add"), args)

    def _list(self, library: Library, args: argparse.Namespace) -> Answer:
        from colormatch.library.find import Sort, find

        asked = self.asked(library, args)
        found = find(library.all(self.type()), args.search, near=args.near, sort=Sort(args.sort), **asked)
        key = self.plural.replace(" ", "_")
        if not found:
            some = len(library.all(self.type()))
            return Answer({key: []}, f"None of the {some} {self.plural} fits." if some else self._none_yet())
        counts = self.counts(library)
        rows: list[list[object]] = []
        documents = []
        for one in found:
            more: dict[str, float | None] = {name: values[one.stored.record] for name, values in counts.items()}
            rows.append(
                [one.stored.id, *(_cell(one.stored.record, shown) for shown in self.columns.values()), *more.values()]
            )
            if args.near is not None:
                more["delta_e"] = one.delta_e
                rows[-1].append("" if one.delta_e is None else f"{one.delta_e:.1f}")
            documents.append(document(one.stored.id, one.stored.record) | more)
        head = ["no.", *self.columns, *counts, *(["ΔE00"] if args.near else [])]
        right = [place for place, shown in enumerate(self.columns.values(), 1) if shown in _NUMBERS]
        right += [0, *range(len(self.columns) + 1, len(head))]
        return Answer({key: documents}, table(head, rows, right))

    def _none_yet(self) -> str:
        return f"There is no {self.word} yet; add one with 'colormatch {self.command} add'."

    def _add(self, library: Library, args: argparse.Namespace) -> Answer:
        from colormatch.library.columns import tidy

        given = self._given(library, args)
        record = typed(lambda: tidy(self.type()(**given)))
        return self._told(library, "added", library.add(record))

    def _given(self, library: Library, args: argparse.Namespace) -> Fields:
        """The fields that the options state."""
        from dataclasses import fields

        names = {field.name for field in fields(self.type())}
        given = {name: value for name, value in vars(args).items() if name in names and value is not None}
        if getattr(args, "measured", None) is not None:
            given |= _measured_color(args)
        if getattr(args, "photo", None) is not None:
            given["photo"] = _kept_photo(library, args.photo)
        return given | self.stated(library, args)

    def _told(self, library: Library, done: str, number: int) -> Answer:
        """A record that was added or changed, with what is to be doubted about it."""
        record = library.get(self.type(), number)
        flags = self.flags(library, number, record)
        text = f"{done.capitalize()} {self._named(number, record)}."
        return Answer(
            {done: document(number, record), "flags": flag_documents(flags)},
            "\n".join([text, *(flag.text for flag in flags)]),
        )

    def _edit(self, library: Library, args: argparse.Namespace) -> Answer:
        from dataclasses import replace

        from colormatch.library.columns import tidy

        stored = self.pick(library, args.chosen)
        changes = self._given(library, args)
        library.edit(stored.id, typed(lambda: tidy(replace(stored.record, **changes))))
        return self._told(library, "changed", stored.id)

    def _copy(self, library: Library, args: argparse.Namespace) -> Answer:
        stored = self.pick(library, args.chosen)
        number = library.duplicate(self.type(), stored.id)
        record = library.get(self.type(), number)
        return Answer({"added": document(number, record)}, f"Added {self._named(number, record)}, a copy.")

    def _remove(self, library: Library, args: argparse.Namespace) -> Answer:
        kind: type[Any] = self.type()
        chosen = {stored.id: stored for stored in (self.pick(library, text) for text in args.chosen)}
        before = self._swatches(library)
        names = "; ".join(self._named(stored.id, stored.record) for stored in chosen.values())
        what = f"removed {names}" if len(chosen) == 1 else f"removed {len(chosen)} {self.plural}"
        with library.step(what) as step:
            for number in chosen:
                step.remove(kind, number)
        along = before - self._swatches(library)
        them = f"{names} and {along} {'swatch' if along == 1 else 'swatches'} of it" if along else names
        text = f"Removed {them}. 'colormatch library undo' brings back what is gone."
        documents = [document(stored.id, stored.record) for stored in chosen.values()]
        return Answer({"removed": documents, "swatches": along}, text)

    def _swatches(self, library: Library) -> int:
        """Number of swatches, which go along with their paint."""
        from colormatch.records import Swatch

        return 0 if self.type() is Swatch else library.count(Swatch)

    def _named(self, number: int, record: Any) -> str:
        """A record in a sentence."""
        return self.words(number, record) if self.words else f"the {self.word} {record.name}"


def _cell(record: Any, shown: str | Callable[[Any], object]) -> object:
    if callable(shown):
        return shown(record)
    value = getattr(record, shown)
    if shown in _NUMBERS:
        return "" if value is None else format(value, _NUMBERS[shown])
    return print_lab(value) if shown.endswith("lab") else value


def document(number: int, record: Any) -> dict[str, Any]:
    """A record for programs."""
    from colormatch.library.columns import row_of

    return {"id": number} | row_of(record) | {"extra": dict(record.extra)}


# --- colors and photos of records ------------------------------------------------------------------------------------


def _add_color_options(action: argparse.ArgumentParser, what: str, *, new: bool) -> None:
    """``--lab`` or ``--measured``, and how sure it is."""
    color = action.add_mutually_exclusive_group(required=new)
    color.add_argument("--lab", type=lab, metavar="LAB", help=f"{what}, L,a,b for D65")
    color.add_argument("--measured", type=Path, metavar="FILE", help="read it from an instrument's CxF or CGATS file")
    action.add_argument("--sample", default="", metavar="NAME", help="which sample of that file, if it has several")
    action.add_argument("--uncertainty", type=float, metavar="ΔE", help="of the color, 90%% radius (1)")


def _measured_color(args: argparse.Namespace) -> Fields:
    """The color that the file of an instrument states; and how sure it is, unless that was said."""
    from colormatch.instrument.measurements import pick, read_measurements
    from colormatch.records import Ground

    one = pick(read_measurements(args.measured), args.sample)
    # All records of a color take the same uncertainty where none is stated.
    usual = {} if args.uncertainty is not None else {"uncertainty": math.hypot(Ground.uncertainty, one.uncertainty)}
    return {"lab": one.lab} | usual


def _kept_photo(library: Library, photo: Path) -> str:
    """The name of a file that is taken into the library."""
    from colormatch.image.file import bytes_of

    return "" if str(photo) == "none" else library.photos.add(bytes_of(photo), photo.name)
