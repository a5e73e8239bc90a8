"""Kills, starves and crowds a library, and checks what is left: ``python -m tests.storage.faults add RUNS SEED``.

A third number is how many times slower than usual the machine is: so much later come the kills.

A process of its own, without threads, so that it may fork: a child works on a library and acknowledges each finished
operation through a pipe; the parent kills it at a random moment and compares. A kill ends the program only; what the
system holds in its buffers survives, so a power cut is not shown here; see :mod:`tests.storage.power_cut`.
"""

import contextlib
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

from colormatch.errors import LibraryUnwritable
from colormatch.library import Library, SavedRepair, backup, schema
from colormatch.library.exchange import read_exchange
from colormatch.library.export import export_exchange
from colormatch.library.merge import import_exchange
from colormatch.library.verify import verify
from colormatch.records import ClearCoatPair, Ground, Lab, Paint, ShopChip, Swatch
from tests.library.plain_photos import plain_photo

SWATCHES_IN_IMPORT = 200
A_SWATCH = Swatch("Base", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25))


def _noise(size: int) -> bytes:
    """A photo that no other run has."""
    return plain_photo(random.SystemRandom().getrandbits(32), size)


def fork(work: Callable[[Callable[[str], None]], None]) -> tuple[int, int]:
    """Start a child; its process id and the end of the pipe from which its acknowledgments are read."""
    reading, writing = os.pipe()
    child = os.fork()
    if child:
        os.close(writing)
        return child, reading
    os.close(reading)
    try:
        work(lambda text: os.write(writing, f"{text}\n".encode()) and None)
        os._exit(0)
    except BaseException as error:
        os.write(writing, f"FAILED {type(error).__name__}: {error}\n".encode())
        os._exit(1)


def finish(child: int, reading: int) -> list[str]:
    """Wait for a child and return what it acknowledged."""
    with os.fdopen(reading, "rb") as stream:
        lines = stream.read().decode().splitlines(keepends=True)
    os.waitpid(child, 0)
    acknowledged = [line.rstrip("\n") for line in lines if line.endswith("\n")]
    assert not any(line.startswith("FAILED") for line in acknowledged), acknowledged[-1]
    return acknowledged


# --- kill -9 ---------------------------------------------------------------------------------------------------------


class Case:
    """One kind of work: how it is done, and what must hold after a kill."""

    #: Longest time after which it is killed, seconds: some operations fit in.
    longest = 0.15

    def __init__(self, library: Library, folder: Path) -> None:
        self.library, self.folder = library, folder

    def prepare(self) -> None:
        """Before each run."""

    def work(self, acknowledge: Callable[[str], None]) -> None:
        raise NotImplementedError

    def check(self, acknowledged: list[str]) -> None:
        raise NotImplementedError


class Add(Case):
    def work(self, acknowledge: Callable[[str], None]) -> None:
        for number in range(10_000):
            name = f"{os.getpid()}-{number}"
            with self.library.step("both") as step:
                step.add(Paint(name))
                step.add(replace(A_SWATCH, paint=name))
            acknowledge(name)

    def check(self, acknowledged: list[str]) -> None:
        shelf = self.library.shelf()
        names = {paint.name for paint in shelf.paints}
        assert set(acknowledged) <= names
        # Paint and swatch came together or not at all.
        assert {swatch.paint for swatch in shelf.swatches} == names - {"Base"}


class Edit(Case):
    def prepare(self) -> None:
        self.number = self.library.all(Paint)[0].id

    def work(self, acknowledge: Callable[[str], None]) -> None:
        for count in range(10_000):
            paint = self.library.get(Paint, self.number)
            self.library.edit(self.number, replace(paint, maker=str(count) * 50, notes=str(count) * 5000))
            acknowledge(str(count))

    def check(self, acknowledged: list[str]) -> None:
        paint = self.library.get(Paint, self.number)
        if acknowledged:
            last = int(acknowledged[-1])
            assert (paint.maker, paint.notes) in [(str(n) * 50, str(n) * 5000) for n in (last, last + 1)]


