"""Mutants of the core, drawn by a seed from all that cosmic-ray offers, and how many of them the tests notice.

``python -m tests.studies.mutants draw SEED COUNT`` draws from the rooms and operators that ``mutants.toml`` allows and
writes them to ``measured/mutants.csv``; ``... judge`` runs the tests of its own room on each that has no verdict yet,
once; ``... again`` does so for those that survived, after tests were added. Needs the extra ``mutation``.
"""

from __future__ import annotations

import csv
import random
import sys
import tempfile
import time
from argparse import Namespace
from dataclasses import dataclass, fields, replace
from difflib import SequenceMatcher
from pathlib import Path

from tests.studies.scratch import ROOT, Scratch, scratch

CONFIG = Path(__file__).with_name("mutants.toml")
TABLE = Path(__file__).with_name("measured") / "mutants.csv"
#: Seconds after which a mutant counts as noticed: its loop need not end. The tests of the slowest room take a tenth.
_TIMEOUT = 1500
NOTICED = ("failed", "timeout")


@dataclass(frozen=True)
class Mutant:
    """One change that the library offers."""

    number: int
    #: The module's file, from the top of the project; the first line changed, counted from 1, when it was drawn.
    path: str
    line: int
    operator: str
    #: The lines before and after.
    old: str
    new: str
    #: How the tests of its room ended the first time, and after tests were added.
    first: str = ""
    now: str = ""
    #: Why a survivor is without effect.
    why: str = ""

    @property
    def room(self) -> str:
        """The folder that the module stands in."""
        return Path(self.path).parts[1]

    @property
    def tests(self) -> list[str]:
        """The module's own tests, its examples, and then those of its whole room."""
        own = f"tests/{self.room}/test_{Path(self.path).name}"
        return [*([own] if (ROOT / own).exists() else []), self.path, f"tests/{self.room}"]

    def spoil(self, text: str) -> str:
        """The module's text with the change; of several places that look alike, the nearest to where it stood.

        Raises
        ------
        ValueError
            No place looks like it.
        """
        lines, old = text.splitlines(keepends=True), self.old.splitlines(keepends=True)
        places = [i for i in range(len(lines)) if lines[i : i + len(old)] == old]
        if not places:
            raise ValueError(f"{self.path} no longer holds: {self.old}")
        place = min(places, key=lambda i: abs(i + 1 - self.line))
        return "".join([*lines[:place], *self.new.splitlines(keepends=True), *lines[place + len(old) :]])


def draw(seed: int, count: int) -> list[Mutant]:
    """Draw mutants, each as likely as any other, of which Python accepts the syntax."""
    from cosmic_ray.commands import init
    from cosmic_ray.config import load_config
    from cosmic_ray.modules import find_modules
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator
    from cosmic_ray.tools.filters.operators_filter import OperatorsFilter
    from cosmic_ray.work_db import WorkDB, use_db

    modules = [Path(path) for path in load_config(CONFIG)["module-path"]]
    with tempfile.TemporaryDirectory() as folder, use_db(f"{folder}/session.sqlite", WorkDB.Mode.create) as database:
        init(sorted(find_modules(modules)), database, {})
        OperatorsFilter().filter(database, Namespace(config=CONFIG))
        offered = [mutation for item in database.pending_work_items for mutation in item.mutations]
    offered.sort(key=lambda m: (str(m.module_path), m.start_pos, m.operator_name, m.occurrence))
    print(f"{len(offered)} mutants offered")
    random.Random(seed).shuffle(offered)
    drawn: list[Mutant] = []
    for one in offered:
        text = one.module_path.read_text(encoding="utf-8")
        changed = mutate_code(text, get_operator(one.operator_name)(), one.occurrence)
        try:
            compile(changed, str(one.module_path), "exec")
        except SyntaxError:
            continue
        drawn.append(_mutant(len(drawn) + 1, one.module_path.as_posix(), one.operator_name, text, changed))
        if len(drawn) == count:
            break
    return drawn


def _mutant(number: int, path: str, operator: str, text: str, changed: str) -> Mutant:
    before, after = text.splitlines(keepends=True), changed.splitlines(keepends=True)
    places = [
        code[1:] for code in SequenceMatcher(None, before, after, autojunk=False).get_opcodes() if code[0] != "equal"
    ]
    first, last, new_first, new_last = places[0][0], places[-1][1], places[0][2], places[-1][3]
    old, new = "".join(before[first:last]), "".join(after[new_first:new_last])
    return Mutant(number, path, first + 1, operator.removeprefix("core/"), old, new)


def read() -> list[Mutant]:
    """The table as it stands."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        return [
            Mutant(int(row.pop("number")), row.pop("path"), int(row.pop("line")), **row) for row in csv.DictReader(file)
        ]


def write(mutants: list[Mutant]) -> None:
    """Keep the table."""
    TABLE.parent.mkdir(exist_ok=True)
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        names = [field.name for field in fields(Mutant)]
        table.writerow(names)
        table.writerows([getattr(mutant, name) for name in names] for mutant in mutants)


def judged(copy: Scratch, mutant: Mutant) -> str:
    """How the tests of its room end with it."""
    text = (copy.folder / mutant.path).read_text(encoding="utf-8")
    with copy.holding(mutant.path, mutant.spoil(text)):
        return copy.run(mutant.tests, _TIMEOUT)


def judge(again: bool) -> None:
    """Judge those without a verdict, or once more those that survived and for which no reason stands."""
    mutants, column = read(), "now" if again else "first"
    waiting = [
        place
        for place, mutant in enumerate(mutants)
        if not getattr(mutant, column) and not (again and (mutant.first in NOTICED or mutant.why))
    ]
    with scratch() as copy:
        for room in sorted({mutants[place].room for place in waiting}):
            if (ended := copy.run([f"tests/{room}", f"colormatch/{room}"], 4 * _TIMEOUT)) != "passed":
                raise RuntimeError(f"Without a change the tests of {room} end with '{ended}'.")
            print(f"tests of {room} pass without a change", flush=True)
        for place in waiting:
            mutant, started = mutants[place], time.perf_counter()
            mutants[place] = replace(mutant, **{column: judged(copy, mutant)})
            write(mutants)
            seconds = time.perf_counter() - started
            print(f"{mutant.number:3} {getattr(mutants[place], column):8} {seconds:5.0f} s  {mutant.path}", flush=True)


def report() -> None:
    """How many were noticed."""
    mutants = read()
    first = sum(mutant.first in NOTICED for mutant in mutants)
    now = sum(mutant.now in NOTICED for mutant in mutants)
    without = sum(bool(mutant.why) for mutant in mutants)
    print(f"{len(mutants)} mutants: {first} noticed at the first judging, {now} more since, {without} without effect")


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["draw", seed, count]:
            write(draw(int(seed), int(count)))
        case ["judge"]:
            judge(again=False)
        case ["again"]:
            judge(again=True)
        case _:
            print(__doc__)
            sys.exit(2)
    report()
