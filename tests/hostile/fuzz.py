"""Damaged input for everything that reads: each gives a value or one of our own errors, in bounded time and memory.

Run for as long as wanted, in a child process for each target so that a crash of a decoder is seen and not suffered;
seconds are those of the processor:

    python -m tests.hostile.fuzz --seconds 600
    python -m tests.hostile.fuzz --seconds 60 --target "photo HEIF"

Whatever breaks is kept in ``tests/hostile/crashers/`` and tried again by ``test_fuzz.py`` from then on.
"""

from __future__ import annotations

import argparse
import faulthandler
import hashlib
import io
import json
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from colormatch.errors import ColorMatchError
from tests.hostile.bombs import png_chunk

CRASHERS = Path(__file__).with_name("crashers")
#: Address space that a child may take beyond what it holds at its start, bytes.
MOST_BYTES = 2 * 2**30
#: Processor time for one input, seconds: a busy machine must not make a find of what is only kept waiting.
MOST_SECONDS = 20.0
#: And by the clock, for what waits without working; ten times as much, which no load of ours reaches.
MOST_CLOCK_SECONDS = 10 * MOST_SECONDS

Reader = Callable[[bytes], Any]


@dataclass(frozen=True)
class Target:
    """Something that reads, and good inputs to start from."""

    read: Reader
    seeds: tuple[bytes, ...]
    #: Makes a damaged input of a good one.
    damage: Callable[[bytes, random.Random], bytes] = lambda seed, chance: damaged(seed, chance)


def _text(read: Callable[[str], Any]) -> Reader:
    return lambda content: read(content.decode("utf-8", errors="replace"))


def _file(read: Callable[[Path], Any], name: str) -> Reader:
    def run(content: bytes) -> Any:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / name
            path.write_bytes(content)
            return read(path)

    return run


def _photo(content: bytes) -> Any:
    from colormatch.image.photo import open_photo

    photo = open_photo(content)
    photo.preview(200)
    return photo.linear()


def _in_zip(name: str, content: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr(name, content)
    return packed.getvalue()


def _sqlite() -> bytes:
    from colormatch.library import Library
    from colormatch.library.starter import install_starter

    with tempfile.TemporaryDirectory() as folder:
        library = Library.open(Path(folder))
        install_starter(library)
        return library.database.read_bytes()


def _library(content: bytes) -> Any:
    from colormatch.library import Library

    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "library.sqlite3").write_bytes(content)
        return Library.open(Path(folder)).shelf()


def _archive() -> bytes:
    from colormatch.library import Library
    from colormatch.library.saved import save_archive
    from colormatch.library.starter import install_starter
    from tests.hostile.test_photos import GOOD

    with tempfile.TemporaryDirectory() as folder:
        library = Library.open(Path(folder) / "library")
        install_starter(library)
        library.photos.add(GOOD["JPEG"], "x.jpg")
        save_archive(library, Path(folder) / "all.zip")
        return (Path(folder) / "all.zip").read_bytes()


def _restored(content: bytes) -> Any:
    from colormatch.library import Library
    from colormatch.library.rescue import restore

    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "all.zip"
        source.write_bytes(content)
        restore(Path(folder) / "library", source)
        return Library.open(Path(folder) / "library").shelf()


def _opened(content: bytes) -> Any:
    """A repair's document, as the app opens it and keeps it again."""
    from app.repair.open_repair import document_of, opened
    from colormatch.library import SavedRepair, Stored

    document = content.decode("utf-8", errors="replace")
    return json.dumps(document_of(opened(Stored(1, SavedRepair("chair", document)))), allow_nan=False).encode()


def _document() -> bytes:
    from app.repair.open_repair import OpenRepair, document_of
    from app.repair.work import PickedRecipe
    from colormatch.library.starter import example
    from colormatch.records import Lab, Layer, Part, RankedWash

    layer = Layer((Part("Umber"),), 0.25, 1)
    wash = RankedWash(1, (layer,), Lab(50, 9, 25), 2.0, 1.0, 4.0, "measured", 2, 1, "too dark")
    recipe = PickedRecipe(wash, Lab(50, 9, 25), Lab(70, 5, 20), "key", "2026-11-25")
    return json.dumps(document_of(OpenRepair(photo="0" * 64, regions=example().regions, recipe=recipe))).encode()


