"""A large library, saved as one file, checked, restored elsewhere and compared, by hand:

    python -m tests.storage.large_library --gib 12 --photos 25000 --folder /somewhere/with/40/GiB/free

Of every hundred photos three are large and share what the others leave of the sum. Each phase tells its time and the
most memory that the process has held so far. The folder is made and removed.
"""

import argparse
import hashlib
import io
import resource
import shutil
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from colormatch.library import Library, database
from colormatch.library.history import now
from colormatch.library.rescue import restore
from colormatch.library.saved import save_archive
from colormatch.library.verify import verify
from colormatch.records import Lab, Paint, Swatch

#: Side of a small photo, pixels, and how many of a hundred are large.
SMALL_SIDE, LARGE_OF_HUNDRED = 400, 3
#: Side of the picture of which it is learned how many bytes a pixel of noise takes.
TRIAL_SIDE = 1000


@contextmanager
def told(what: str) -> Iterator[None]:
    start = time.perf_counter()
    yield
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{what:<44}{time.perf_counter() - start:9.1f} s   at most {held:6.0f} MB held", flush=True)


def noise(side: int) -> bytes:
    """A picture that packs badly, as JPEG."""
    pixels = np.random.default_rng(side).integers(0, 256, (side, side, 3), dtype=np.uint8)
    packed = io.BytesIO()
    Image.fromarray(pixels).save(packed, "JPEG", quality=95)
    return packed.getvalue()


def numbered(picture: bytes, number: int) -> bytes:
    """The same picture with a comment of its own (ITU-T T.81, B.2.4.5), so that no two photos are alike."""
    text = f"{number:08}".encode()
    return picture[:2] + b"\xff\xfe" + (len(text) + 2).to_bytes(2, "big") + text + picture[2:]


def fill(library: Library, total: int, count: int) -> None:
    """Photos of that many bytes in all, each with a swatch, and a step of undo."""
    small = noise(SMALL_SIDE)
    large_count = count * LARGE_OF_HUNDRED // 100
    rest = (total - len(small) * (count - large_count)) / max(1, large_count)
    bytes_per_pixel = len(noise(TRIAL_SIDE)) / TRIAL_SIDE**2
    large = noise(max(SMALL_SIDE, round((rest / bytes_per_pixel) ** 0.5)))
    library.photos.folder.mkdir()
    photos = []
    for number in range(count):
        content = numbered(large if number % 100 < LARGE_OF_HUNDRED else small, number)
        if number == count - 1:
            # What the aim has missed; a picture ends where its marker says, whatever follows.
            written = sum(path.stat().st_size for path in library.photos.folder.iterdir())
            content += bytes(min(max(0, total - written - len(content)), 300 * 2**20))
        photos.append(hashlib.sha256(content).hexdigest())
        (library.photos.folder / f"{photos[-1]}.jpg").write_bytes(content)
    with database.writing(library.database) as connection:
        library.photos.give_rows(connection, dict.fromkeys(photos, now()))
    first = Swatch("paint 0", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25))
    swatches = [replace(first, paint=f"paint {n % 50}", notes=str(n), photo=photo) for n, photo in enumerate(photos)]
    library.add_all([*(Paint(f"paint {n}") for n in range(50)), *swatches], "set up")


def contents(library: Library) -> tuple[object, ...]:
    """Every row that travels, and the SHA-256 of every photo file by its name."""
    with closing(database.connect(library.database)) as connection:
        tables = ("paint", "swatch", "clear_coat", "ground", "chip", "card", "repair", "step", "change")
        rows = {table: [tuple(row) for row in connection.execute(f"SELECT * FROM {table}")] for table in tables}
        rows["photo"] = [tuple(row) for row in connection.execute("SELECT * FROM photo ORDER BY sha256")]
    files = {}
    for path in sorted(library.photos.folder.iterdir()):
        with path.open("rb") as stream:
            files[path.name] = hashlib.file_digest(stream, "sha256").hexdigest()
    return rows, files, library.everything(), library.next_undo()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--gib", type=float, default=12.0)
    parser.add_argument("--photos", type=int, default=25_000)
    parser.add_argument("--folder", type=Path, required=True, help="on a disk with room for three times as much")
    args = parser.parse_args()
    args.folder.mkdir(parents=True)
    try:
        library, saved = Library.open(args.folder / "library"), args.folder / "all.zip"
        with told(f"made: {args.photos:,} photos"):
            fill(library, round(args.gib * 2**30), args.photos)
        size = sum(path.stat().st_size for path in library.photos.folder.iterdir())
        print(f"{size:,} bytes of photos, {size / 2**30:.2f} GiB")
        with told("verified"):
            assert verify(library).problems == ()
        with told("saved as one file and read back"):
            outcome = save_archive(library, saved)
        assert (outcome.photos, outcome.flags) == (args.photos, ())
        print(f"{saved.stat().st_size:,} bytes in one file")
        with told("restored elsewhere, each photo decoded"):
            assert restore(args.folder / "restored", saved).flags == ()
        other = Library.open(args.folder / "restored")
        with told("the restored one verified"):
            assert verify(other).problems == ()
        with told("both compared, row by row and byte by byte"):
            same = contents(library) == contents(other)
        print("identical" if same else "NOT IDENTICAL")
    finally:
        shutil.rmtree(args.folder)
    if not same:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
