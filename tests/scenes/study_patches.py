"""How often a patch that is off, or too even a spot of its board, is named, and how often a sound one is.

Run it: ``python -m tests.scenes.study_patches [boards]``.

Three patches on simulated boards of grain from fine to coarse, of one wood or varied (`study_lamps`). In one of them a
broad highlight or a soft shadow lies. And small patches on boards of little and of much figure. All of it is simulated.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

import cv2
import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import encoded_from_linear, lab_from_linear
from colormatch.photo.neutral import CardChoice
from colormatch.photo.patches import patch_doubts
from colormatch.photo.read import open_photo
from colormatch.photo.sample import sample_region
from colormatch.records import Box, Reading, Region, RegionKind
from colormatch.repair import read_photo
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.scene import Scene, Thing
from tests.scenes.spectra import reflectance_to_linear_rgb
from tests.scenes.study_lamps import BOARDS, patches, wandering
from tests.scenes.study_light import CARD, HEIGHT, WIDTH, Cloud, marked, quad
from tests.scenes.woods import grain, wood

#: A highlight's radius in parts of the width, a little more than a patch's; and its peaks, shares of a white's light.
_SHEEN, PEAKS = 0.08, (0.03, 0.08, 0.2)
#: Radii of a shadow over one patch, pixels, and the shares of the light that it takes.
_SHADE, DEPTHS = 110.0, (0.2, 0.4)
USERS = 3
#: Boards by their figure: contrast of the wood and period of the grain, pixels; common, and strongly marked.
BOARDS_BY_FIGURE = (("common boards", (1.2, 2.4), (10, 100)), ("strongly figured boards", (2.5, 4.5), (80, 300)))
#: Sides of patches that are marked on them, pixels; how many people mark three; and the camera's noise, share of light.
_SIDES, _MARKERS, _NOISE = (30, 160), 6, 0.02


class Board:
    """A board with a card on it, and the camera that photographs it."""

    def __init__(self, wanders: str, seed: Sequence[int]) -> None:
        self.rng = np.random.default_rng(seed)
        self.seed = seed
        period = float(np.exp(self.rng.uniform(*np.log([10, 200]))))
        surface = wandering(BOARDS[wanders], self.rng, period)
        self.things = (
            Thing("wood", "wood", surface, quad(Box(0, 0, WIDTH, HEIGHT))),
            Thing("card", "gray card", things.gray_card(), quad(CARD)),
        )
        self.slope = tuple(self.rng.normal(0, 0.05, 2).tolist())
        self.camera = Camera.typical(self.rng, white_level=0.7)

    def read(self, regions: Sequence[Region], clouds: tuple[Cloud, ...] = (), **light: object) -> Reading:
        lighting = Lighting("D65", self.slope, 0.1, **light)  # type: ignore[arg-type]
        scene = Scene(WIDTH, HEIGHT, self.things, clouds)
        photo = encoded(scene.photograph(lighting, self.camera, np.random.default_rng(self.seed)), "JPEG", quality=95)
        return read_photo(photo, regions, CardChoice(region=marked(RegionKind.CARD, CARD)))


def named(reading: Reading, code: str) -> list[bool]:
    """Of each patch, whether a doubt is raised about it."""
    return [code in {flag.code for flag in sample.flags} for sample in reading.samples]


def off(board: Board) -> list[tuple[str, float, bool, bool]]:
    """What lies on the first of three patches, how far it takes it, and whether that one or another is named."""
    out = []
    for _ in range(USERS):
        regions = patches(board.rng, 20)
        plain = board.read(regions)
        x, y = np.mean(regions[0].points, axis=0).tolist()
        cases = {"nothing": plain}
        cases |= {f"highlight {peak:.0%}": board.read(regions, glare=(x, y, _SHEEN, peak)) for peak in PEAKS}
        for depth in DEPTHS:
            cloud = (x * WIDTH, y * HEIGHT, _SHADE, _SHADE, depth)
            cases[f"shadow {depth:.0%}"] = board.read(regions, (cloud,))
        for case, reading in cases.items():
            first, *others = named(reading, "patch-off")
            moved = float(delta_e(np.array(reading.samples[0].lab), np.array(plain.samples[0].lab)))
            out.append((case, moved, first, any(others)))
    return out


def even(contrast: tuple[float, float], period: tuple[float, float], seed: Sequence[int]) -> list[tuple[float, bool]]:
    """How far patches are from the mean of a board, ΔE00, and whether they are called too even a spot of it.

    `contrast` and `period` are the limits within which the wood's and its grain's are drawn.
    """
    rng = np.random.default_rng(seed)
    figure = grain(
        (HEIGHT, WIDTH),
        rng,
        period=float(np.exp(rng.uniform(*np.log(period)))),
        angle=rng.uniform(0, 180),
        cathedral=float(rng.choice([0, 500])),
        pores=0.2,
    )
    tones = wood(float(np.exp(rng.uniform(*np.log([0.9, 6])))), rng.uniform(85, 165), 0.1, rng.uniform(*contrast)).tones
    linear_rgb = figure @ reflectance_to_linear_rgb(tones)
    truth = lab_from_linear(linear_rgb.mean(axis=(0, 1)))
    noisy = linear_rgb * rng.normal(1, _NOISE, linear_rgb.shape)
    encoded_rgb = np.round(np.clip(encoded_from_linear(noisy), 0, 1) * 65535).astype(np.uint16)
    photo = open_photo(cv2.imencode(".png", encoded_rgb[..., ::-1], [cv2.IMWRITE_PNG_COMPRESSION, 1])[1].tobytes())
    out = []
    for _ in range(_MARKERS):
        regions = patches(rng, 0, 3, _SIDES)
        samples = [sample_region(photo, region, lab_from_linear, 0.0) for region in regions]
        doubts = patch_doubts(photo, regions, samples, lab_from_linear)
        for sample, flags in zip(samples, doubts, strict=True):
            told = "patch-too-even" in {flag.code for flag in flags}
            out.append((float(delta_e(np.array(sample.lab), truth)), told))
    return out


def report(boards: int) -> None:
    for number, wanders in enumerate(BOARDS):
        every = [Board(wanders, (21, number, index)) for index in range(boards)]
        print(f"{wanders}: one of three patches lies in; how far that takes it, ΔE00; it is named, another is named")
        found = [result for board in every for result in off(board)]
        for case in dict.fromkeys(case for case, *_ in found):
            moved, first, others = (
                np.array(column) for column in zip(*(r[1:] for r in found if r[0] == case), strict=True)
            )
            print(f"  {case:15s} {moved.mean():5.2f}  {first.mean():4.0%}  {others.mean():4.0%}", flush=True)
    for name, contrast, period in BOARDS_BY_FIGURE:
        print(f"{name}: patches by how far they are off their board, ΔE00; share called too even a spot")
        spots = [spot for index in range(4 * boards) for spot in even(contrast, period, (31, index))]
        row = []
        for low, high in ((0, 1), (1, 2), (2, 4), (4, 50)):
            flags = [flag for apart, flag in spots if low <= apart < high]
            row.append(f"{low}-{high}: {np.mean(flags) if flags else 0:4.0%} of {len(flags)}")
        print(" ", *row, sep="  ", flush=True)


if __name__ == "__main__":
    report(int(sys.argv[1]) if len(sys.argv) > 1 else 6)
