"""Real photographs of a 24-patch chart as (24, 3) linear light: what `real_photos` and `learned_camera` measure on.

A folder holds photos of any kind that the program reads, each with a whole 24-patch chart in it, and tables (CSV) of
patch means without a picture. A table has the columns ``phone, light, shot, development, patch, R, G, B``: linear
ProPhoto RGB (D50), 24 patches of each shot in the chart's order, dark skin first, black last. Six photographs more come
with the project (tests/published/chart_photographs.csv). Public sources of such photos and tables:

* test images of danforthcenter/plantcv (MPL-2.0), pedrodiamel/colorchecker-detection (MIT) and
  QiuJueqin/color-checker-extraction (MIT): developed photos;
* syoyo/tinydngloader (MIT): a camera raw;
* karaimer/camera-pipeline-color-calibration-experiment (H. C. Karaimer and M. S. Brown, "Improving color reproduction
  accuracy on cameras", CVPR 2018): phones' camera raws under three lights, of which the table holds the patch means.

Which of the two issues of the published values a chart is of, nobody says: the nearer one is taken.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import RGB_TO_XYZ, lab_from_linear, linear_from_encoded
from colormatch.errors import ColorMatchError
from colormatch.image.photo import open_photo
from colormatch.image.sensor import Sensor
from colormatch.records import FloatArray
from colormatch.reference.chart_find import find_chart, read_chart
from colormatch.reference.chart_values import BEFORE_2014, GRAY_ROW, SINCE_2014
from colormatch.reference.tone import CLIPPED
from tests.published import test_chart_photographs as published

#: Places of the white, the middle gray and the black in the chart's order.
WHITE, NEUTRAL_5, BLACK = 18, 21, 23
#: Linear ProPhoto RGB to XYZ under D50 (ROMM RGB, ISO 22028-2, as ICC profiles hold it), and the Bradford transform
#: from D50 to D65 (ICC.1:2022, annex E).
_PROPHOTO = np.array([[0.7976749, 0.1351917, 0.0313534], [0.2880402, 0.7118741, 0.0000857], [0.0, 0.0, 0.82521]])
_D50_TO_D65 = np.array(
    [[0.9555766, -0.0230393, 0.0631636], [-0.0282895, 1.0099416, 0.0210077], [0.0122982, -0.0204830, 1.3299098]]
)


@dataclass(frozen=True, eq=False)
class ChartPhoto:
    """One photograph of a chart."""

    name: str
    #: Photos of one camera share it.
    camera: str
    #: As the source names it, or empty.
    light: str
    development: str
    raw: bool
    #: (24, 3) float; mean linear sRGB of the patches.
    linear_rgb: FloatArray
    #: (24, 3) float; CIELAB of the nearer issue.
    lab: FloatArray
    sensor: Sensor | None = None

    @property
    def readable(self) -> FloatArray:
        """Indices of the patches that are not blown out: a sample of one that is tells so itself."""
        return np.flatnonzero(self.raw | (self.linear_rgb.max(axis=1) < linear_from_encoded(np.array(CLIPPED))))


def load(folder: Path) -> tuple[list[ChartPhoto], list[str]]:
    """Every photo of a folder, the six of the project before them, and a line for each that was refused."""
    photos = [
        ChartPhoto(name, "the project's six", "", "", False, published.linear(name), SINCE_2014)
        for name in published.PHOTOGRAPHS
    ]
    refused = []
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() == ".csv":
            photos += _table(path)
        elif path.suffix.lower() not in (".md", ".txt"):
            try:
                photos.append(_photo(path))
            except ColorMatchError as error:
                refused.append(f"{path.name}: {error}")
    return photos, refused


def _photo(path: Path) -> ChartPhoto:
    photo = open_photo(path)
    card = find_chart(photo)
    assert card.region is not None
    patches = read_chart(photo, card.region).linear_rgb
    return ChartPhoto(
        path.stem, photo.facts.camera or path.stem, "", "", photo.facts.raw, patches, nearer([patches]), photo.sensor
    )


def _table(path: Path) -> list[ChartPhoto]:
    shots: dict[tuple[str, ...], list[tuple[int, FloatArray]]] = defaultdict(list)
    with path.open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            key = tuple(row[column] for column in ("phone", "light", "shot", "development"))
            shots[key].append((int(row["patch"]), np.array([float(row[channel]) for channel in "RGB"])))
    to_srgb = np.linalg.inv(RGB_TO_XYZ) @ _D50_TO_D65 @ _PROPHOTO
    patches = {key: np.stack([rgb for _, rgb in sorted(rows, key=lambda row: row[0])]) @ to_srgb.T
               for key, rows in shots.items()}  # fmt: skip
    # One chart served all of them.
    issue = nearer(list(patches.values()))
    return [
        ChartPhoto(" ".join(key), phone, light, development, True, patches[key], issue)
        for key in patches
        for phone, light, _, development in [key]
    ]


def nearer(patches: list[FloatArray]) -> FloatArray:
    """The issue whose grays and colors are nearer to those of charts, each balanced by its gray row."""

    def off(issue: FloatArray) -> float:
        grays = linear_true(issue)[GRAY_ROW][1:5]
        found = [lab_from_linear(seen * (grays / seen[GRAY_ROW][1:5]).mean(axis=0)) for seen in patches]
        return float(np.mean([delta_e(lab, issue) for lab in found]))

    return min((BEFORE_2014, SINCE_2014), key=off)


def linear_true(lab: FloatArray) -> FloatArray:
    """(24, 3) linear sRGB of a chart's values."""
    from colormatch.color.space import linear_from_lab

    return linear_from_lab(lab)
