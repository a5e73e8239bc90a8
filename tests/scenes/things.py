"""What lies on the bench: cards, and things that are easily taken for one."""

from functools import cache

import cv2
import numpy as np

from tests.scenes.paints import Wash, dried, mixed
from tests.scenes.spectra import FloatArray, bump, colour_science, edge, flat
from tests.scenes.surface import Surface, mottled, plain, smooth_noise

#: White, gray and black of the three-step card.
THREE_STEPS = (0.89, 0.18, 0.035)
#: Share of its cell's side that a patch of the 24-patch chart fills.
CHART_PATCH = 0.86
Shape = tuple[int, int]


def gray_card(reflectance: float = 0.18, shape: Shape = (160, 240)) -> Surface:
    """An even, neutral card."""
    return plain(flat(reflectance), shape)


def three_step_card(shape: Shape = (120, 360), steps: tuple[float, ...] = THREE_STEPS) -> Surface:
    """White, gray and black side by side, left to right."""
    step = np.arange(shape[1]) * len(steps) // shape[1]
    shares = np.broadcast_to(np.eye(len(steps), dtype=np.float32)[step], (*shape, len(steps)))
    return Surface(np.ascontiguousarray(shares), np.stack([flat(value) for value in steps]))


#: Bench tops: brown fiberboard, and concrete, which is nearly as neutral as a card.
FIBERBOARD = 0.10 + 0.28 * (1 - edge(590, 55))
CONCRETE = 0.27 - 0.05 * edge(500, 60)


def bench_top(shape: Shape, rng: np.random.Generator, color: FloatArray = FIBERBOARD) -> Surface:
    """A worn bench: flat, with specks and smears."""
    specks = np.clip(smooth_noise(shape, (3, 3), rng) - 1.6, 0, 0.6)
    surface = mottled(color, shape, rng, depth=0.06, cell=shape[0] / 5)
    grit = (0.05 * smooth_noise(shape, (2, 2), rng))[..., None]
    return Surface(surface.shares + grit, color[None]).overlaid(plain(flat(0.06), shape), specks)


def white_paper(shape: Shape = (300, 210)) -> Surface:
    """Office paper with its brightener's blue lift, without fluorescence."""
    return plain(0.86 - 0.35 * edge(415, 8) + 0.04 * bump(445, 20), shape)


def metal_ruler(rng: np.random.Generator, shape: Shape = (40, 600)) -> Surface:
    """Brushed steel: neutral, brushed along its length, with ticks."""
    brushed = 0.42 + 0.05 * smooth_noise(shape, (1.5, 300), rng) + 0.08 * smooth_noise(shape, (200, 120), rng)
    ticks = np.zeros(shape, np.float32)
    ticks[: shape[0] // 3, ::10] = ticks[: shape[0] // 2, ::100] = 1
    return Surface(brushed[..., None], flat(1.0)[None]).overlaid(plain(flat(0.05), shape), ticks)


def gray_cloth(rng: np.random.Generator, reflectance: float = 0.2, shape: Shape = (300, 300)) -> Surface:
    """A woven rag: nearly neutral, with threads and soft folds."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    weave = 1 + 0.12 * np.sin(x * 2.1) * np.sin(y * 2.1) + 0.10 * smooth_noise(shape, (60, 25), rng)
    weave += 0.06 * smooth_noise(shape, (2, 2), rng)
    color = reflectance * (1 + 0.06 * bump(460, 40) - 0.03 * bump(620, 50))
    return Surface(weave[..., None].astype(np.float32), color[None])


def dark_tape(shape: Shape = (40, 300)) -> Surface:
    """Black cloth tape."""
    return plain(flat(0.035), shape)


def gray_painted(rng: np.random.Generator, shape: Shape = (200, 200)) -> Surface:
    """A board painted gray by hand, a little bluish, with brush marks."""
    color = 0.17 + 0.02 * bump(470, 50) - 0.012 * bump(600, 60)
    marks = 1 + 0.05 * smooth_noise(shape, (3, 150), rng) + 0.03 * smooth_noise(shape, (80, 80), rng)
    return Surface(marks[..., None].astype(np.float32), color[None])


def masking_tape(rng: np.random.Generator, shape: Shape = (50, 300)) -> Surface:
    """Creped cream tape."""
    cream: FloatArray = 0.78 - 0.42 * edge(480, 30)
    crepe = 1 + 0.04 * smooth_noise(shape, (40, 2), rng)
    return Surface(crepe[..., None].astype(np.float32), cream[None])


def sandpaper(rng: np.random.Generator, shape: Shape = (240, 300)) -> Surface:
    """Reddish brown grit."""
    color = 0.07 + 0.22 * (1 - edge(600, 30))
    grit = np.clip(1 + 0.22 * smooth_noise(shape, (1, 1), rng), 0.4, 1.8)
    return Surface(grit[..., None].astype(np.float32), color[None])


@cache
def chart_reflectances() -> FloatArray:
    """(24, 81) measured reflectances of the 24-patch chart, brown first, then row by row (ISO 17321-1 data set)."""
    colour = colour_science()
    shape = colour.SpectralShape(380, 780, 5)
    spectra = colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    return np.stack([np.asarray(spectrum.copy().align(shape).values, float) for spectrum in spectra])


def chart(shape: Shape = (400, 600)) -> Surface:
    """Six by four patches in a black frame; the patches fill `CHART_PATCH` of their cells."""
    rows, columns = (np.arange(size) * count / size for size, count in zip(shape, (4, 6), strict=True))
    patch = rows.astype(int)[:, None] * 6 + columns.astype(int)
    edge_of_cell = (1 - CHART_PATCH) / 2
    inside = [np.abs(axis % 1 - 0.5) < 0.5 - edge_of_cell for axis in (rows, columns)]
    tone = np.where(inside[0][:, None] & inside[1], patch, 24)
    shares = np.eye(25, dtype=np.float32)[tone]
    return Surface(shares, np.concatenate([chart_reflectances(), flat(0.035)[None]]))


def chart_patch_quads(quad: FloatArray) -> FloatArray:
    """(24, 4, 2) corners of the patches of a chart that lies in `quad`."""
    to_quad = cv2.getPerspectiveTransform(
        np.array([[0, 0], [6, 0], [6, 4], [0, 4]], np.float32), quad.astype(np.float32)
    )
    margin = (1 - CHART_PATCH) / 2
    square = np.array([[margin, margin], [1 - margin, margin], [1 - margin, 1 - margin], [margin, 1 - margin]])
    cells = np.array([[column, row] for row in range(4) for column in range(6)], float)
    corners = (cells[:, None] + square).reshape(-1, 1, 2)
    return cv2.perspectiveTransform(corners, to_quad).reshape(24, 4, 2)


#: Shop chips: opaque mixes of the invented paints near the colors of wood, parts by volume.
CHIP_MIXES = (
    {"Ochre": 5, "Raw Umber": 3, "Warm White": 6},
    {"Burnt Umber": 3, "Ochre": 3, "Warm White": 6},
    {"Raw Umber": 3, "Burnt Umber": 2, "Warm White": 4},
    {"Ochre": 6, "Burnt Umber": 2, "Warm White": 9},
    {"Burnt Umber": 5, "Raw Umber": 4, "Warm White": 1},
    {"Ochre": 6, "Red Oxide": 1, "Warm White": 3},
)


def chips() -> list[Surface]:
    """One surface for each of `CHIP_MIXES`, painted so thick that nothing shines through."""
    return [plain(dried(flat(0.5), [Wash(mixed(parts), 1.0, 1, thickness=20.0)])) for parts in CHIP_MIXES]
