"""How often real photographs raise a doubt about their light or their patches.

Run it: ``python -m tests.studies.false_doubts [--charts] FOLDER ...``.

Opens every JPEG and HEIC below the folders that is a photograph by its size, without a card, and marks in it what a
person would: three even places near one another that look alike, and the most even place alone, small. Nobody knows the
light of those photographs; most were taken in one, so nearly every doubt is a false one. Each photograph counts once.

With ``--charts`` the folders hold photographs of a 24-patch chart, in any format: each is read once by the chart, and
once by its middle gray, marked as a gray card. `tests.studies.real_charts` names sources of such photographs.

A public source of others: the source archives of imaging packages (pip download --no-binary :all: --no-deps NAME), such
as pillow, pillow-heif, thumbor, imageio, easy-thumbnails, face_recognition, ImageHash, colour-checker-detection.
"""

import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from colormatch.color.space import lab_from_linear
from colormatch.errors import ColorMatchError
from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.records import Box, CardKind, FloatArray, Region, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.reference.chart_find import find_chart
from colormatch.repair import read_photo
from tests.studies.ordinary import DOUBTS
from tests.studies.real_charts import NEUTRAL_5

ENDINGS = (".jpg", ".jpeg", ".heic")
#: Fewest pixels of a photograph's shorter side; fewest different colors in a view of it, below which it is a drawing.
SMALLEST, FEWEST_COLORS = 300, 2000
#: Places along each side of the photograph that are tried; ΔE00 within which places look alike.
PLACES, ALIKE = 12, 6.0
#: L* that a place must have: neither black nor blown.
LEAST, MOST = 25.0, 90.0


def photographs(folders: list[Path]) -> Iterator[tuple[Path, DecodedPhoto]]:
    seen = set()
    for path in sorted(path for folder in folders for path in folder.rglob("*") if path.suffix.lower() in ENDINGS):
        try:
            photo = open_photo(path)
        except ColorMatchError:
            continue
        view = photo.preview(200)
        key = view.tobytes()
        colors = len(np.unique(view.reshape(-1, 3), axis=0))
        if min(photo.pixels.size) >= SMALLEST and colors >= FEWEST_COLORS and key not in seen:
            seen.add(key)
            yield path, photo


def places(photo: DecodedPhoto) -> list[tuple[float, FloatArray, Box]]:
    """Cells of a grid by how even they are: spread of L*, mean CIELAB, box in the photo."""
    width, height = photo.facts.width, photo.facts.height
    lab = lab_from_linear(photo.linear(every=max(1, min(photo.pixels.size) // 300)).astype(float))
    rows, columns = (np.array_split(np.arange(size), PLACES) for size in lab.shape[:2])
    found = []
    for j, row in enumerate(rows):
        for i, column in enumerate(columns):
            cell = lab[row[0] : row[-1] + 1, column[0] : column[-1] + 1].reshape(-1, 3)
            mean = cell.mean(axis=0)
            if LEAST < mean[0] < MOST:
                box = Box(i * width // PLACES, j * height // PLACES, width // PLACES, height // PLACES)
                found.append((float(cell.std(axis=0).max()), mean, box))
    return sorted(found, key=lambda one: one[0])


def marks(photo: DecodedPhoto) -> dict[str, list[Box]]:
    """The most even place, its middle alone, and three that look alike."""
    found = places(photo)
    if not found:
        return {}
    _, mean, first = found[0]
    small = Box(first.x + first.w // 3, first.y + first.h // 3, max(first.w // 3, 12), max(first.h // 3, 12))
    alike = [box for _, lab, box in found if np.linalg.norm(lab - mean) < ALIKE][:3]
    return {"one small": [small], **({"three alike": alike} if len(alike) == 3 else {})}


def told(photo: DecodedPhoto, boxes: list[Box]) -> set[str]:
    size = photo.facts.width, photo.facts.height
    regions = [Region.from_box(RegionKind.SOUND, box, *size, f"sound {n}") for n, box in enumerate(boxes, 1)]
    reading = read_photo(photo, regions, CardChoice(CardKind.NONE))
    flags = [*reading.light.flags, *(flag for sample in reading.samples for flag in sample.flags)]
    return {flag.code for flag in flags} & set(DOUBTS)


def by_chart(folders: list[Path]) -> None:
    """Doubts about light of photographs of a chart, by the chart and by its middle gray."""
    for path in sorted(path for folder in folders for path in folder.iterdir()):
        try:
            photo = open_photo(path)
            chart = find_chart(photo).region
            assert chart is not None
        except ColorMatchError:
            continue
        middle = _patch(chart.corners(*photo.pixels.size), NEUTRAL_5) / photo.pixels.size
        gray = Region(RegionKind.CARD, tuple((float(x), float(y)) for x, y in middle), "card")
        for choice in (CardChoice(CardKind.CHART24, region=chart), CardChoice(region=gray)):
            try:
                reading = read_photo(photo, [], choice)
            except ColorMatchError as refusal:
                print(f"{path.name}: by {choice.kind}: refused: {refusal}")
                continue
            codes = sorted({flag.code for flag in reading.light.flags} & set(DOUBTS))
            print(f"{path.name}: by {choice.kind}: {', '.join(codes) or 'none'}", flush=True)


def _patch(corners: FloatArray, index: int) -> FloatArray:
    """(4, 2) corners of the middle of a patch, from those of the corner patches."""
    outer = np.array([[0.07, 0.07], [5.93, 0.07], [5.93, 3.93], [0.07, 3.93]], np.float32)
    to_photo = cv2.getPerspectiveTransform(outer, corners.astype(np.float32))
    row, column = divmod(index, 6)
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float32) / 4 + (column + 0.5, row + 0.5)
    return cv2.perspectiveTransform(square[None].astype(np.float32), to_photo)[0]


def main(folders: list[Path]) -> None:
    counts: dict[str, Counter[str]] = {}
    for path, photo in photographs(folders):
        for way, boxes in marks(photo).items():
            try:
                codes = told(photo, boxes)
            except ColorMatchError as refusal:
                print(f"{path.name}: {way}: refused: {refusal}")
                continue
            count = counts.setdefault(way, Counter())
            count.update(["photographs", *(["any doubt"] if codes else []), *codes])
            if codes:
                print(f"{path.name}: {way}: {', '.join(sorted(codes))}", flush=True)
    for way, count in counts.items():
        each = ", ".join(f"{code} {number}" for code, number in count.most_common() if code != "photographs")
        print(f"{way}: of {count['photographs']} photographs: {each}")


if __name__ == "__main__":
    given = [argument for argument in sys.argv[1:] if argument != "--charts"]
    (main if given == sys.argv[1:] else by_chart)([Path(folder) for folder in given])
