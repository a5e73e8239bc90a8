"""Cuts the power of a simulated disk: ``python -m tests.storage.power_cut add CUTS SEED`` (needs strace, Linux).

One kind of work of :mod:`tests.storage.faults` is recorded, call by call, and replayed up to a random moment onto a
disk that keeps no more than it was asked to keep:

- what was written to a file since its last fsync is there in any part, by sectors of 512 bytes;
- what happened to the names of a folder since that folder's last fsync is there up to any moment of its sequence; an
  fsync of a file keeps its content but not its name (fsync(2): "does not necessarily ensure that the entry in the
  directory containing the file has also reached disk").

That is less than the usual file systems promise. What was acknowledged before the cut must be there, as after a kill.
"""

import contextlib
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from colormatch.library import Library
from colormatch.library.verify import verify
from colormatch.records import Paint
from tests.storage.faults import CASES, Case, fork

SECTOR = 512
CALLS = (
    "openat,close,dup,dup2,lseek,write,pwrite64,writev,sendfile,copy_file_range,ftruncate,fsync,fdatasync,"
    "rename,renameat,renameat2,unlink,unlinkat,mkdir,mkdirat,rmdir,link,linkat"
)
#: Acknowledgments after which the recorded work ends.
ENOUGH = {"import": 2, "export": 3, "backup": 3, "migration": 1, "upgrade": 1}


class _Enough(BaseException):
    """Ends work that would go on forever."""


# --- recording -------------------------------------------------------------------------------------------------------


def record(case: Case, acknowledgments: int) -> list[str]:
    """The system calls of one child that works until so many acknowledgments, as strace prints them."""
    ready, go = os.pipe()

    def work(acknowledge) -> None:
        os.read(ready, 1)
        left = acknowledgments

        def counted(text: str) -> None:
            nonlocal left
            acknowledge(text)
            left -= 1
            if not left:
                raise _Enough

        with contextlib.suppress(_Enough):
            case.work(counted)

    child, reading = fork(work)
    with tempfile.NamedTemporaryFile("r", errors="replace") as log:
        arguments = ["-y", "-xx", "-s", str(2**26), "-e", f"trace={CALLS}", "-o", log.name, "-p", str(child)]
        with subprocess.Popen(["strace", *arguments], stderr=subprocess.PIPE, text=True) as tracer:
            assert "attached" in tracer.stderr.readline()
            os.write(go, b"x")
            with os.fdopen(reading) as stream:
                stream.read()
            _, status = os.waitpid(child, 0)
        assert status == 0
        return log.read().splitlines()


@dataclass(frozen=True)
class Call:
    """One call that succeeded; descriptors and texts in order of the arguments."""

    name: str
    #: Number and path of each descriptor among the arguments (-100 stands for the current folder).
    descriptors: list[tuple[int, str]]
    texts: list[bytes]
    #: The remaining arguments, as printed.
    rest: list[str]
    result: int

    @property
    def paths(self) -> list[str]:
        """Each text as a path, joined to the folder that its descriptor names."""
        folders = [path for _, path in self.descriptors] or ["/"]
        folders += folders[-1:] * len(self.texts)
        texts = (os.fsdecode(text) for text in self.texts)
        return [os.path.normpath(os.path.join(folder, text)) for folder, text in zip(folders, texts, strict=False)]


_HEX = r"((?:\\x[0-9a-f]{2})*)"
_ARGUMENT = re.compile(rf'\s*(?:(AT_FDCWD|\d+)<{_HEX}>(?:\(deleted\))?|"{_HEX}"|([^,]+))')


def parse(line: str) -> Call | None:
    """A line of strace; None for a call that failed, and for other lines."""
    found = re.fullmatch(r"(\w+)\((.*)\)\s+= (\d+).*", line)
    if found is None:
        return None
    call = Call(found[1], [], [], [], int(found[3]))
    for number, path, text, other in _ARGUMENT.findall(found[2]):
        if number:
            place = os.fsdecode(bytes.fromhex(path.replace("\\x", "")))
            call.descriptors.append((-100 if number == "AT_FDCWD" else int(number), place))
        elif other.strip():
            call.rest.append(other.strip())
        else:
            call.texts.append(bytes.fromhex(text.replace("\\x", "")))
    return call


