"""Colors of a 24-patch chart: the two published issues, or the user's own measured file.

Patches go row by row from dark skin to black, six in a row; the last row is gray.

Sources
-------
The chart maker's spectrophotometer averages from colour-science 0.4.7 (BSD-3-Clause), xyY under ICC D50, adapted to D65
by the Bradford transform (ICC.1:2022, annex E) and rounded to 0.001. Single charts differ from them by about 1
(the two issues differ by 0.9 on average), and charts fade; a measured file of the user's own chart is better.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np

from colormatch.errors import BadInput
from colormatch.files import content_of
from colormatch.records import FloatArray

#: Rows and columns of patches.
ROWS, COLUMNS = 4, 6
#: Fewest patches that must be neither clipped nor black.
LEAST_PATCHES = 16
#: The gray row, from white to black.
GRAY_ROW = slice(18, 24)
#: CIELAB of charts made before November 2014.
BEFORE_2014: FloatArray = np.array([
    (37.773, 12.589, 13.737),  # dark skin
    (65.431, 16.844, 17.382),  # light skin
    (50.222, -2.299, -21.529),  # blue sky
    (43.041, -14.947, 22.051),  # foliage
    (55.366, 11.468, -25.157),  # blue flower
    (70.914, -33.080, 0.268),  # bluish green
    (62.035, 33.601, 56.360),  # orange
    (40.662, 16.054, -45.138),  # purplish blue
    (50.619, 47.696, 15.194),  # moderate red
    (30.443, 24.893, -21.590),  # purple
    (72.285, -27.953, 57.871),  # yellow green
    (71.385, 15.883, 67.708),  # orange yellow
    (29.576, 20.608, -49.208),  # blue
    (55.233, -41.213, 31.935),  # green
    (41.467, 52.747, 26.866),  # red
    (81.221, -0.448, 80.268),  # yellow
    (51.726, 51.215, -15.240),  # magenta
    (51.564, -23.959, -27.844),  # cyan
    (96.530, -0.535, 1.182),  # white
    (81.264, -0.604, -0.322),  # neutral
    (66.776, -0.684, -0.488),  # neutral
    (50.871, -0.127, -0.265),  # neutral
    (35.671, -0.302, -1.213),  # neutral
    (20.471, 0.014, -0.962),  # black
])  # fmt: skip
#: CIELAB of charts made since November 2014.
SINCE_2014: FloatArray = np.array([
    (37.315, 13.371, 14.580),  # dark skin
    (64.375, 18.024, 17.052),  # light skin
    (49.618, -1.180, -22.165),  # blue sky
    (43.355, -14.644, 22.864),  # foliage
    (55.180, 12.142, -24.571),  # blue flower
    (70.671, -31.938, 0.084),  # bluish green
    (62.108, 33.370, 55.765),  # orange
    (40.056, 16.256, -44.369),  # purplish blue
    (50.058, 48.096, 15.601),  # moderate red
    (30.210, 24.389, -20.882),  # purple
    (71.523, -28.416, 58.848),  # yellow green
    (70.965, 14.751, 67.248),  # orange yellow
    (29.150, 21.667, -48.742),  # blue
    (54.354, -42.679, 32.871),  # green
    (41.816, 50.324, 27.362),  # red
    (81.295, -1.874, 80.916),  # yellow
    (50.403, 52.486, -14.822),  # magenta
    (50.098, -24.981, -27.519),  # cyan
    (95.167, -1.299, 2.919),  # white
    (81.289, -0.609, 0.445),  # neutral
    (66.895, -0.742, -0.048),  # neutral
    (50.759, -0.143, 0.141),  # neutral
    (35.638, -0.413, -0.468),  # neutral
    (20.644, 0.113, -0.457),  # black
])  # fmt: skip
for _table in (BEFORE_2014, SINCE_2014):
    _table.setflags(write=False)

#: Mean ΔE*ab from the published values above which a file is for a different chart; fading and other inks stay below
#: 10.
_MOST_OFF = 20.0
#: Largest CSV file of a chart, bytes. Our choice: 24 patches with spectra take a few kilobytes.
_MOST_BYTES = 1_000_000


def read_chart_file(path: Path) -> FloatArray:
    """Read the measured colors of the user's own chart.

    Parameters
    ----------
    path : Path
        CSV with columns L, a, b under D65; or an instrument's file, CGATS text or CxF3 (see
        `instrument.measurements.read_measurements`). 24 patches, by rows or by columns.

    Returns
    -------
    (24, 3) float; CIELAB, D65, row by row

    Raises
    ------
    BadInput
        Missing, another format, not 24 patches, or a different chart.
    ExchangeError
        The instrument's file is unreadable or unusable.
    """
    if not path.exists():
        raise BadInput(
            f"The file {path} of a chart's patches doesn't exist.",
            "Give before-2014, since-2014, or the file of its measured patches.",
        )
    if path.suffix.lower() == ".csv":
        lab = _csv(path)
    else:
        from colormatch.instrument.measurements import read_measurements

        lab = np.array([measured.lab for measured in read_measurements(path)])
    if lab.shape != (ROWS * COLUMNS, 3):
        raise BadInput(
            f"The chart file {path.name} has {len(lab)} patches.",
            f"Give a file with all {ROWS * COLUMNS} patches.",
        )
    orders = (lab, lab.reshape(COLUMNS, ROWS, 3).swapaxes(0, 1).reshape(-1, 3))
    off = [float(np.linalg.norm(order - SINCE_2014, axis=1).mean()) for order in orders]
    if min(off) > _MOST_OFF:
        raise BadInput(
            f"The colors in {path.name} are not those of a 24-patch chart.", "Check that it is the file of this chart."
        )
    return orders[int(np.argmin(off))]


def _csv(path: Path) -> FloatArray:
    text = content_of(path, _MOST_BYTES, unreadable=BadInput).decode("utf-8-sig", errors="replace")
    try:
        header, *rows = list(csv.reader(text.splitlines())) or [[]]
    except csv.Error:  # not text
        header, rows = [], []
    columns = [cell.strip() for cell in header]
    if not all(column in columns for column in ("L", "a", "b")):
        raise BadInput(f"The chart file {path.name} has no columns L, a, b.", "Export it again.")
    picked = [columns.index(column) for column in ("L", "a", "b")]
    return np.array([[_number(row, i, path.name) for i in picked] for row in rows if any(row)]).reshape(-1, 3)


def _number(row: list[str], index: int, name: str) -> float:
    try:
        value = float(row[index])
    except (IndexError, ValueError):
        value = math.nan
    if not math.isfinite(value):
        raise BadInput(f"A row of the chart file {name} has a color that is not a number.", "Export it again.")
    return value