class Import(Case):
    longest = 0.8

    def prepare(self) -> None:
        self.source = self.folder / "in.zip"
        if not self.source.exists():
            other = Library.open(self.folder / "other")
            photos = [other.photos.add(_noise(50_000), "x.jpg") for _ in range(7)]
            swatches = [
                replace(A_SWATCH, paint="New", notes=str(n), photo=photos[n % 5]) for n in range(SWATCHES_IN_IMPORT)
            ]
            further = [Ground("door", A_SWATCH.ground_lab), ShopChip("offcut", A_SWATCH.lab)]
            other.add_all([Paint("New", photo=photos[5]), *swatches, *further], "all")
            for n in range(5):
                other.save_repair(SavedRepair(f"table {n}", json.dumps({"step": n}), photos=(photos[6],)))
            export_exchange(other, self.source, repairs=True, photos=True)

    def work(self, acknowledge: Callable[[str], None]) -> None:
        while True:
            import_exchange(self.library, self.source)
            acknowledge("imported")
            self.library.undo()
            acknowledge("undone")

    def check(self, acknowledged: list[str]) -> None:
        records, repairs, _ = self.library.everything()
        counts = {kind: len(rows) for kind, rows in records.items() if rows} | {SavedRepair: len(repairs)}
        before = {Paint: 1, SavedRepair: 0}
        after = {Paint: 2, Swatch: SWATCHES_IN_IMPORT, Ground: 1, ShopChip: 1, SavedRepair: 5}
        assert counts in [before, after]
        if repairs:
            named = {record.photo for kind in (Paint, Swatch) for record in records[kind]} - {""}
            photos = self.library.photos.all()
            assert named.union(*(repair.photos for repair in repairs)) == set(photos)
            assert all(path.is_file() for path in photos.values())
            self.library.undo()


class Repair(Case):
    """A repair that is saved again and again, each time with another photo; its document names that photo too."""

    def prepare(self) -> None:
        self.number = self.library.save_repair(SavedRepair("table", "{}"))

    def work(self, acknowledge: Callable[[str], None]) -> None:
        for count in range(10_000):
            photo = self.library.photos.add(_noise(50_000), "x.jpg")
            document = json.dumps({"photo": photo, "count": count, "notes": str(count) * 3000})
            self.library.save_repair(SavedRepair("table", document, photos=(photo,)), self.number)
            acknowledge(str(count))

    def check(self, acknowledged: list[str]) -> None:
        repair = self.library.repair(self.number)
        document = json.loads(repair.document)
        if acknowledged:
            assert document["count"] in (int(acknowledged[-1]), int(acknowledged[-1]) + 1)
        if document:
            assert repair.photos == (document["photo"],)
            assert self.library.photos.path(document["photo"]).is_file()
        self.library.remove_repair(self.number)


class Export(Case):
    """A folder or a zip file under its name is whole; one that is not has no name."""

    longest = 0.4

    def prepare(self) -> None:
        if self.library.count(Swatch) == 0:
            photos = [self.library.photos.add(_noise(100_000), "x.jpg") for _ in range(20)]
            self.library.add_all([replace(A_SWATCH, photo=photo) for photo in photos], "many")
        self.out = self.folder / "out"
        shutil.rmtree(self.out, ignore_errors=True)
        self.out.mkdir()

    def work(self, acknowledge: Callable[[str], None]) -> None:
        for number in range(10_000):
            name = f"{number}.zip" if number % 2 else str(number)
            export_exchange(self.library, self.out / name, repairs=True, photos=True)
            acknowledge(name)

    def check(self, acknowledged: list[str]) -> None:
        found = {path.name for path in self.out.iterdir() if not path.name.startswith(".")}
        assert set(acknowledged) <= found
        for name in found:
            exchange = read_exchange(self.out / name)
            assert (exchange.shelf, len(exchange.photos)) == (self.library.shelf(), 20)


class Photo(Case):
    def work(self, acknowledge: Callable[[str], None]) -> None:
        while True:
            photo = self.library.photos.add(_noise(300_000), "x.jpg")
            acknowledge(photo)
            number = self.library.add(replace(A_SWATCH, photo=photo))
            acknowledge(photo)
            if random.random() < 0.3:
                acknowledge(f"removing {photo}")
                self.library.remove(Swatch, number)

    def check(self, acknowledged: list[str]) -> None:
        removing = {line.split()[1] for line in acknowledged if line.startswith("removing")}
        photos = self.library.photos.all()
        assert {line for line in acknowledged if " " not in line} - removing <= set(photos)