# --- a disk that keeps what it was asked to keep ---------------------------------------------------------------------


class _File:
    """Content as pieces since the file was made: (offset, bytes), or (length, None) for a cut to a length."""

    def __init__(self, content: bytes = b"") -> None:
        self.pieces: list[tuple[int, bytes | None]] = [(0, content)]
        #: Number of pieces that are sure to be kept.
        self.kept = 1

    def content(self, lost: Callable[[], bool] = lambda: False) -> bytes:
        """What is in the file if each sector of a piece that is not sure to be kept may be lost."""
        held = bytearray()
        for number, (place, data) in enumerate(self.pieces):
            if data is None:
                if number < self.kept or not lost():
                    held = held[:place].ljust(place, b"\0")
                continue
            for at in range(0, len(data), SECTOR) if number >= self.kept else [0]:
                part = data[at : at + SECTOR] if number >= self.kept else data
                if number < self.kept or not lost():
                    held = held.ljust(place + at, b"\0")
                    held[place + at : place + at + len(part)] = part
        return bytes(held)


@dataclass
class _Event:
    """A name of a folder that is given to a file or folder, or taken away (None)."""

    name: str
    thing: "_File | _Folder | None"
    #: For a name taken away by a move: the folder that it moved to and the number of events there, the move included.
    moved: "tuple[_Folder, int] | None" = None


class _Folder:
    """Names since the folder was made."""

    def __init__(self) -> None:
        self.events: list[_Event] = []
        #: Number of events that are sure to be kept.
        self.kept = 0

    def names(self, cuts: "dict[_Folder, int] | None" = None) -> dict[str, "_File | _Folder"]:
        """The names if each folder keeps so many of its events; by default all."""
        held: dict[str, _File | _Folder] = {}
        for event in self.events if cuts is None else self.events[: cuts[self]]:
            if event.thing is not None:
                held[event.name] = event.thing
            elif cuts is None or event.moved is None or cuts[event.moved[0]] >= event.moved[1]:
                held.pop(event.name, None)
        return held