def targets() -> dict[str, Target]:
    """Every reader by name."""
    from app.repair.marks import from_document
    from colormatch.cli.common import parse_layer
    from colormatch.instrument.measurements import read_measurements
    from colormatch.library.exchange import read_exchange
    from colormatch.library.repair_file import read_repair
    from colormatch.library.starter import bundled, starter_shelf
    from colormatch.match.targets import parse_shift
    from colormatch.mixing.measures import parse_area, parse_card_size
    from colormatch.mixing.schedule import parse_time
    from colormatch.records import CardKind
    from colormatch.reference.card_choice import parse_card_value
    from colormatch.reference.chart_values import SINCE_2014, read_chart_file
    from colormatch.sheet.layout import Plan
    from colormatch.sheet.swatches import parse_column
    from colormatch.wash.paint import PaintModel, fit_paint
    from colormatch.wash.ratio import parse_ratio, parse_volume
    from tests.hostile.test_photos import GOOD

    swatches = bundled("swatches")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(swatches.rglob("*")):
            if path.is_file() and path.suffix in (".csv", ".json"):
                archive.write(path, path.relative_to(swatches).as_posix())
    sheets = {name: (swatches / name).read_bytes() for name in ("paints.csv", "swatches.csv", "clear_coats.csv")}
    cgats = b"CGATS.17\nNUMBER_OF_FIELDS 4\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
    cgats += b"NUMBER_OF_SETS 2\nBEGIN_DATA\nA1 50.1 2.0 -3.5\nA2 60 1e1 9\nEND_DATA\n"
    rows = "".join(f"{patch} {L} {a} {b}\n" for patch, (L, a, b) in enumerate(SINCE_2014.tolist(), 1))
    chart = cgats[: cgats.index(b"NUMBER_OF_SETS")] + f"NUMBER_OF_SETS 24\nBEGIN_DATA\n{rows}END_DATA\n".encode()
    values = ("L,a,b\n" + "".join(f"{L},{a},{b}\n" for L, a, b in SINCE_2014.tolist())).encode()
    cxf = (
        b'<?xml version="1.0"?><cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources>'
        b'<cc:ObjectCollection><cc:Object ObjectType="Color" Name="A" Id="1"><cc:ColorValues>'
        b'<cc:ColorCIELab ColorSpecification="D50"><cc:L>50</cc:L><cc:A>1</cc:A><cc:B>2</cc:B></cc:ColorCIELab>'
        b"</cc:ColorValues></cc:Object></cc:ObjectCollection></cc:Resources></cc:CxF>"
    )
    marks = b'[{"kind": "sound", "points": [[0.1, 0.1], [0.3, 0.1], [0.3, 0.3]], "name": "a"}]'
    repair = json.dumps({"name": "chair", "version": 1, "document": "{}", "photos": []}).encode()
    texts: dict[str, tuple[Callable[[str], Any], tuple[bytes, ...]]] = {
        "ratio": (parse_ratio, (b"1:3", b"25 %", b"full", b"3 tsp to 1/2 cup", b"80/20", b"1.5 fl oz to 0,5 l")),
        "volume": (parse_volume, (b"1 ml", b"1/4 tsp", b"2 drops")),
        "area": (parse_area, (b"40cm2", b"4x10cm", b"6 sq in + 3 x 2 in")),
        "card size": (parse_card_size, (b"10 x 15 cm", b"4x6 in")),
        "time": (parse_time, (b"90 s", b"1 h 30 min", b"45")),
        "board column": (parse_column, (b"1:3 x2", b"full", b"1:7, 3 coats")),
        "layer": (parse_layer, (b"brown glaze,80/20,1",)),
        "shift": (parse_shift, (b"darker=2",)),
        "gray card's value": (lambda text: parse_card_value(text, CardKind.GRAY), (b"0.18", b"50,0,1")),
        "three steps' value": (lambda text: parse_card_value(text, CardKind.THREE_STEP), (b"0.89/0.18/0.035",)),
    }
    shelf = starter_shelf()
    fitted = fit_paint(shelf.of(shelf.paints[0].name))
    found = {
        f"photo {kind}": Target(_photo, (content,), damaged_png if kind.startswith("PNG") else damaged)
        for kind, content in GOOD.items()
    }
    found |= {name: Target(_text(read), seeds) for name, (read, seeds) in texts.items()}
    found |= {
        name: Target(lambda content, name=name: _exchange(name, content, swatches), (content,))  # type: ignore[misc]
        for name, content in sheets.items()
    }
    found |= {
        "exchange zip": Target(
            _file(read_exchange, "shelf.zip"), (packed.getvalue(), _in_zip("paints.csv", b"name\n")), damaged_zip
        ),
        "CGATS": Target(_file(read_measurements, "a.txt"), (cgats,)),
        "CxF": Target(_file(read_measurements, "a.cxf"), (cxf,)),
        "chart file": Target(_file(read_chart_file, "chart.txt"), (chart,)),
        "chart sheet": Target(_file(read_chart_file, "chart.csv"), (values,)),
        "sheet under any name": Target(_file(_brought, "any.csv"), tuple(sheets.values())),
        "repair file": Target(lambda content: read_repair("repairs/1.json", content), (repair,)),
        "marks from the browser": Target(lambda content: from_document(_json(content)), (marks,)),
        "repair's document": Target(_opened, (_document(),)),
        "printed sheet": Target(
            _text(Plan.from_json), (Plan("a4", ("Umber", "Ochre"), ("1:3", "full")).to_json().encode(),)
        ),
        "fitted paint": Target(PaintModel.from_bytes, (fitted.to_bytes(),)),
        "library file": Target(_library, (_sqlite(),)),
        "archive": Target(_restored, (_archive(),), damaged_zip),
    }
    return found


