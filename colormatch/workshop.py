"""Prepare a shelf for matching: open it, fit its paints, cache the fits."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.errors import BadInput, PaintError, check_type
from colormatch.records import (
    FloatArray,
    Ground,
    Lab,
    Layer,
    Limits,
    Paint,
    Part,
    Shelf,
    Swatch,
    Task,
    name_key,
    named,
)

if TYPE_CHECKING:
    from colormatch.library.store import Library
    from colormatch.match.grid import WashGrid
    from colormatch.wash.paint import PaintModel


def fitted_models(
    shelf: Shelf, library: Library | None = None, progress: Callable[[int, int], None] | None = None
) -> dict[str, PaintModel]:
    """Models of all paints with swatches, from the library's cache where possible.

    Parameters
    ----------
    shelf : Shelf
    library : Library, optional
        Cache of fits, by the content they were computed from, so that no entry is ever stale.
    progress : callable, optional
        Called with the number of finished paints and of all, before each paint and after the last.
    """
    from colormatch.wash.paint import PaintModel, fit_key, fit_paint

    models: dict[str, PaintModel] = {}
    fresh: dict[str, bytes] = {}
    measured = [(paint, swatches) for paint in shelf.paints if (swatches := shelf.of(paint.name))]
    for done, (paint, swatches) in enumerate(measured):
        if progress:
            progress(done, len(measured))
        key = fit_key(swatches, paint.kind)
        kept = library.remembered(key) if library else None
        if kept is None:
            models[paint.name] = fit_paint(swatches, paint.kind)
            fresh[key] = models[paint.name].to_bytes()
        else:
            models[paint.name] = PaintModel.from_bytes(kept)
    if progress:
        progress(len(measured), len(measured))
    if library and fresh:
        library.remember(fresh)
    return models


@dataclass(frozen=True, eq=False)
class Workshop:
    """A shelf ready for matching."""

    shelf: Shelf
    #: Model of every paint with swatches, by name.
    models: Mapping[str, PaintModel]
    #: Whether the shelf is the shipped example's, because the library has no paint yet.
    lent: bool = False

    @classmethod
    def of(cls, shelf: Shelf) -> Workshop:
        """Fit the paints of a shelf made in memory; no library is read or written.

        Examples
        --------
        >>> from colormatch.records import Lab, Paint, Swatch
        >>> ochre = Swatch("Ochre", 1, 3, 1, "light wood", Lab(75, 6, 20), Lab(66, 12, 34))
        >>> Workshop.of(Shelf((Paint("Ochre"),), (ochre,)))
        Workshop(1 paints, 1 swatches, 0 clear coats; 1 fitted)
        """
        check_type(shelf, Shelf, "shelf")
        return cls(shelf, fitted_models(shelf))

    def __repr__(self) -> str:
        return f"Workshop({repr(self.shelf)[6:-1]}; {len(self.models)} fitted{', lent' if self.lent else ''})"


def open_workshop(folder: Path | None = None, progress: Callable[[int, int], None] | None = None) -> Workshop:
    """Open a library and fit its paints; with an empty library, use the starter's shelf, marked as lent.

    Raises
    ------
    LibraryError
        See `Library.open`.
    """
    from colormatch.library.store import Library

    library = Library.open(folder)
    shelf, starter = _shelf_of(library)
    return Workshop(shelf, fitted_models(shelf, library, progress), starter)


def shelf_in_use(folder: Path | None = None) -> tuple[Shelf, bool]:
    """A library's shelf, or the starter's if it has no paint; and whether it is the starter's."""
    from colormatch.library.store import Library

    return _shelf_of(Library.open(folder))


def _shelf_of(library: Library) -> tuple[Shelf, bool]:
    from colormatch.library.starter import starter_shelf

    shelf = library.shelf()
    return (shelf, False) if shelf.paints else (starter_shelf(), True)


def paint_named(shelf: Shelf, name: str) -> Paint:
    """Find a paint by name, ignoring capitals and spaces.

    Raises
    ------
    PaintError
        No such paint is on the shelf.
    """
    paint = named(shelf.paints, name)
    if paint is not None:
        return paint
    known = ", ".join(paint.name for paint in shelf.paints) or "none"
    raise PaintError(f"The shelf has no paint named {name}.", f"Choose one of: {known}.")


def rounding_cost(workshop: Workshop, layers: Sequence[Layer], measured: Sequence[Layer], ground: Lab) -> float:
    """ΔE00 between a recipe as stated and as measured out, over a ground.

    Raises
    ------
    PaintError
        A paint has no swatches.
    """
    for name in {part.paint for layer in layers for part in layer.paints} - set(workshop.models):
        raise PaintError(f"{name} has no swatches, so its color is unknown.", "Measure a swatch of it first.")
    stated, real = (dried(workshop, recipe, np.asarray([ground])) for recipe in (layers, measured))
    return float(delta_e(stated, real)[0])


def starter_workshop() -> Workshop:
    """Workshop of the shipped example's shelf, without a library."""
    from colormatch.library.starter import starter_shelf

    shelf = starter_shelf()
    return Workshop(shelf, fitted_models(shelf), lent=False)


