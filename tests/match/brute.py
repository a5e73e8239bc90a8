"""Every stack of two washes compared, one upper wash after the other: what the search must agree with."""

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.match.finish import Ending
from colormatch.records import FloatArray
from colormatch.wash.film import Body, Film, lay


def brute_force(
    films: Film, ground: Body, ending: Ending, target: FloatArray, real: type[np.floating] = np.float64
) -> FloatArray:
    """(n, n) ΔE00 of lower wash (rows) under upper wash (columns)."""
    films = Film(*(values.astype(real) for values in films))
    under = lay(films, Body(*(np.asarray(values, dtype=real) for values in ground)))
    ending = ending.as_type(real)
    out = np.empty((len(films.cover), len(films.cover)), dtype=real)
    for upper in range(len(films.cover)):
        top = Film(*(values[upper] for values in films))
        out[:, upper] = delta_e(ending.lab(lay(top, under)).astype(real), np.asarray(target, dtype=real))
    return out
