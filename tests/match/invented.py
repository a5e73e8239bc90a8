"""Many invented paints, for the search: drawn from the wash model's own prior, a little narrowed."""

import numpy as np

from colormatch.color.spectra import reflectance_from_lab
from colormatch.records import FloatArray
from colormatch.wash.film import Body, Film, bare, film, thickness
from colormatch.wash.optics import Optics, optics_of
from colormatch.wash.paint import PRIOR_MEAN, PRIOR_SIGMA

RATIOS = 1 / np.array(
    [1, 1.25, 4 / 3, 1.5, 5 / 3, 2, 2.5, 3, 3.5, 4, 4.5, 5, 6, 7, 8, 9, 10, 11, 13, 15, 17, 19, 21, 25]
)
GROUND: Body = bare(reflectance_from_lab((72.0, 8.0, 24.0)))


def invented_washes(paints: int, coats: int = 3, seed: int = 0) -> tuple[Film, FloatArray, FloatArray]:
    """Films of ``paints`` x 24 ratios x coats, and the paint and the coats of each."""
    rng = np.random.default_rng(seed)
    narrowed = np.array([0.3] * 6 + [0.8, 1, 1, 1, 1, 0.5, 1])
    theta = PRIOR_MEAN + rng.standard_normal((paints, PRIOR_MEAN.size)) * PRIOR_SIGMA * narrowed
    theta[:, :6] += np.linspace(0.9, -1.2, 6) * rng.uniform(0, 1.5, paints)[:, None]  # most pigments take blue first
    optics = optics_of(theta)
    paint = np.repeat(np.arange(paints), len(RATIOS) * coats)
    times = np.tile(np.arange(1, coats + 1), paints * len(RATIOS))
    fraction = np.tile(np.repeat(RATIOS, coats), paints)
    each = Optics(*(values[paint] for values in optics))
    return film(each.K, each.S, thickness(fraction, times.astype(float), each.gamma, each.rho), each.k2), paint, times
