"""A simulated 24-patch chart: measured reflectances of a real one, laid out as such charts are."""

from functools import cache

import numpy as np

from tests.scenes.camera import Camera, Lighting
from tests.scenes.scene import Photograph, Scene, Thing, rectangle
from tests.scenes.spectra import FloatArray, colour_science, flat
from tests.scenes.surface import Surface
from tests.scenes.woods import MIDDLE_WOOD, board

#: Texture pixels of a patch, of the gap between patches, and of the black rim around them.
PATCH, GAP, RIM = 30, 3, 6


@cache
def chart_reflectances(data: str = "BabelColor Average") -> FloatArray:
    """(24, 81) measured reflectances, row by row, from colour-science."""
    colour = colour_science()
    shape = colour.SpectralShape(380, 780, 5)
    spectra = colour.SDS_COLOURCHECKERS[data].values()
    return np.stack([np.nan_to_num(spectrum.copy().align(shape).values) for spectrum in spectra])


def chart_surface(data: str = "BabelColor Average", gap: int = GAP, rim: int = RIM) -> Surface:
    """The chart with its black rim."""
    height, width = (2 * rim + count * (PATCH + gap) - gap for count in (4, 6))
    tone = np.full((height, width), 24)
    for index in range(24):
        row, column = divmod(index, 6)
        top, left = rim + row * (PATCH + gap), rim + column * (PATCH + gap)
        tone[top : top + PATCH, left : left + PATCH] = index
    reflectances = np.concatenate([chart_reflectances(data), flat(0.03)[None]])
    return Surface(np.eye(25, dtype=np.float32)[tone], reflectances)


def chart_photograph(
    angle: float,
    rng: np.random.Generator,
    *,
    center: tuple[float, float] = (400, 300),
    light: str = "D65",
    chart: bool = True,
    mirrored: bool = False,
) -> tuple[Photograph, FloatArray]:
    """A chart on wood, turned by `angle` degrees, and the (4, 2) corners of its block of patches."""
    size = np.array([390.0, 264.0])
    surface = chart_surface()
    if mirrored:
        surface = Surface(np.ascontiguousarray(surface.shares[:, ::-1]), surface.reflectances)
    wood = board(MIDDLE_WOOD, (600, 800), rng)
    things = [Thing("wood", "wood", wood, rectangle((400, 300), (800, 600)))]
    if chart:
        things.append(Thing("chart", "chart", surface, rectangle(center, tuple(size), angle)))
    rim = 2 * RIM * size / [surface.shape[1], surface.shape[0]]
    photograph = Scene(800, 600, tuple(things)).photograph(
        Lighting(light), Camera.typical(rng, name="shifted", blur=0.6), rng
    )
    return photograph, rectangle(center, tuple(size - rim), angle)
