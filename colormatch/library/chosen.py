"""Files that somebody chose in a window, laid out so that they can be brought in together.

What comes out is an exchange folder or zip file, whatever went in, so that one preview and one merge serve all.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path, PurePath

from colormatch.errors import BadInput
from colormatch.instrument.measurements import CGATS_ENDINGS, CXF_ENDINGS, read_measurements
from colormatch.library.columns import columns_of
from colormatch.library.exchange import MANIFEST, SHEETS
from colormatch.library.sheet import write_sheet
from colormatch.records import Ground

#: Endings of files that can be brought in, without their dot.
ENDINGS = sorted(ending[1:] for ending in {".zip", ".csv", ".json", *CGATS_ENDINGS, *CXF_ENDINGS})


def lay_out(files: Mapping[str, bytes], folder: Path) -> Path:
    """Write files into a folder as `import_exchange` takes them.

    Parameters
    ----------
    files : mapping of bytes by file name
        One zip file, or sheets of an exchange folder under whatever names, or an instrument's files, whose samples
        become grounds.
    folder : Path
        Empty.

    Returns
    -------
    Path
        What to import.

    Raises
    ------
    BadInput
        A zip file beside others, a sheet of no known kind, or two of one kind.
    ExchangeError
        An instrument's file can't be used.
    """
    names = list(files)
    if any(name.lower().endswith(".zip") for name in names):
        if len(names) > 1:
            raise BadInput("A zip file was chosen together with other files.", "Bring in one zip file at a time.")
        target = folder / PurePath(names[0]).name
        target.write_bytes(files[names[0]])
        return target
    target = folder / PurePath(names[0]).stem
    target.mkdir()
    grounds: list[Ground] = []
    for name, content in files.items():
        plain = PurePath(name).name
        if plain.lower().endswith((".csv", MANIFEST)):
            sheet = plain if plain in (MANIFEST, *SHEETS.values()) else SHEETS[_kind_of(plain, content)]
            if (target / sheet).exists():
                raise BadInput(f"{plain} is a second {sheet}.", "Bring in one file of each kind at a time.")
            (target / sheet).write_bytes(content)
        else:
            raw = folder / plain
            raw.write_bytes(content)
            grounds += grounds_in(raw)
    if grounds:
        (target / SHEETS[Ground]).write_bytes(write_sheet(Ground, grounds))
    return target


def grounds_in(path: Path) -> list[Ground]:
    """The samples of an instrument's file as grounds.

    Raises
    ------
    ExchangeError
        It can't be read or used; with file, line and reason.
    """
    return [
        Ground(one.name, one.lab, math.hypot(Ground.uncertainty, one.uncertainty), notes=f"{one.basis}; {path.name}")
        for one in read_measurements(path)
    ]


def _kind_of(name: str, content: bytes) -> type:
    """Which sheet a CSV file is, by its first line: the kind of which it has all that is needed, and most columns."""
    first = content.decode("utf-8-sig", errors="replace").partition("\n")[0].strip()
    head = {cell.strip() for row in csv.reader([first]) for cell in row}
    fitting = {
        kind: len(head & {column.name for column in columns_of(kind)})
        for kind in SHEETS
        if all(column.name in head for column in columns_of(kind) if column.required)
    }
    if not fitting:
        raise BadInput(
            f"{name} is no sheet of paints, swatches, grounds, chips, cards or clear coats.",
            "Its first line has to name the columns, as in an exported folder.",
        )
    return max(fitting, key=lambda kind: fitting[kind])
