"""Files that somebody chose in a window, laid out so that they can be brought in together.

What comes out is an exchange folder or zip file, whatever went in, so that one preview and one merge serve all.
"""

from __future__ import annotations

import csv
import math
import shutil
from collections.abc import Sequence
from pathlib import Path

from colormatch.errors import BadInput
from colormatch.instrument.measurements import CGATS_ENDINGS, CXF_ENDINGS, read_measurements
from colormatch.library.columns import columns_of
from colormatch.library.csv_rows import write_rows
from colormatch.library.exchange import MANIFEST, SHEETS
from colormatch.library.limits import MAX_SHEET_BYTES, shown
from colormatch.records import Ground

#: Endings of files that can be brought in, without their dot.
ENDINGS = sorted(ending[1:] for ending in {".zip", ".csv", ".json", *CGATS_ENDINGS, *CXF_ENDINGS})

#: Of a sheet's first line so much is looked at, bytes.
_LONGEST_HEAD = 2**16


def lay_out(files: Sequence[Path], folder: Path) -> Path:
    """Files as `import_exchange` takes them: a zip file where it lies, others copied into a folder.

    Parameters
    ----------
    files : sequence of Path
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
        A zip file beside others, a sheet that is too large or of no known kind, or two of one kind.
    ExchangeError
        An instrument's file can't be used.
    """
    if any(path.suffix.lower() == ".zip" for path in files):
        if len(files) > 1:
            raise BadInput("A zip file was chosen together with other files.", "Bring in one zip file at a time.")
        return files[0]
    target = folder / (files[0].stem.strip(". ") or "files")  # A file may be named "...csv".
    target.mkdir()
    grounds: list[Ground] = []
    for path in files:
        plain = path.name
        if plain.lower().endswith((".csv", MANIFEST)):
            sheet = plain if plain in (MANIFEST, *SHEETS.values()) else SHEETS[_kind_of(path)]
            if (target / sheet).exists():
                raise BadInput(f"{plain} is a second {sheet}.", "Bring in one file of each kind at a time.")
            if (size := path.stat().st_size) > MAX_SHEET_BYTES:
                raise BadInput(f"{plain} takes {shown(size)}.", f"Split it into sheets of {shown(MAX_SHEET_BYTES)}.")
            shutil.copyfile(path, target / sheet)
        else:
            grounds += grounds_in(path)
    if grounds:
        (target / SHEETS[Ground]).write_bytes(write_rows(Ground, grounds))
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


def _kind_of(path: Path) -> type:
    """Which sheet a CSV file is, by its first line: the kind of which it has all that is needed, and most columns."""
    with path.open("rb") as stream:
        first = stream.readline(_LONGEST_HEAD).decode("utf-8-sig", errors="replace").strip()
    head = {cell.strip() for row in csv.reader([first]) for cell in row}
    fitting = {
        kind: len(head & {column.name for column in columns_of(kind)})
        for kind in SHEETS
        if all(column.name in head for column in columns_of(kind) if column.required)
    }
    if not fitting:
        raise BadInput(
            f"{path.name} is no sheet of paints, swatches, grounds, chips, cards or clear coats.",
            "Its first line has to name the columns, as in an exported folder.",
        )
    return max(fitting, key=lambda kind: fitting[kind])