class Disk:
    """Files and folders below one folder, and what of them is sure to be kept."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._folders: list[_Folder] = []
        self.tree = self._read(root)
        self.acknowledged: list[str] = []
        #: File or folder, and position, of each open descriptor.
        self._open: dict[int, tuple[_File | _Folder | None, int]] = {}

    def _read(self, folder: Path) -> _Folder:
        found = self._folder()
        for path in sorted(folder.iterdir()):
            found.events.append(_Event(path.name, self._read(path) if path.is_dir() else _File(path.read_bytes())))
        found.kept = len(found.events)
        return found

    def _folder(self) -> _Folder:
        self._folders.append(_Folder())
        return self._folders[-1]

    def _find(self, path: str | Path) -> _File | _Folder | None:
        if not Path(path).is_relative_to(self.root):
            return None
        thing: _File | _Folder | None = self.tree
        for name in Path(path).relative_to(self.root).parts:
            thing = thing.names().get(name) if isinstance(thing, _Folder) else None
        return thing

    def _name(self, path: str, thing: "_File | _Folder | None", moved: "tuple[_Folder, int] | None" = None) -> None:
        folder = self._find(Path(path).parent)
        if isinstance(folder, _Folder):
            folder.events.append(_Event(Path(path).name, thing, moved))

    def _move(self, old: str, new: str) -> None:
        thing, folder = self._find(old), self._find(Path(new).parent)
        if thing is not None and isinstance(folder, _Folder):
            self._name(new, thing)
            self._name(old, None, (folder, len(folder.events)))

    def happen(self, call: Call) -> None:
        """Let one recorded call happen."""
        number, path = call.descriptors[0] if call.descriptors else (-1, "")
        thing, place = self._open.get(number, (None, 0))
        match call.name.removesuffix("2").removesuffix("at"):
            case "open":
                self._opened(call)
            case "close":
                self._open.pop(number, None)
            case "dup":
                self._open[call.result] = (thing, place)
            case "lseek":
                self._open[number] = (thing, call.result)
            case "write" if path.startswith("pipe:"):
                self.acknowledged.append(call.texts[0].decode().rstrip("\n"))
            case "write" | "writev" | "sendfile" if isinstance(thing, _File):
                data = self._sent(call) if call.name == "sendfile" else b"".join(call.texts)
                thing.pieces.append((place, data[: call.result]))
                self._open[number] = (thing, place + call.result)
            case "pwrite64" if isinstance(thing, _File):
                thing.pieces.append((int(call.rest[-1]), call.texts[0][: call.result]))
            case "ftruncate" if isinstance(thing, _File):
                thing.pieces.append((int(call.rest[-1]), None))
            case "fsync" | "fdatasync" if isinstance(thing, _File):
                thing.kept = len(thing.pieces)
            case "fsync" | "fdatasync" if isinstance(thing, _Folder):
                thing.kept = len(thing.events)
            case "rename":
                self._move(*call.paths)
            case "link":
                self._name(call.paths[1], self._find(call.paths[0]))
            case "unlink" | "rmdir":
                self._name(call.paths[0], None)
            case "mkdir":
                self._name(call.paths[0], self._folder())

    def _opened(self, call: Call) -> None:
        path, flags = call.paths[0], " ".join(call.rest)
        thing = self._find(path)
        if thing is None and "O_CREAT" in flags:
            thing = _File()
            self._name(path, thing)
        elif isinstance(thing, _File) and "O_TRUNC" in flags:
            thing.pieces.append((0, None))
        end = len(thing.content()) if isinstance(thing, _File) and "O_APPEND" in flags else 0
        self._open[call.result] = (thing, end)

    def _sent(self, call: Call) -> bytes:
        """What sendfile copied."""
        number, path = call.descriptors[1]
        source, place = self._open[number]
        content = source.content() if isinstance(source, _File) else Path(path).read_bytes()
        self._open[number] = (source, place + call.result)
        return content[place : place + call.result]

    def lay_out(self, rng: random.Random | None = None) -> None:
        """Make the real folder hold what a person finds: with a source of chance after a cut, else everything.

        Of what is not sure to be kept, nothing, everything or any part is there.
        """
        share = 1.0 if rng is None else rng.choice((0.0, 1.0, rng.random()))

        def lost() -> bool:
            return rng is not None and rng.random() >= share

        cuts = {folder: folder.kept + sum(not lost() for _ in folder.events[folder.kept :]) for folder in self._folders}

        def put(folder: _Folder, path: Path) -> None:
            path.mkdir()
            for name, thing in folder.names(cuts).items():
                if isinstance(thing, _Folder):
                    put(thing, path / name)
                else:
                    (path / name).write_bytes(thing.content(lost))

        shutil.rmtree(self.root)
        put(self.tree, self.root)


# --- cutting ---------------------------------------------------------------------------------------------------------


def _held(root: Path) -> dict[str, bytes | None]:
    return {str(path): None if path.is_dir() else path.read_bytes() for path in root.rglob("*")}


def cut(name: str, cuts: int, seed: int) -> dict[str, int]:
    """Cut the power during one kind of work; every third time just after something was acknowledged.

    Raises where something was lost.
    """
    rng = random.Random(seed)
    root = Path(tempfile.mkdtemp()).resolve()
    try:
        library = Library.open(root / "library")
        library.add(Paint("Base"))
        case = CASES[name](library, root)
        case.prepare()
        disk = Disk(root)
        calls = [call for call in map(parse, record(case, ENOUGH.get(name, 6))) if call is not None]
        whole = _held(root)
        told = [number for number, call in enumerate(calls, 1) if call.name == "write" and "pipe:" in str(call)]
        moments = Counter(rng.choice(told) if n % 3 == 0 else rng.randrange(len(calls) + 1) for n in range(cuts))
        counts = {"cuts": cuts, "calls": len(calls), "acknowledged": 0, "rolled_back": 0}
        for number in range(len(calls) + 1):
            for _ in range(moments[number]):
                disk.lay_out(rng)
                counts["acknowledged"] += len(disk.acknowledged)
                counts["rolled_back"] += library.database.with_name("library.sqlite3-journal").exists()
                case.library = Library.open(library.folder)
                problems = verify(case.library).problems
                assert problems == (), problems
                case.check(list(disk.acknowledged))
            if number < len(calls):
                disk.happen(calls[number])
        disk.lay_out()
        assert _held(root) == whole, "the record misses a call"
        return counts
    finally:
        shutil.rmtree(root)


if __name__ == "__main__":
    print(json.dumps(cut(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))))
