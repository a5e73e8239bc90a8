"""Predict the dried color of a recipe, with its uncertainty.

All random draws are made once (:class:`Draws`) and shared by all candidates. Differences between two recipes are then
not due to luck, and common errors cancel.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.color.spectra import lab_from_reflectance, reflectance_from_lab
from colormatch.errors import PaintError
from colormatch.records import SIGMA_PER_RADIUS, FloatArray, Lab, Layer
from colormatch.wash.carried import CARRIED_ERROR, MODEL_ERROR, Carried, place_of
from colormatch.wash.clear import ClearCoat, seal
from colormatch.wash.film import TYPICAL_INNER, Body, covered, film, lay, read_through, seen, thickness
from colormatch.wash.optics import Optics, mix, optics_of
from colormatch.wash.paint import REFITS, PaintModel, hand_scatter

#: Most layers of one recipe, including those over the whole piece.
MOST_LAYERS = 8
#: Draws needed for an expected ΔE stable enough to rank by; each refit of a paint is used equally often.
DRAWS = 4 * REFITS
#: Standard deviation of the natural log of what a paint's parts count for in a mix. Volumes decide if its absorption
#: and scattering are known one by one; from swatches of each paint alone they hardly are. Chosen on half of the real
#: mixes.
MIX_ERROR = 0.85
#: Paints of a mix that deviate each for itself.
_MIXED = 8
#: Candidates per chunk; their spectra then take some tens of megabytes.
_CHUNK = 32


@dataclass(frozen=True, eq=False)
class Draws:
    """Common random numbers: standard normal draws shared by every candidate of a ranking."""

    #: (m, 3) error of the reading of the ground.
    ground: FloatArray
    #: (m, 8) deviation of the thickness of each layer; the first column is for the topmost layer.
    thickness: FloatArray
    #: (m, 3) error of the model.
    model: FloatArray
    #: (m, 8) deviation of what each paint of a mix counts for, in the order of their names.
    parts: FloatArray


def draw_normals(rng: np.random.Generator, draws: int = DRAWS) -> Draws:
    """Make them; ``draws`` should be a multiple of 30, so that each refit of a paint is used equally often."""
    return Draws(
        rng.standard_normal((draws, 3)),
        rng.standard_normal((draws, MOST_LAYERS)),
        rng.standard_normal((draws, 3)),
        rng.standard_normal((draws, _MIXED)),
    )


def no_luck(draws: int) -> Draws:
    """Draws in which everything comes out as it usually does."""
    return Draws(*(np.zeros((draws, wide)) for wide in (3, MOST_LAYERS, 3, _MIXED)))


def predict(
    models: Mapping[str, PaintModel],
    layers: Sequence[Layer],
    ground: Lab,
    ground_uncertainty: float,
    chances: Draws,
    clear: ClearCoat | None = None,
) -> tuple[FloatArray, FloatArray]:
    """:func:`predict_many` for one recipe: lab (3,) and draws (m, 3)."""
    lab, draws = predict_many(models, [layers], ground, ground_uncertainty, chances, clear)
    return lab[0], draws[0]


def predict_many(
    models: Mapping[str, PaintModel],
    recipes: Sequence[Sequence[Layer]],
    ground: Lab,
    ground_uncertainty: float,
    chances: Draws,
    clear: ClearCoat | None = None,
    painted: Sequence[Layer] = (),
    then: Sequence[Layer] = (),
    *,
    closed: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Predict the dried colors of recipes over one ground.

    Parameters
    ----------
    models : mapping of PaintModel by name
    recipes : sequence of c recipes
        Each a sequence of layers, lowest first; empty leaves the ground unchanged.
    ground : Lab
        Its color in the state in which it will be painted.
    ground_uncertainty : float; ΔE00, 90 % radius
    chances : Draws
    clear : ClearCoat, optional
        Coat over everything.
    painted : sequence of Layer
        Washes already on the ground; its color was read through their surface.
    then : sequence of Layer
        Layers over every recipe and the wood around it alike, lowest first. The model has the same error for both, so
        it adds nothing to a difference and is left out.
    closed : bool
        A finish has closed the ground's surface: a coat over it wets nothing.

    Returns
    -------
    lab : (c, 3) float; best estimate
    draws : (c, m, 3) float; equally likely colors

    Raises
    ------
    PaintError
        A recipe names a paint without a model, or has more than 8 layers with what goes over it.
    """
    count = len(chances.ground)
    lab, draws = np.empty((len(recipes), 3)), np.empty((len(recipes), count, 3))
    spread = np.concatenate([np.zeros((1, 3)), chances.ground])  # the first is the best estimate
    spread = spread * ground_uncertainty * SIGMA_PER_RADIUS / axis_weights(np.asarray(ground))
    grounds = reflectance_from_lab(np.asarray(ground) + spread)
    paints = {name: optics_of(_estimate_and_draws(models, name, count)) for name in _names([painted, then, *recipes])}
    # A finish is taken for a coat of the kind that goes over it, which then changes nothing but the amber.
    inner = TYPICAL_INNER if clear is None else _coats(clear, count)[:, 0]
    under = covered(grounds[None], float(closed), inner)
    for layer in painted:
        under = _lay_level([layer], paints, under, np.zeros(count), np.zeros((count, _MIXED)))
    under = read_through(grounds[None], under)

    by_height: dict[int, list[int]] = {}
    for i, recipe in enumerate(recipes):
        by_height.setdefault(len(recipe) + len(then), []).append(i)
    for height, members in by_height.items():
        if height > MOST_LAYERS:
            raise PaintError(f"A recipe has {height} layers.", f"Use at most {MOST_LAYERS}.")
        for start in range(0, len(members), _CHUNK):
            some = members[start : start + _CHUNK]
            body = Body(*(np.broadcast_to(values, (len(some), *values.shape[1:])) for values in under))
            for level in range(height):
                body = _lay_level(
                    [(*recipes[i], *then)[level] for i in some],
                    paints,
                    body,
                    chances.thickness[:, height - 1 - level],
                    chances.parts,
                )
            outcome = _finish(body, clear, count)
            lab[some], draws[some] = outcome[:, 0], outcome[:, 1:]
            if height > len(then):
                alone = not (painted or then or clear)
                for i in some:
                    shift, unknown = _missed(models, recipes[i], ground, lab[i], carry=alone)
                    lab[i] += shift[0]
                    draws[i] += shift[1 + np.arange(count) % (len(shift) - 1)] + chances.model * unknown
    return lab, draws


