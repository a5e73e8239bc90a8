"""How well painted sheets are read: python -m tests.studies.boards [how many] (simulated; about 5 s each).

Each sheet has its own paper, rows, columns, camera, light, tilt up to 35 degrees, turn and curl. Prints the share of
cells found in place, cells taken for a neighbor, and the errors of their colors.
"""

import sys
from collections.abc import Iterator

import numpy as np

from colormatch.errors import ColorMatchError
from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.sheet.cells import BoardReading
from colormatch.sheet.layout import PAPERS, Plan
from colormatch.sheet.read import read_sheet
from tests.scenes.camera import Camera, Lighting
from tests.scenes.spectra import FloatArray, delta_e
from tests.sheet.scene import PaintedSheet, Pose, paint_names, photographed

LIGHTS = ("D65", "D50", "LED-B1")
_COLUMNS = ("full", "2:1", "1:1", "1:3", "1:3x2", "1:7")


def drawn(seed: int, *, width: int = 1800) -> tuple[Plan, PaintedSheet]:
    """One sheet and its photograph."""
    rng = np.random.default_rng(seed)
    rows, columns = int(rng.integers(1, 11)), int(rng.integers(1, 7))
    names = [f"{paint_names()[i % len(paint_names())]} {i}" for i in range(rows)]
    plan = Plan(str(rng.choice(list(PAPERS))), tuple(names), _COLUMNS[:columns])
    pose = Pose(
        float(rng.uniform(0, 35)), float(rng.uniform(0, 360)), float(rng.uniform(-15, 15)),
        float(rng.uniform(-6, 12)), bool(rng.integers(2)),
    )  # fmt: skip
    light = Lighting(str(rng.choice(LIGHTS)), slope=tuple(rng.uniform(-0.25, 0.25, 2)), vignette=0.05)
    return plan, photographed(plan, rng, pose, light, Camera.typical(rng), width=width)


def errors(photo: DecodedPhoto, board: BoardReading, sheet: PaintedSheet) -> Iterator[tuple[float, bool, float]]:
    """For each cell: how far off it was sampled in its own half width, whether another's middle was nearer, ΔE00."""
    names = list(sheet.centers)
    middles = np.array([sheet.centers[name] for name in names])
    for cell in board.cells:
        own = cell.cell.row, cell.cell.column
        quad: FloatArray = np.array(cell.region.points) * photo.pixels.size
        away = np.linalg.norm(middles - quad.mean(axis=0), axis=1)
        half = min(np.linalg.norm(quad[1] - quad[0]), np.linalg.norm(quad[3] - quad[0])) / 0.6 / 2
        off = float(away[names.index(own)] / half)
        yield off, names[int(away.argmin())] != own, float(delta_e(np.array(cell.sample.lab), sheet.labs[own]))


def main(count: int) -> None:
    read, lost, cells = [], [], 0
    for seed in range(count):
        plan, sheet = drawn(seed)
        cells += len(plan.rows) * len(plan.columns)
        photo = open_photo(sheet.jpeg)
        try:
            board, _ = read_sheet(photo, plan)
        except ColorMatchError as error:
            lost.append(f"{seed}: {error}")
            continue
        read += errors(photo, board, sheet)
    off, taken, apart = (np.array(column) for column in zip(*read, strict=True))
    print(f"{count} sheets, {cells} cells; refused {len(lost)}: {lost}")
    # Inset by 20 % of a side, a cell is sampled in place up to 0.4 of its half width.
    print(f"in place {100 * np.sum(off < 0.4) / cells:.2f} %, worst {off.max():.2f}; taken for another {taken.sum()}")
    print(f"ΔE00 mean {apart.mean():.2f}, 95th percentile {np.percentile(apart, 95):.2f}, worst {apart.max():.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
