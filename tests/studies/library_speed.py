"""How long a large library takes: ``python -m tests.studies.library_speed [SWATCHES]``; each with a photo of 300 kB.

In a folder of its own on the disk of the temporary folder; every figure is one run.
"""

import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from colormatch.library import Library
from colormatch.library.export import export_exchange
from colormatch.library.find import find
from colormatch.library.merge import import_exchange
from colormatch.library.rescue import restore
from colormatch.library.saved import save_archive
from colormatch.library.verify import verify
from colormatch.records import Lab, Paint, Swatch
from tests.storage.large_library import noise, numbered

#: Side of the picture, pixels: 300 kB as JPEG.
PHOTO_SIDE = 450


@contextmanager
def told(what: str) -> Iterator[None]:
    start = time.perf_counter()
    yield
    print(f"{what:<34}{time.perf_counter() - start:8.2f} s", flush=True)


def main(count: int) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        library = Library.open(folder / "library")
        picture = noise(PHOTO_SIDE)
        with told(f"keep {count:,} photos one by one"):
            photos = [library.photos.add(numbered(picture, number), "x.jpg") for number in range(count)]
        swatches = [
            Swatch(
                f"paint {n % 50}", 1, n % 20, 1, "rail", Lab(70, 5, 20), Lab(20 + n % 60, n % 40, n % 50), notes=str(n),
                photo=photos[n],
            )
            for n in range(count)
        ]  # fmt: skip
        with told("add them all"):
            library.add_all([*(Paint(f"paint {n}") for n in range(50)), *swatches], "all")
        with told("open"):
            Library.open(library.folder)
        with told("add one"):
            library.add(replace(swatches[0], notes="one more"))
        stored = library.all(Swatch)
        with told("find the nearest to a color"):
            find(stored, near=Lab(50, 9, 25))
        for name in ("out.zip", "out"):
            with told(f"export, {name}"):
                export_exchange(library, folder / name, repairs=True, photos=True)
            other = Library.open(folder / f"from {name}")
            with told("preview of its import"):
                import_exchange(other, folder / name, preview=True)
            with told("its import"):
                import_exchange(other, folder / name)
            assert other.everything() == library.everything()
            with told("its import again (nothing new)"):
                import_exchange(other, folder / name)
            shutil.rmtree(other.folder)
        with told("verify"):
            assert verify(library).problems == ()
        with told("backup as one file"):
            save_archive(library, folder / "all.zip")
        with told("restore it elsewhere"):
            restore(folder / "restored", folder / "all.zip")
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 3_000)