class Migration(Case):
    """Each run brings the library up by one version more, with a step that takes a while."""

    longest = 0.4

    def prepare(self) -> None:
        version = len(schema.MIGRATIONS)
        table = f"later{version}"
        schema.MIGRATIONS = (
            *schema.MIGRATIONS,
            (
                f"CREATE TABLE {table} (x)",
                f"INSERT INTO {table} SELECT hex(randomblob(200)) FROM swatch AS a, swatch AS b LIMIT 20000",
                f"UPDATE {table} SET x = x || 'y'",
                f"DROP TABLE {table}",
            ),
        )
        if self.library.count(Swatch) == 0:
            self.library.add_all([A_SWATCH] * 300, "many")
        self.before = self.library.shelf()

    def work(self, acknowledge: Callable[[str], None]) -> None:
        Library.open(self.library.folder)
        acknowledge("done")

    def check(self, acknowledged: list[str]) -> None:
        assert self.library.shelf() == self.before


class Upgrade(Case):
    """The first schema that was ever released is brought up to today's."""

    longest = 0.3
    frozen = Path(__file__).parents[1] / "library" / "frozen" / "schema1.sqlite3"

    def prepare(self) -> None:
        for left in self.library.folder.glob("library.sqlite3*"):
            left.unlink()
        shutil.copyfile(self.frozen, self.library.database)

    def work(self, acknowledge: Callable[[str], None]) -> None:
        Library.open(self.library.folder)
        acknowledge("done")

    def check(self, acknowledged: list[str]) -> None:
        records, repairs, _ = self.library.everything()
        assert [paint.name for paint in records[Paint]] == ["=Umber", "Ochre"]
        counts = {kind: len(rows) for kind, rows in records.items() if rows}
        assert counts == {Paint: 2, Swatch: 1, ClearCoatPair: 1}
        assert [repair.name for repair in repairs] == ["side table"]


class BackUp(Case):
    def work(self, acknowledge: Callable[[str], None]) -> None:
        while True:
            acknowledge(backup.back_up(self.library.database, "asked").name)

    def check(self, acknowledged: list[str]) -> None:
        found = backup.backups(self.library.database)
        for one in found:
            backup.copy_database(one.path, self.folder / "copy")  # raises where it is not sound
            (self.folder / "copy").unlink()
        if acknowledged:
            assert acknowledged[-1] in {one.path.name for one in found}


CASES = {
    "add": Add,
    "edit": Edit,
    "import": Import,
    "photo": Photo,
    "migration": Migration,
    "upgrade": Upgrade,
    "backup": BackUp,
    "repair": Repair,
    "export": Export,
}


def kill(name: str, runs: int, seed: int, slower: int = 1) -> dict[str, int]:
    """Kill one kind of work at random moments; counts of what was seen. Raises where something was lost."""
    rng = random.Random(seed)
    folder = Path(tempfile.mkdtemp())
    try:
        library = Library.open(folder / "library")
        library.add(Paint("Base"))
        case = CASES[name](library, folder)
        counts = {"runs": runs, "acknowledged": 0, "rolled_back": 0, "unfinished_files": 0}
        for _ in range(runs):
            case.prepare()
            child, reading = fork(case.work)
            time.sleep(rng.uniform(0, slower * case.longest))
            with contextlib.suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)
            acknowledged = finish(child, reading)
            counts["acknowledged"] += len(acknowledged)
            counts["rolled_back"] += library.database.with_name("library.sqlite3-journal").exists()
            counts["unfinished_files"] += len(list(library.folder.rglob(".unfinished-*")))
            Library.open(library.folder)
            found = verify(library)
            assert found.problems == (), found.problems
            case.check(acknowledged)
            for left in library.folder.rglob(".unfinished-*"):
                left.unlink()
        return counts
    finally:
        shutil.rmtree(folder)


# --- several at once -------------------------------------------------------------------------------------------------


def crowd(writers: int, rounds: int) -> dict[str, int]:
    """Several processes write to one library; every record and photo must be there afterwards."""
    folder = Path(tempfile.mkdtemp())
    try:

        def work(acknowledge: Callable[[str], None]) -> None:
            library = Library.open(folder / "library")  # the first one makes it, the others find it half made
            for number in range(rounds):
                name = f"{os.getpid()}-{number}"
                photo = library.photos.add(name.encode(), "x.jpg")
                paint = library.add(Paint(name))
                library.add(replace(A_SWATCH, paint=name, photo=photo))
                library.edit(paint, Paint(name + " edited"))
                same = library.photos.add(b"the same for all", "x.jpg")
                gone = library.add(replace(A_SWATCH, paint=name + " edited", photo=same))
                library.remove(Swatch, gone)
                acknowledge(f"{name} edited {photo}")

        children = [fork(work) for _ in range(writers)]
        acknowledged = [line for child in children for line in finish(*child)]
        library = Library.open(folder / "library")
        shelf, photos = library.shelf(), library.photos.all()
        expected = {(line.rpartition(" ")[0], line.rpartition(" ")[2]) for line in acknowledged}
        assert len(expected) == writers * rounds
        assert {(swatch.paint, swatch.photo) for swatch in shelf.swatches} == expected
        assert all(path.read_bytes() for path in photos.values())
        assert {photo for _, photo in expected} <= set(photos)
        assert verify(library).problems == ()
        return {"writers": writers, "records": len(shelf.paints) + len(shelf.swatches), "photos": len(photos)}
    finally:
        shutil.rmtree(folder)


