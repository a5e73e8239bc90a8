"""Mutants of the core, drawn by a seed from all that cosmic-ray offers, and how many of them the tests notice.

``python -m tests.studies.mutants draw SEED COUNT`` draws from the rooms and operators that ``mutants.toml`` allows and
writes them to ``measured/mutants.csv``; ``... judge [AT A TIME]`` runs the tests of its own room on each that has no
verdict yet, once; ``... again`` does so for those that survived, after tests were added. Needs the extra ``mutation``.
"""

from __future__ import annotations

import csv
import random
import re
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import ExitStack
from dataclasses import dataclass, fields, replace
from difflib import SequenceMatcher
from pathlib import Path
from queue import SimpleQueue

from tests.studies.scratch import ROOT, Ended, Scratch, scratch

CONFIG = Path(__file__).with_name("mutants.toml")
TABLE = Path(__file__).with_name("measured") / "mutants.csv"
#: Seconds of a processor after which a mutant counts as noticed: its loop need not end. The tests of the slowest room
#: take a fifth of it.
_MOST = 300
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
    #: The first test that failed.
    by: str = ""
    #: Why a survivor is without effect.
    why: str = ""

    @property
    def room(self) -> str:
        """The folder that the module stands in."""
        return Path(self.path).parts[1]

    @property
    def tests(self) -> list[list[str]]:
        """The module's examples and its own tests, and then those of its whole room."""
        own = [f"tests/{folder}/test_{Path(self.path).name}" for folder in (self.room, "published")]
        return [[self.path, *(test for test in own if (ROOT / test).exists())], [f"tests/{self.room}"]]

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
    from cosmic_ray.work_db import WorkDB, use_db

    config = load_config(CONFIG)
    modules = [Path(path) for path in config["module-path"]]
    # cosmic-ray's own filter gives the same, and takes some minutes to write down what it left out.
    left_out = re.compile("|".join(config.sub("filters", "operators-filter")["exclude-operators"]))
    with tempfile.TemporaryDirectory() as folder, use_db(f"{folder}/session.sqlite", WorkDB.Mode.create) as database:
        init(sorted(find_modules(modules)), database, {})
        offered = [
            one for item in database.work_items for one in item.mutations if not left_out.match(one.operator_name)
        ]
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


def judged(mutant: Mutant, copies: SimpleQueue[Scratch]) -> Ended:
    """How the tests of its room end with it, in a copy that is free."""
    copy = copies.get()
    try:
        text = (copy.folder / mutant.path).read_text(encoding="utf-8")
        with copy.holding(mutant.path, mutant.spoil(text)):
            for tests in mutant.tests:
                ended = copy.run(tests, _MOST)
                if ended.noticed:
                    break
            return ended
    finally:
        copies.put(copy)


def judge(again: bool, at_a_time: int) -> None:
    """Judge those without a verdict, or once more those that survived and for which no reason stands."""
    mutants, column = read(), "now" if again else "first"
    waiting = [
        place
        for place, mutant in enumerate(mutants)
        if not getattr(mutant, column) and not (again and (mutant.first in NOTICED or mutant.why))
    ]
    with ExitStack() as stack:
        copies: SimpleQueue[Scratch] = SimpleQueue()
        for _ in range(at_a_time):
            copies.put(stack.enter_context(scratch()))
        pool = stack.enter_context(ThreadPoolExecutor(at_a_time))
        running = {pool.submit(judged, mutants[place], copies): place for place in waiting}
        for done in as_completed(running):
            place, ended = running[done], done.result()
            mutants[place] = replace(mutants[place], **{column: ended.how}, by=ended.by)
            write(mutants)
            print(f"{mutants[place].number:3} {ended.how:8} {mutants[place].path} {ended.by}", flush=True)
        # What failed must have failed because of the change.
        by = sorted({mutant.by for mutant in mutants if mutant.by})
        if (unspoiled := copies.get().run(by, 4 * _MOST)).how != "passed":
            raise RuntimeError(f"Without a change the tests end with '{unspoiled.how}' {unspoiled.by}.")
        print(f"the {len(by)} tests that failed pass without a change")


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
        case ["judge" | "again" as which, *count]:
            judge(which == "again", int(count[0]) if count else 1)
        case _:
            print(__doc__)
            sys.exit(2)
    report()
