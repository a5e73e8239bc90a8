"""Turn uploaded files into an exchange folder.

The result is always an exchange folder or zip file, so that one preview and one merge handle every kind of upload.
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

#: Endings of files that can be imported, without their dot.
ENDINGS = sorted(ending[1:] for ending in {".zip", ".csv", ".json", *CGATS_ENDINGS, *CXF_ENDINGS})

#: Bytes of a sheet's first line that are examined.
_LONGEST_HEAD = 2**16


def lay_out(files: Sequence[Path], folder: Path) -> Path:
    """Prepare files for `import_exchange`: a zip file stays in place, others are copied into a folder.

    Parameters
    ----------
    files : sequence of Path
        One zip file, or sheets of an exchange folder under any names, or instrument files, whose samples become
        grounds.
    folder : Path
        Empty folder.

    Returns
    -------
    Path
        Path to import.

    Raises
    ------
    BadInput
        A zip file with others, a sheet that is too large or of unknown kind, or two of one kind.
    ExchangeError
        An instrument's file is unusable.
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
        The file is unreadable or unusable; with file, line and reason.
    """
    return [
        Ground(one.name, one.lab, math.hypot(Ground.uncertainty, one.uncertainty), notes=f"{one.basis}; {path.name}")
        for one in read_measurements(path)
    ]


def _kind_of(path: Path) -> type:
    """Kind of sheet, from the first line of a CSV file: all required columns, and the most matching ones."""
    with path.open("rb") as stream:
        first = stream.readline(_LONGEST_HEAD).decode("utf-8-sig", errors="replace").strip()
    try:
        head = {cell.strip() for row in csv.reader(first.splitlines()[:1]) for cell in row}
    except csv.Error:  # not text
        head = set()
    fitting = {
        kind: len(head & {column.name for column in columns_of(kind)})
        for kind in SHEETS
        if all(column.name in head for column in columns_of(kind) if column.required)
    }
    if not fitting:
        raise BadInput(
            f"{path.name} is not a sheet of paints, swatches, grounds, chips, cards or clear coats.",
            "Its first line must name the columns, as in an exported folder.",
        )
    return max(fitting, key=lambda kind: fitting[kind])