# --- no room, no right -----------------------------------------------------------------------------------------------


@contextlib.contextmanager
def _small_disk() -> Iterator[Path]:
    """A file system of 2 megabytes; needs root."""
    import subprocess

    folder = Path(tempfile.mkdtemp())
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)
        folder.rmdir()


@contextlib.contextmanager
def _small_files() -> Iterator[Path]:
    """A limit of 1 megabyte on the size of any file, which needs no rights."""
    import resource

    folder = Path(tempfile.mkdtemp())
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (2**20, before[1]))
    try:
        yield folder
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        shutil.rmtree(folder)


def starve(kind: str, rounds: int) -> dict[str, int]:
    """Fill the disk again and again by adding, by photos and by importing; nothing acknowledged may be missing."""
    counts = {"rounds": rounds, "refused": 0, "kept": 0}
    with _small_disk() if kind == "disk" else _small_files() as folder:
        library = Library.open(folder / "library")
        library.add(Paint("Base"))
        for number in range(rounds):
            kept: list[int] = []
            with contextlib.suppress(LibraryUnwritable):
                while True:
                    if number % 3 == 0:
                        kept.append(library.add(replace(A_SWATCH, notes="x" * 15_000)))
                    elif number % 3 == 1:
                        photo = library.photos.add(os.urandom(1_100_000 if kind == "files" else 100_000), "x.jpg")
                        kept.append(library.add(replace(A_SWATCH, photo=photo)))
                    else:
                        kept += library.add_all([replace(A_SWATCH, notes="x" * 15_000)] * 10, "ten")
            counts["refused"] += 1
            stored = {one.id for one in library.all(Swatch)}
            assert set(kept) <= stored
            assert number % 3 != 2 or len(kept) % 10 == 0
            found = verify(library)
            assert found.problems == (), found.problems
            assert not list(library.folder.rglob(".unfinished-*"))
            counts["kept"] += len(kept)
            shutil.rmtree(library.folder)
            library = Library.open(folder / "library")
            library.add(Paint("Base"))
    return counts


def unwritable() -> dict[str, str]:
    """What somebody is told who may read a library but not write it."""
    folder = Path(tempfile.mkdtemp())
    try:
        folder.chmod(0o755)
        library = Library.open(folder / "library")
        library.add(Paint("Base"))
        for path in (library.folder, *library.folder.rglob("*")):
            path.chmod(0o555 if path.is_dir() else 0o444)

        def work(acknowledge: Callable[[str], None]) -> None:
            if os.getuid() == 0:
                os.setuid(65534)  # root may write everywhere
            opened = Library.open(library.folder)
            acknowledge(opened.shelf().paints[0].name)
            for attempt in (
                lambda: opened.add(Paint("x")),
                lambda: opened.photos.add(b"x"),
                opened.undo,
                lambda: backup.back_up(opened.database, "asked"),
                lambda: Library.open(library.folder / "new"),
            ):
                try:
                    attempt()
                    acknowledge("")
                except LibraryUnwritable as error:
                    acknowledge(str(error))
            opened.remember({"key": b"fit"})  # only saves time: says nothing

        told = finish(*fork(work))
        return {"read": told[0], **{str(number): text for number, text in enumerate(told[1:], 1)}}
    finally:
        for path in (folder / "library", *(folder / "library").glob("*")):
            if path.is_dir():
                path.chmod(0o755)
        shutil.rmtree(folder)


if __name__ == "__main__":
    what, *rest = sys.argv[1:]
    if what == "crowd":
        answer: object = crowd(*(int(text) for text in rest))
    elif what == "starve":
        answer = starve(rest[0], int(rest[1]))
    elif what == "unwritable":
        answer = unwritable()
    else:
        answer = kill(what, *(int(text) for text in rest))
    print(json.dumps(answer))