def _json(content: bytes) -> Any:
    try:
        return json.loads(content)
    except (ValueError, RecursionError):
        return []  # the framework's business


def _brought(path: Path) -> Any:
    from colormatch.library.uploads import lay_out

    with tempfile.TemporaryDirectory() as folder:
        return lay_out([path], Path(folder))


def _exchange(name: str, content: bytes, starter: Path) -> Any:
    from colormatch.library.exchange import read_exchange

    with tempfile.TemporaryDirectory() as folder:
        for other in starter.glob("*.csv"):
            (Path(folder) / other.name).write_bytes(other.read_bytes() if other.name != name else content)
        return read_exchange(Path(folder))


# --- damage ----------------------------------------------------------------------------------------------------------

#: Pieces that readers stumble over.
_PIECES = (
    b"\x00", b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"nan", b"inf", b"-1", b"1e999", b"0", b'"', b"\n", b"\r\n",
    b"=1+1", b"<!DOCTYPE a [<!ENTITY b 'c'>]>", b"../", b"\xe2\x80\xae", b"\xf0\x9f\x8e\xa8", b"{" * 50, b"[" * 5000,
    b"9" * 400, b"A" * 5000, b"1/0", b"\xd9\xa3", b"\xc2\xbd", b"--", b"+", b",",
)  # fmt: skip


