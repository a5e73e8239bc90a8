"""Layers over the whole piece after the repair, on sound wood and repair alike: more washes, a clear coat, or
nothing.

The final difference is the one that counts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from colormatch.color.space import lab_from_xyz
from colormatch.color.spectra import XYZ_WEIGHTS, lab_from_reflectance
from colormatch.errors import PaintError
from colormatch.records import FloatArray, Layer, Shelf
from colormatch.wash.clear import ClearCoat, fit_clear, seal
from colormatch.wash.film import Body, Film, film, lay, seen, thickness
from colormatch.wash.optics import Optics, mix, optics_of
from colormatch.wash.paint import PaintModel, hand_scatter
from colormatch.wash.predict import model_of


def optics_of_layer(models: Mapping[str, PaintModel], layer: Layer) -> Optics:
    """Best estimate of a layer's paint or mix."""
    paints = [optics_of(model_of(models, part.paint).theta) for part in layer.paints]
    return mix(paints, [part.parts for part in layer.paints])


def film_of_layer(models: Mapping[str, PaintModel], layer: Layer, thick: float = 1.0) -> Film:
    """Best estimate of a layer's film, with its thickness multiplied by ``thick``."""
    paint = optics_of_layer(models, layer)
    x = thick * thickness(layer.paint_fraction, layer.coats, paint.gamma, paint.rho)
    return film(paint.K, paint.S, x, paint.k2)


def brushed(models: Mapping[str, PaintModel], layer: Layer, ground: Body) -> tuple[FloatArray, FloatArray]:
    """Best estimates of a layer's dried color over grounds (n, 41), and of the same layer brushed on thicker.

    Returns
    -------
    usual, thicker : (n, 3) float; CIELAB
        Thicker by one standard deviation from one application to the next.
    """
    usual, thicker = (
        lab_from_reflectance(seen(lay(film_of_layer(models, layer, factor), ground)))
        for factor in (1.0, 1.0 + float(hand_scatter(layer.paint_fraction)))
    )
    return usual, thicker


def clear_coat_named(shelf: Shelf, name: str) -> ClearCoat | None:
    """Model of the clear coat with that name, learned from its pairs; None for an empty name.

    Raises
    ------
    PaintError
        The shelf has no pair of it.
    """
    if not name:
        return None
    pairs = [pair for pair in shelf.clear_coats if pair.name == name]
    if not pairs:
        known = ", ".join(sorted({pair.name for pair in shelf.clear_coats})) or "none"
        raise PaintError(
            f"The clear coat {name} has not been measured.",
            f"Measure one spot before and after it, or choose a measured one ({known}).",
        )
    return fit_clear(pairs)


@dataclass(frozen=True, eq=False)
class Ending:
    """From a body of wood and wash to its final color; best estimates."""

    #: Films over it, lowest first, each without leading axes.
    films: tuple[Film, ...] = ()
    clear: ClearCoat | None = None

    @classmethod
    def of(cls, models: Mapping[str, PaintModel], then: Sequence[Layer], clear: ClearCoat | None) -> Ending:
        """Make the ending of a job.

        Parameters
        ----------
        models : mapping of PaintModel by name; every paint of ``then``
        then : sequence of Layer; lowest first
        clear : ClearCoat or None
        """
        return cls(tuple(film_of_layer(models, layer) for layer in then), clear)

    @property
    def cover_darkens(self) -> bool:
        """Whether more air surface below makes the final color darker; see :meth:`xyz`."""
        return self.clear is None

    def as_type(self, real: type[np.floating]) -> Ending:
        """The same in another precision."""
        return Ending(tuple(Film(*(v.astype(real) for v in one)) for one in self.films), self.clear)

    def xyz(self, body: Body) -> FloatArray:
        """XYZ under D65 of a finished body.

        Parameters
        ----------
        body : Body; (..., 41)

        Returns
        -------
        (..., 3) float; Y of white = 1

        Notes
        -----
        Monotone in every argument, which the search relies on. Each value increases with the body's reflectance: a film
        over it is monotone (R0 + T² R / (1 - R0 R)), so is a surface, and the weights are positive. An air surface
        absorbs light, so more cover or inner reflectance gives less. Under a clear coat the air surface is gone and
        cover only removes the haze of bare wood, so more cover gives more.
        """
        for one in self.films:
            body = lay(one, body)
        reflectance = seen(body) if self.clear is None else seal(self.clear.values, body)
        return reflectance @ XYZ_WEIGHTS.astype(reflectance.dtype)

    def lab(self, body: Body) -> FloatArray:
        """(..., 3) CIELAB of a finished body."""
        return lab_from_xyz(self.xyz(body))