def _names(recipes: Sequence[Sequence[Layer]]) -> set[str]:
    return {part.paint for recipe in recipes for layer in recipe for part in layer.paints}


def model_of(models: Mapping[str, PaintModel], name: str) -> PaintModel:
    """Look up the model of a paint.

    Raises
    ------
    PaintError
        The paint has no model.
    """
    if name not in models:
        raise PaintError(f"{name} has no swatch.", "Paint one swatch of it, let it dry and measure it.")
    return models[name]


def _missed(
    models: Mapping[str, PaintModel], recipe: Sequence[Layer], ground: Lab, lab: FloatArray, *, carry: bool
) -> tuple[FloatArray, FloatArray]:
    """What the model misses of a recipe, CIELAB: the part that swatches show (1 + m, 3), and the rest, (3,).

    The rest is a standard deviation: that of the least known paint. With `carry`, one wash of one paint is corrected by
    the paint's swatches.
    """
    names = _names([recipe])
    spread = max(models[name].spread for name in names)
    amplitude = spread * CARRIED_ERROR * float(delta_e(lab, np.asarray(ground)))
    carried = Carried.nothing(REFITS)
    if carry and len(recipe) == len(names) == 1:
        carried = models[names.pop()].carried
    shift, left = carried.at(place_of(recipe[0].paint_fraction, recipe[0].coats, ground))
    weights = axis_weights(lab)
    return amplitude * shift / weights, np.hypot(spread * MODEL_ERROR, amplitude * left) / weights


def _estimate_and_draws(models: Mapping[str, PaintModel], name: str, count: int) -> FloatArray:
    """(1 + m, 11): best estimate, then the refits in turn."""
    model = model_of(models, name)
    return np.concatenate([model.theta[None], model.draws[np.arange(count) % len(model.draws)]])


def _lay_level(
    layers: Sequence[Layer], paints: Mapping[str, Optics], under: Body, luck: FloatArray, parts: FloatArray
) -> Body:
    """Lay one layer of each of c recipes over their bodies."""
    stirred = Optics(*(np.stack(values) for values in zip(*(_stirred(v, paints, parts) for v in layers), strict=True)))
    fraction = np.array([layer.paint_fraction for layer in layers])[:, None]
    coats = np.array([layer.coats for layer in layers])[:, None]
    x = thickness(fraction, coats, stirred.gamma, stirred.rho)
    x = x * np.exp(hand_scatter(fraction) * np.concatenate([[0.0], luck]))
    return lay(film(stirred.K, stirred.S, x, stirred.k2), under)


def _stirred(layer: Layer, paints: Mapping[str, Optics], parts: FloatArray) -> Optics:
    """Optics of a layer's paint or mix: by its parts, and in each draw by what they count for there."""
    place = {name: i % _MIXED for i, name in enumerate(sorted({part.paint for part in layer.paints}))}
    counts = np.exp(MIX_ERROR * np.concatenate([np.zeros((1, _MIXED)), parts]))  # (1 + m, 8)
    return mix(
        [paints[part.paint] for part in layer.paints],
        np.stack([part.parts * counts[:, place[part.paint]] for part in layer.paints]),
    )


def _finish(body: Body, clear: ClearCoat | None, count: int) -> FloatArray:
    """(c, 1 + m, 3) color of bodies, with their clear coat."""
    if clear is None:
        return lab_from_reflectance(seen(body))
    return lab_from_reflectance(seal(_coats(clear, count), body))


def _coats(clear: ClearCoat, count: int) -> FloatArray:
    """(1 + m, 2): best estimate of a coat, then its draws in turn."""
    return np.concatenate([clear.values[None], clear.draws[np.arange(count) % len(clear.draws)]])
