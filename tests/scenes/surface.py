"""A surface: at each point, shares of a few reflectances."""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from tests.scenes.spectra import FloatArray, reflectance_to_lab


@dataclass(frozen=True, eq=False)
class Surface:
    """A flat piece of something, seen from straight above.

    Tones mix by area, so everything linear in reflectance (a camera's raw values, XYZ, a mean) is computed for each
    tone once and then mixed: exact, and no image of spectra is ever held.
    """

    #: (h, w, tones) float32: share of each tone times the local brightness.
    shares: FloatArray
    #: (tones, 81): reflectance of each tone.
    reflectances: FloatArray

    @property
    def shape(self) -> tuple[int, int]:
        return self.shares.shape[0], self.shares.shape[1]

    def mix(self, responses: FloatArray) -> FloatArray:
        """(h, w, n) float32 mix of what each tone responds, (tones, n)."""
        return self.shares @ responses.astype(np.float32)

    def mean_reflectance(self, mask: FloatArray | None = None) -> FloatArray:
        """(81,) mean over the surface, or over the pixels weighted by `mask` (h, w)."""
        weights = np.ones(self.shape) if mask is None else mask
        return np.einsum("hw,hwt->t", weights / weights.sum(), self.shares, dtype=float) @ self.reflectances

    def lab(self, mask: FloatArray | None = None) -> FloatArray:
        """(3,) CIELAB of the mean reflectance."""
        return reflectance_to_lab(self.mean_reflectance(mask))

    def coated(self, coat: Callable[[FloatArray], FloatArray]) -> "Surface":
        """The same texture after each tone went through `coat`, (tones, 81) to (tones, 81)."""
        return Surface(self.shares, coat(self.reflectances))

    def overlaid(self, other: "Surface", mask: FloatArray) -> "Surface":
        """`other` in place of this surface where `mask` (h, w) is 1; a soft mask mixes by area."""
        mask = mask[..., None].astype(np.float32)
        return Surface(
            np.concatenate([self.shares * (1 - mask), other.shares * mask], axis=2),
            np.concatenate([self.reflectances, other.reflectances]),
        )


def plain(reflectance: FloatArray, shape: tuple[int, int] = (64, 64)) -> Surface:
    """One even tone."""
    return Surface(np.ones((*shape, 1), np.float32), np.atleast_2d(reflectance))


def smooth_noise(shape: tuple[int, int], cells: tuple[float, float], rng: np.random.Generator) -> FloatArray:
    """(h, w) float32 noise of standard deviation about 1 that changes over `cells` pixels down and across."""
    grid = tuple(max(2, round(size / cell)) + 2 for size, cell in zip(shape, cells, strict=True))
    coarse = rng.standard_normal(grid, dtype=np.float32)
    return cv2.resize(coarse, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)


def mottled(
    reflectance: FloatArray, shape: tuple[int, int], rng: np.random.Generator, *, depth: float, cell: float
) -> Surface:
    """One tone whose brightness wanders by `depth` (standard deviation) over `cell` pixels."""
    brightness = np.clip(1 + depth * smooth_noise(shape, (cell, cell), rng), 0.2, 1.8)
    return Surface(brightness[..., None], np.atleast_2d(reflectance))


def blot(
    shape: tuple[int, int],
    center: tuple[float, float],
    radii: tuple[float, float],
    rng: np.random.Generator,
    *,
    roughness: float = 0.25,
    softness: float = 6.0,
    stretch: float = 1.0,
) -> FloatArray:
    """(h, w) mask of an irregular patch.

    Parameters
    ----------
    center, radii : pixels, x and y
    roughness : how far the outline wanders, as a fraction of the radius
    softness : pixels over which the edge fades
    stretch : how much longer the outline's bays are along x than along y
    """
    y, x = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
    distance = np.hypot((x - center[0]) / radii[0], (y - center[1]) / radii[1])
    size = min(radii)
    outline = sum(
        weight * smooth_noise(shape, (size * cell, size * cell * stretch), rng)
        for weight, cell in ((0.7, 0.7), (0.3, 0.25), (0.06, 0.08))
    )
    return np.clip((1 - distance + roughness * outline) * size / max(softness, 1.0) + 0.5, 0, 1)