def resolve_paint_names(limits: Limits, shelf: Shelf) -> Limits:
    """Limits with paint and clear coat names spelled as on the shelf, matched without regard to capitals and spaces.

    Raises
    ------
    PaintError
        A paint is not on the shelf.
    """
    then = tuple(resolve_layer(layer, shelf) for layer in limits.then)
    paints = tuple(paint_named(shelf, name).name for name in limits.paints)
    clear = named(shelf.clear_coats, limits.clear)
    return replace(limits, paints=paints, then=then, clear=clear.name if clear else limits.clear)


def resolve_layer(layer: Layer, shelf: Shelf) -> Layer:
    """A wash with its paint names spelled as on the shelf.

    Raises
    ------
    PaintError
        A paint is not on the shelf.
    """
    return replace(
        layer, paints=tuple(shelf.part(paint_named(shelf, part.paint).name, part.parts) for part in layer.paints)
    )


def offered(workshop: Workshop, limits: Limits | None) -> tuple[Shelf, Limits]:
    """Select the paints for a ranking, and resolve the names in its limits.

    Invented paints are left out if the shelf has the user's own, unless the limits allow them or name them.

    Raises
    ------
    PaintError
        A paint in the limits is not on the shelf.
    """
    allowed = resolve_paint_names(limits or Limits(), workshop.shelf)
    if allowed.invented:
        return workshop.shelf, allowed
    over = [part.paint for layer in allowed.then for part in layer.paints]
    return workshop.shelf.without_invented({*allowed.paints, *over}), allowed


def example_paint_notice(workshop: Workshop, shelf: Shelf) -> list[str]:
    """Notice shown above a ranking when example paints were used or left out."""
    if workshop.lent:
        return ["Your library has no paints yet: these are the invented paints of the shipped example."]
    number = len(workshop.shelf.paints) - len(shelf.paints)
    paints = "invented paint" if number == 1 else f"{number} invented paints"
    said = f"The {paints} of the example are left out beside your own paints until you allow them."
    return [said] * (number > 0)


def dried(workshop: Workshop, layers: Sequence[Layer], grounds: FloatArray) -> FloatArray:
    """(n, 3) CIELAB; best estimate of a recipe's dried color over (n, 3) CIELAB grounds."""
    from colormatch.color.spectra import lab_from_reflectance, reflectance_from_lab
    from colormatch.match.finish import film_of_layer
    from colormatch.wash.film import bare, lay, seen

    body = bare(reflectance_from_lab(grounds))
    for layer in layers:
        body = lay(film_of_layer(workshop.models, layer), body)
    return lab_from_reflectance(seen(body))


# --- grounds ---------------------------------------------------------------------------------------------------------


def known_grounds(library: Library) -> list[Ground]:
    """All named woods and cards, in alphabetical order: the library's grounds, and the grounds of swatches.

    If several share a name, ignoring capitals and spaces, a ground wins over a swatch, and a later swatch over an
    earlier one.
    """
    first: dict[str, Ground] = {}
    swatches = [stored.record for stored in reversed(library.all(Swatch))]
    on_swatches = [Ground(s.ground, s.ground_lab, s.uncertainty, s.state) for s in swatches if s.ground.strip()]
    for ground in (*(stored.record for stored in library.all(Ground)), *on_swatches):
        first.setdefault(name_key(ground.name), ground)
    return [first[key] for key in sorted(first)]


def ground_named(library: Library, name: str) -> Ground:
    """Find a ground by name, ignoring capitals and spaces.

    Raises
    ------
    BadInput
        The name is unknown.
    """
    ground = named(known_grounds(library), name)
    if ground is not None:
        return ground
    raise BadInput(f"The color of the ground {name} is not known yet.", "Give it as L,a,b, for example 74,6,20.")


# --- one paint --------------------------------------------------------------------------------------------------------


def grid_over(workshop: Workshop, paint: str, ground: Lab, uncertainty: float) -> WashGrid:
    """Grid of ratio by coats for one paint over a wood.

    Parameters
    ----------
    workshop : Workshop
    paint : str
    ground : Lab
    uncertainty : float
        Uncertainty of the ground: ΔE00, 90 % radius.

    Raises
    ------
    PaintError
        The paint has no swatch.
    """
    from colormatch.match.grid import wash_grid
    from colormatch.match.problem import MatchProblem

    if paint not in workshop.models:
        raise PaintError(f"{paint} has no swatch yet.", "Paint one swatch of it, let it dry and add it.")
    task = Task(ground, ground, ground_uncertainty=uncertainty)
    return wash_grid(MatchProblem.of(task, workshop.shelf, workshop.models, Limits()), paint)


@dataclass(frozen=True)
class FitError:
    """Error of a paint's model at one of the swatches it was learned from."""

    swatch: Swatch
    #: Model's prediction for the swatch at nominal film thickness.
    modeled: Lab
    #: ΔE00 between them.
    delta_e: float
    #: Direction of the error relative to the swatch, in words: "a touch too light".
    off: str


def fit_errors(workshop: Workshop, paint: str) -> tuple[FitError, ...]:
    """Errors of a paint's model at its swatches, in the library's order; empty for a paint without swatches."""
    from colormatch.color.words import describe_off

    found = []
    for swatch in workshop.shelf.of(paint):
        layer = Layer((Part(paint),), swatch.paint_fraction, swatch.coats)
        modeled = Lab.from_array(dried(workshop, [layer], np.array([swatch.ground_lab]))[0])
        difference = float(delta_e(modeled, swatch.lab))
        found.append(FitError(swatch, modeled, difference, describe_off(modeled, swatch.lab)))
    return tuple(found)