def damaged(seed: bytes, chance: random.Random) -> bytes:
    """A good input with a few things wrong."""
    content = bytearray(seed)
    for _ in range(chance.choice((1, 1, 2, 4, 16))):
        at = chance.randrange(len(content) + 1)
        match chance.randrange(6):
            case 0 if content:
                content[at % len(content)] = chance.randrange(256)
            case 1 if content:
                content[at % len(content)] ^= 1 << chance.randrange(8)
            case 2:
                content[at:at] = chance.choice(_PIECES)
            case 3:
                del content[at : at + chance.choice((1, 2, 8, 64, 1000))]
            case 4:
                piece = content[at : at + chance.choice((2, 8, 64))]
                to = chance.randrange(len(content) + 1)
                content[to:to] = piece
            case _:
                del content[at:]
                content += chance.choice((b"", seed[at // 2 :]))
    return bytes(content)


def damaged_png(seed: bytes, chance: random.Random) -> bytes:
    """A PNG damaged inside its chunks or its unpacked rows, mostly: else its checksums keep it from the decoder."""
    if chance.random() < 0.2:
        return damaged(seed, chance)
    chunks: list[tuple[bytes, bytes]] = []
    at = 8
    while at < len(seed):
        length = int.from_bytes(seed[at : at + 4], "big")
        name, content = seed[at + 4 : at + 8], seed[at + 8 : at + 8 + length]
        if name == b"IDAT" == (chunks or [(b"", b"")])[-1][0]:  # all packed rows in one
            chunks[-1] = name, chunks[-1][1] + content
        else:
            chunks.append((name, content))
        at += 12 + length
    place = chance.randrange(len(chunks))
    name, content = chunks[place]
    if name == b"IDAT" and chance.random() < 0.5:
        chunks[place] = name, zlib.compress(damaged(zlib.decompress(content), chance), 1)
    elif chance.random() < 0.8:
        chunks[place] = name, damaged(content, chance)
    else:  # a chunk too many, of this name or another that decoders know
        names = (name, b"PLTE", b"tRNS", b"iCCP", b"gAMA", b"eXIf", b"acTL", b"fcTL", b"fdAT", b"zTXt", b"sBIT")
        chunks.insert(place, (chance.choice(names), damaged(content[:200], chance)))
    return seed[:8] + b"".join(png_chunk(name, content) for name, content in chunks)


def damaged_zip(seed: bytes, chance: random.Random) -> bytes:
    """A zip file with one of its files damaged before it is packed, mostly, for the same reason."""
    if chance.random() < 0.3:
        return damaged(seed, chance)
    with zipfile.ZipFile(io.BytesIO(seed)) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    name = chance.choice(list(files))
    files[name] = damaged(files[name], chance)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for other, content in files.items():
            archive.writestr(other, content)
    return packed.getvalue()


# --- run -------------------------------------------------------------------------------------------------------------


@dataclass
class Tally:
    """What came of the inputs of one target."""

    name: str
    tried: int = 0
    refused: int = 0
    slowest_s: float = 0.0
    broken: list[str] = field(default_factory=list)


class _TooLong(BaseException):
    pass


def _ring(number: int, _: object) -> None:
    if number == signal.SIGPROF:
        raise _TooLong(f"took more than {MOST_SECONDS:.0f} s of processor time")
    raise _TooLong(f"took more than {MOST_CLOCK_SECONDS:.0f} s")


def attempt(read: Reader, content: bytes) -> str:
    """``read``, ``refused``, or what went wrong."""
    signal.signal(signal.SIGPROF, _ring)
    signal.signal(signal.SIGALRM, _ring)
    signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
    signal.setitimer(signal.ITIMER_REAL, MOST_CLOCK_SECONDS)
    try:
        read(content)
    except ColorMatchError as error:
        sentences = str(error)
        return "refused" if len(sentences) < 2000 else "too wordy"
    except _TooLong as limit:
        return str(limit)
    except MemoryError:
        return f"wanted more than {MOST_BYTES / 2**30:.0f} GB"
    except Exception as error:
        place = traceback.extract_tb(error.__traceback__)[-1]
        return f"{type(error).__name__}: {error} ({Path(place.filename).name}:{place.lineno})"[:300]
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
    return "read"


def kept(name: str) -> Iterable[Path]:
    """Inputs that once broke a target."""
    return sorted((CRASHERS / name.replace(" ", "-")).glob("*"))


def _child(names: Sequence[str], seconds: float, most: int, seed: int, scratch: Path) -> None:
    """Damage and read until time or count is over; each input lies in ``scratch`` while it is tried."""
    warnings.simplefilter("ignore")
    faulthandler.enable()
    known = targets()
    for name in names:
        _try(name, known[name], seconds, most, seed, scratch)


def _try(name: str, target: Target, seconds: float, most: int, seed: int, scratch: Path) -> None:
    no_limit = resource.getrlimit(resource.RLIMIT_AS)[1]
    resource.setrlimit(resource.RLIMIT_AS, (no_limit, no_limit))
    for good in target.seeds:
        attempt(target.read, good)  # everything is imported before the memory is limited
    held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (held + MOST_BYTES, no_limit))
    met: set[str] = set()  # one input of each way to break is kept
    chance, tally = random.Random(f"{seed} {name}"), Tally(name)
    end, clock_end = time.process_time() + seconds, time.monotonic() + 10 * seconds
    while tally.tried < most and time.process_time() < end and time.monotonic() < clock_end:
        content = target.damage(chance.choice(target.seeds), chance)
        scratch.write_bytes(content)
        # A decoder that never comes back to Python hears no signal: the process ends, and its input is kept.
        faulthandler.dump_traceback_later(2 * MOST_CLOCK_SECONDS, exit=True)
        started = time.process_time()
        outcome = attempt(target.read, content)
        tally.tried += 1
        tally.slowest_s = max(tally.slowest_s, time.process_time() - started)
        tally.refused += outcome == "refused"
        if outcome not in ("read", "refused") and outcome not in met:
            met.add(outcome)
            tally.broken.append(f"{outcome} [{_keep(name, content)}]")
        print(json.dumps(vars(tally)), flush=True)


def _keep(name: str, content: bytes) -> str:
    folder = CRASHERS / name.replace(" ", "-")
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / hashlib.sha256(content).hexdigest()[:16]
    path.write_bytes(content)
    return path.name


def fuzz(names: Sequence[str], seconds: float, most: int, seed: int) -> list[Tally]:
    """Try targets in a child process, one after another; where it ends early, the later ones were not tried."""
    tallies = {name: Tally(name) for name in names}
    with tempfile.TemporaryDirectory() as folder:
        scratch = Path(folder) / "input"
        line = [sys.executable, "-m", "tests.hostile.fuzz", "--seconds", str(seconds), "--most", str(most)]
        line += ["--seed", str(seed), "--scratch", str(scratch), "--child", *names]
        run = subprocess.run(line, capture_output=True, text=True)
        for told in run.stdout.strip().splitlines():
            tally = Tally(**json.loads(told))
            tallies[tally.name] = tally
        if run.returncode:
            last = next((name for name in reversed(names) if tallies[name].tried), names[0])
            content = scratch.read_bytes() if scratch.exists() else b""
            tallies[last].broken.append(
                f"the process ended with {run.returncode} [{_keep(last, content)}]: {run.stderr[-400:]}"
            )
    return list(tallies.values())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=10.0, help="processor time for each target")
    parser.add_argument("--most", type=int, default=10**9, help="inputs for each target")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--target", action="append", help="only this one")
    parser.add_argument("--child", nargs="+", help=argparse.SUPPRESS)
    parser.add_argument("--scratch", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        _child(args.child, args.seconds, args.most, args.seed, args.scratch)
        return
    tallies = []
    for name in args.target or targets():
        (tally,) = fuzz([name], args.seconds, args.most, args.seed)
        tallies.append(tally)
        print(f"{name:<24}{tally.tried:>8} tried, {tally.refused:>8} refused, slowest {tally.slowest_s:.2f} s")
        print("".join(f"    BROKE: {line}\n" for line in dict.fromkeys(tally.broken)), end="", flush=True)
    print(f"{sum(t.tried for t in tallies)} inputs, {sum(len(t.broken) for t in tallies)} broke something")


if __name__ == "__main__":
    main()
