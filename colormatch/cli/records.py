"""What the commands for one kind of record share: list, add, edit, copy and remove.

A command's module gives a subclass of :class:`RecordCommand` the options, the table's cells and what else its kind
needs. Imports nothing heavy: it is on the way to ``--help``.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar, Generic, TypeVar

from colormatch.cli.common import Answer, add_json, add_library, flag_documents, lab, open_library, table, typed

if TYPE_CHECKING:
    from colormatch.library import Library
    from colormatch.library.columns import Record
    from colormatch.library.rows import Stored
    from colormatch.records import Flag

T = TypeVar("T", bound="Record")

#: Orders of a list, as `library.find.Sort` has them.
SORTS = ("added", "name", "newest")


class RecordCommand(Generic[T]):
    """One kind of record on the command line."""

    #: The command's name, what people call one and several of the records.
    command: ClassVar[str]
    word: ClassVar[str]
    plural: ClassVar[str]
    #: How one is named on the command line: ``name``, or ``number`` where names are not unique.
    known_by: ClassVar[str] = "name"
    #: Options that are fields as they stand.
    plain: ClassVar[tuple[str, ...]]
    #: Head of the table after the number, and which of its columns are set flush right.
    head: ClassVar[tuple[str, ...]]
    right: ClassVar[tuple[int, ...]] = ()

    # --- what a kind of record says of itself ------------------------------------------------------------------------

    def kind(self) -> type[T]:
        """The record's class, imported late."""
        raise NotImplementedError

    def add_options(self, action: argparse.ArgumentParser, *, new: bool) -> None:
        """Options that state fields; ``new`` where those without a default are needed."""
        raise NotImplementedError

    def add_filters(self, listing: argparse.ArgumentParser) -> None:
        """Options of the list beside those of every list."""

    def given(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        """The fields that the options state."""
        return {name: value for name in self.plain if (value := getattr(args, name)) is not None}

    def filters(self, library: Library, args: argparse.Namespace) -> dict[str, Any]:
        """What the list's own options ask of :func:`colormatch.library.find.find`."""
        return {}

    def flags(self, library: Library, number: int, record: T) -> list[Flag]:
        """Doubts about a record that was added or changed."""
        return []

    def cells(self, record: T) -> Sequence[object]:
        """A row of the table, without the number."""
        raise NotImplementedError

    def further(self, library: Library) -> dict[str, Mapping[T, int]]:
        """Numbers that the list tells of each record beside its own fields, by their name."""
        return {}

    def words(self, number: int, record: Any) -> str:
        """A record in a sentence."""
        return f"the {self.word} {record.name}"

    # --- the actions -------------------------------------------------------------------------------------------------

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        actions = parser.add_subparsers(dest="action", required=True, metavar="list|add|edit|copy|remove")
        listing = actions.add_parser("list", help=f"list the {self.plural}, or search them")
        listing.add_argument("--search", default="", metavar="WORDS", help="only those that hold each of these words")
        listing.add_argument("--near", type=lab, metavar="LAB", help="the nearest to this color first, with their ΔE00")
        listing.add_argument("--sort", choices=SORTS, default="added", help="in which order (as they were added)")
        self.add_filters(listing)
        add = actions.add_parser("add", help=f"add a {self.word}")
        edit = actions.add_parser("edit", help=f"change what is known of a {self.word}")
        if self.known_by == "name":
            add.add_argument("name", help=f"of the {self.word}")
            edit.add_argument("--name", dest="new_name", metavar="NAME", help="its new name")
        self.add_options(add, new=True)
        self.add_options(edit, new=False)
        copy = actions.add_parser("copy", help=f"add a copy of a {self.word}, to change it")
        remove = actions.add_parser("remove", help=f"remove {self.plural}; 'library undo' brings them back")
        for action, many in ((edit, None), (copy, None), (remove, "+")):
            action.add_argument("chosen", nargs=many, metavar=self.known_by, help=f"of the {self.word} in the list")
        for action in (listing, add, edit, copy, remove):
            add_library(action, makes=action is add)
            add_json(action)

    def run(self, args: argparse.Namespace) -> Answer:
        actions = {"list": self._list, "add": self._add, "edit": self._edit, "copy": self._copy, "remove": self._remove}
        return actions[args.action](open_library(args.library, makes=args.action == "add"), args)

    def _list(self, library: Library, args: argparse.Namespace) -> Answer:
        from colormatch.library.find import Sort, find

        filters = self.filters(library, args)
        found = find(library.all(self.kind()), args.search, near=args.near, sort=Sort(args.sort), **filters)
        key = self.plural.replace(" ", "_")
        if not found:
            some = len(library.all(self.kind()))
            return Answer({key: []}, f"None of the {some} {self.plural} fits." if some else self._none_yet())
        further = self.further(library)
        rows: list[list[object]] = []
        documents = []
        for one in found:
            more: dict[str, float | None] = {name: values[one.stored.record] for name, values in further.items()}
            rows.append([one.stored.id, *self.cells(one.stored.record), *more.values()])
            if args.near is not None:
                more["delta_e"] = one.delta_e
                rows[-1].append("" if one.delta_e is None else f"{one.delta_e:.1f}")
            documents.append(document(one.stored.id, one.stored.record) | more)
        head, right = ("no.", *self.head, *further), (0, *(place + 1 for place in self.right))
        right = (*right, *range(len(self.head) + 1, len(head) + 1))
        return Answer({key: documents}, table((*head, *(["ΔE00"] if args.near else [])), rows, right))

    def _none_yet(self) -> str:
        return f"There is no {self.word} yet; add one with 'colormatch {self.command} add'."

    def _add(self, library: Library, args: argparse.Namespace) -> Answer:
        from colormatch.library.columns import tidy

        given = self.given(library, args) | ({"name": args.name} if self.known_by == "name" else {})
        record = typed(lambda: tidy(self.kind()(**given)))
        return self._told(library, "added", library.add(record))

    def _told(self, library: Library, done: str, number: int) -> Answer:
        """A record that was added or changed, with what is to be doubted about it."""
        record = library.get(self.kind(), number)
        flags = self.flags(library, number, record)
        text = f"{done.capitalize()} {self.words(number, record)}."
        return Answer(
            {done: document(number, record), "flags": flag_documents(flags)},
            "\n".join([text, *(flag.text for flag in flags)]),
        )

    def _edit(self, library: Library, args: argparse.Namespace) -> Answer:
        from dataclasses import replace

        from colormatch.library.columns import tidy

        stored = self.pick(library, args.chosen)
        changes = self.given(library, args)
        if getattr(args, "new_name", None) is not None:
            changes["name"] = args.new_name
        library.edit(stored.id, typed(lambda: tidy(replace(stored.record, **changes))))
        return self._told(library, "changed", stored.id)

    def _copy(self, library: Library, args: argparse.Namespace) -> Answer:
        stored = self.pick(library, args.chosen)
        number = library.duplicate(self.kind(), stored.id)
        record = library.get(self.kind(), number)
        return Answer({"added": document(number, record)}, f"Added {self.words(number, record)}, a copy.")

    def _remove(self, library: Library, args: argparse.Namespace) -> Answer:
        kind: type[Any] = self.kind()
        chosen = {stored.id: stored for stored in (self.pick(library, text) for text in args.chosen)}
        before = self.lost_along(library)
        names = "; ".join(self.words(stored.id, stored.record) for stored in chosen.values())
        what = f"removed {names}" if len(chosen) == 1 else f"removed {len(chosen)} {self.plural}"
        with library.step(what) as step:
            for number in chosen:
                step.remove(kind, number)
        along = before - self.lost_along(library)
        them = f"{names} and {along} {'swatch' if along == 1 else 'swatches'} of it" if along else names
        text = f"Removed {them}. 'colormatch library undo' brings back what is gone."
        documents = [document(stored.id, stored.record) for stored in chosen.values()]
        return Answer({"removed": documents, "swatches": along}, text)

    def lost_along(self, library: Library) -> int:
        """Number of records that may go along with a removed one."""
        return 0

    def pick(self, library: Library, text: str) -> Stored[T]:
        """The record of that name or number; capitals and spaces don't matter where only one fits.

        Raises
        ------
        BadInput
            None fits, or several do.
        """
        from colormatch.errors import BadInput, PaintError
        from colormatch.records import Paint, name_key

        stored = library.all(self.kind())
        found = [one for one in stored if getattr(one.record, "name", None) == text.strip()]
        found = found or [one for one in stored if name_key(getattr(one.record, "name", "")) == name_key(text)]
        if not found and text.strip().isdecimal():
            found = [one for one in stored if one.id == int(text)]
        if len(found) > 1:
            numbers = ", ".join(str(one.id) for one in found)
            raise BadInput(f"{len(found)} {self.plural} have the name {text}.", f"Give the number: {numbers}.")
        if not found:
            named = f"number {text}" if self.known_by == "number" and text.strip().isdecimal() else f"named {text}"
            error = PaintError if self.kind() is Paint else BadInput
            raise error(f"There is no {self.word} {named}.", f"'colormatch {self.command} list' shows what there is.")
        return found[0]


def document(number: int, record: Any) -> dict[str, Any]:
    """A record for programs."""
    from colormatch.library.columns import row_of

    return {"id": number} | row_of(record) | {"extra": dict(record.extra)}


# --- options that several kinds share --------------------------------------------------------------------------------


def add_color_options(action: argparse.ArgumentParser, what: str, *, new: bool) -> None:
    """``--lab`` or ``--measured``, and how sure it is."""
    color = action.add_mutually_exclusive_group(required=new)
    color.add_argument("--lab", type=lab, metavar="LAB", help=f"{what}, L,a,b for D65")
    color.add_argument("--measured", type=Path, metavar="FILE", help="read it from an instrument's CxF or CGATS file")
    action.add_argument("--sample", default="", metavar="NAME", help="which sample of that file, if it has several")
    action.add_argument("--uncertainty", type=float, metavar="ΔE", help="of the color, 90%% radius (1)")


def measured_color(args: argparse.Namespace) -> dict[str, Any]:
    """The field ``lab`` where the file of an instrument states it; and how sure it is, unless that was said."""
    if args.measured is None:
        return {}
    from colormatch.instrument.measurements import pick, read_measurements
    from colormatch.records import Ground

    one = pick(read_measurements(args.measured), args.sample)
    # All records of a color take the same uncertainty where none is stated.
    usual = {} if args.uncertainty is not None else {"uncertainty": math.hypot(Ground.uncertainty, one.uncertainty)}
    return {"lab": one.lab} | usual


def add_photo_option(action: argparse.ArgumentParser, what: str) -> None:
    action.add_argument("--photo", type=Path, metavar="FILE", help=f"{what} to keep with it; 'none' takes it away")


def kept_photo(library: Library, args: argparse.Namespace) -> dict[str, Any]:
    """The field ``photo``, its file taken into the library."""
    from colormatch.image.file import bytes_of

    if args.photo is None:
        return {}
    if str(args.photo) == "none":
        return {"photo": ""}
    return {"photo": library.photos.add(bytes_of(args.photo), args.photo.name)}


def number_cell(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
