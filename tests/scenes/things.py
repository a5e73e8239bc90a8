"""What lies on the bench: cards, and things that are easily taken for one."""

import numpy as np

from tests.scenes.spectra import FloatArray, bump, edge, flat
from tests.scenes.surface import Surface, mottled, plain, smooth_noise

#: White, gray and black of the three-step card.
THREE_STEPS = (0.89, 0.18, 0.035)
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
