"""How often the stated uncertainty of a wood color holds the truth, for grain of every period.

Run it: ``python -m tests.studies.grain [boards]``. Simulated boards of any wood (`woods`), three patches at random
places as a user would mark them. Nothing but the grain disturbs the color here, so only the random part is judged.
"""

import sys

import cv2
import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import encoded_from_linear, lab_from_linear
from colormatch.image.photo import open_photo
from colormatch.records import SIGMA_PER_RADIUS, Box, Region, RegionKind, Sample
from colormatch.sampling.sample import combine, sample_region
from tests.scenes.spectra import FloatArray, reflectance_to_linear_rgb
from tests.scenes.woods import any_wood, grain

PERIODS = (8, 12, 20, 28, 50, 100, 200)
#: Pixels: a board in a photo of some 4 megapixels, and the side of a patch.
BOARD = (1400, 2000)
PATCH = (120, 320)
#: How many users mark three patches on the same board.
USERS = 6
#: 95 % radius over the 90 % one of a round Gaussian error: sqrt of the chi-square quantile, 3 degrees of freedom.
TO_95 = np.sqrt(7.8147) * SIGMA_PER_RADIUS


def board(period: float, rng: np.random.Generator) -> FloatArray:
    """(h, w, 3) linear sRGB of a board."""
    shares = grain(BOARD, rng, period=period, angle=rng.uniform(0, 180), waviness=rng.uniform(0.3, 1.5))
    return shares @ reflectance_to_linear_rgb(any_wood(rng).tones).astype(np.float32)


def patches(n: int, rng: np.random.Generator) -> list[Region]:
    """Boxes scattered over the board, that do not overlap."""
    height, width = BOARD
    taken = np.zeros(BOARD, bool)
    regions: list[Region] = []
    while len(regions) < n:
        w, h = rng.integers(*PATCH, 2)
        x, y = int(rng.integers(0, width - w)), int(rng.integers(0, height - h))
        if not taken[y : y + h, x : x + w].any():
            taken[y : y + h, x : x + w] = True
            regions.append(Region.from_box(RegionKind.SOUND, Box(x, y, int(w), int(h)), width, height))
    return regions


Judged = tuple[Sample, float]


def trials(period: float, seed: int) -> tuple[list[Judged], list[Judged]]:
    """Samples of single patches and of three together on one board, each with its true error in ΔE00."""
    rng = np.random.default_rng(seed)
    linear_rgb = board(period, rng)
    truth = lab_from_linear(linear_rgb.mean(axis=(0, 1), dtype=float))
    encoded = np.round(np.clip(encoded_from_linear(linear_rgb), 0, 1) * 65535).astype(np.uint16)
    photo = open_photo(cv2.imencode(".png", encoded[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 1])[1].tobytes())

    def judged(sample: Sample) -> Judged:
        return sample, float(delta_e(sample.lab, truth))

    singles, together = [], []
    for _ in range(USERS):
        marked = [sample_region(photo, region, lab_from_linear, 0.0) for region in patches(3, rng)]
        singles += [judged(sample) for sample in marked]
        together.append(judged(combine(marked, "sound")))
    return singles, together


def covered(results: list[Judged], factor: float) -> float:
    """Percent of results whose error lies within the radius times a factor."""
    return 100 * float(np.mean([error <= factor * sample.random for sample, error in results]))


def report(boards: int) -> None:
    print("period | one patch: 90 %  95 %  radius  error | three: 90 %  95 %  radius  error (means)")
    everything: list[Judged] = []
    for period in PERIODS:
        singles, combined = [], []
        for seed in range(boards):
            ones, threes = trials(period, 1000 * period + seed)
            singles += ones
            combined += threes
        everything += combined
        row = [f"{period:6d} |"]
        for results in (singles, combined):
            radius, error = np.mean([s.random for s, _ in results]), np.mean([e for _, e in results])
            row.append(f"{covered(results, 1):5.0f} {covered(results, TO_95):5.0f} {radius:6.2f} {error:6.2f} |")
        print(*row, flush=True)
    print(f"all, three patches: {covered(everything, 1):.0f} / {covered(everything, TO_95):.0f} %")


if __name__ == "__main__":
    report(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
