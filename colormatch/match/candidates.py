"""Washes allowed by a shelf and the user's limits."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from colormatch.errors import BadInput, NothingToRank, PaintError
from colormatch.match.problem import SAME_FRACTION
from colormatch.match.search import IntArray
from colormatch.records import BoolArray, FloatArray, Layer, Limits, Part, Shelf, name_key
from colormatch.wash.film import Film, film, thickness
from colormatch.wash.optics import Optics, mix, optics_of
from colormatch.wash.paint import PaintModel
from colormatch.wash.ratio import ROUNDING

#: Ratios of paint to water that a spoon can measure, from full strength to 1:24, a barely visible tint.
RATIOS: tuple[tuple[int, int], ...] = (
    *((1, 0), (4, 1), (3, 1), (2, 1), (3, 2), (1, 1), (2, 3), (1, 2), (2, 5), (1, 3), (2, 7)),
    *((1, water) for water in (4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 24)),
)
#: Parts of two paints in a mix.
PROPORTIONS: tuple[tuple[int, int], ...] = ((1, 3), (1, 2), (1, 1), (2, 1), (3, 1))
#: Most coats of all layers together; more fill the grain and look painted (common practice, no source).
MOST_COATS = 4
#: Highest limit on the coats of one wash.
MOST_COATS_OF_ONE = 10
#: Measures in a batch from which their number no longer matters.
_COUNTLESS = 1e9
#: Pairs computed at a time; their films take some tens of megabytes.
_MIXES = 100


def _fraction(ratio: tuple[int, int]) -> float:
    return ratio[0] / sum(ratio)


#: Paint fractions with one part on one side: a single measure, filled once or several times.
_EASY = frozenset(round(_fraction(r), 4) for r in RATIOS if min(r) <= 1)


def is_easy(paint_fraction: float) -> bool:
    """Whether one measure is enough for a ratio: full, 1:x or x:1."""
    return round(paint_fraction, 4) in _EASY


def measurable(shares: FloatArray, measures: int) -> BoolArray:
    """Find washes that some batch of whole measures reproduces.

    Parameters
    ----------
    shares : (n, k) float
        Share of each ingredient; zero if absent.
    measures : int; 1 or more
        Most measures in one batch.

    Returns
    -------
    (n,) bool; True if rounding to measures changes every share by at most 3 %

    Examples
    --------
    Five spoons hold one of paint and four of water, but not 1:6.

    >>> measurable(np.array([[1 / 5, 4 / 5], [1 / 7, 6 / 7]]), 5).tolist()
    [True, False]
    """
    there = shares > 0
    # With w measures each share is off by at most 1 / (2 w share), and the sum of k shares by k / 2w: from this w on,
    # every batch is accurate, so larger ones need not be tried.
    enough = there.sum(axis=1) * (1 / (ROUNDING * shares.min(axis=1, where=there, initial=1.0)) + 1)
    possible: BoolArray = measures >= enough
    for whole in range(1, math.ceil(min(measures, enough[~possible].max(initial=0.0))) + 1):
        filled = np.where(there, np.maximum(1, np.round(shares * whole)), 0)
        total = filled.sum(axis=1, keepdims=True)
        off = np.abs(filled / total / np.where(there, shares, 1) - 1).max(axis=1, where=there, initial=0.0)
        possible |= (off <= ROUNDING) & (total[:, 0] <= measures)
    return possible


def _measures(limits: Limits) -> int | None:
    """Most measures in one batch; None if any ratio is measurable."""
    if not limits.smallest_ml:
        return None
    return int(min(round(limits.batch_ml / limits.smallest_ml, 6), _COUNTLESS))


@dataclass(frozen=True, eq=False)
class Washes:
    """Washes as parallel arrays, with the film of each at the paints' best estimates."""

    #: Paints and mixes.
    mixes: tuple[tuple[Part, ...], ...]
    #: (n,) index of each wash's paint in ``mixes``.
    mix: IntArray
    #: (n,) paint fraction; below, number of coats.
    fraction: FloatArray
    coats: IntArray
    #: (n, 41) films.
    film: Film

    def __len__(self) -> int:
        return len(self.mix)

    def where(self, allowed: BoolArray) -> Washes:
        """Some of them, by a mask (n,)."""
        film = Film(*(values[allowed] for values in self.film))
        return Washes(self.mixes, self.mix[allowed], self.fraction[allowed], self.coats[allowed], film)

    def layer(self, place: int) -> Layer:
        """One wash by its index."""
        return Layer(self.mixes[self.mix[place]], float(self.fraction[place]), int(self.coats[place]))


def check_limits(limits: Limits) -> None:
    """Raise for invalid limits.

    Raises
    ------
    BadInput
    """
    if not 1 <= limits.coats <= MOST_COATS_OF_ONE or limits.coats != int(limits.coats):
        raise BadInput(f"{limits.coats} coats of a wash are outside the limits.", f"Allow 1 to {MOST_COATS_OF_ONE}.")
    for what, value in (("layers", limits.layers), ("paints in a mix", limits.mix)):
        if value not in (1, 2):
            raise BadInput(f"{value} {what} are outside the limits.", "Choose 1 or 2.")
    if not (math.isfinite(limits.smallest_ml) and limits.smallest_ml >= 0 and math.isfinite(limits.batch_ml)):
        raise BadInput(
            f"A smallest measure of {limits.smallest_ml:g} ml is impossible.", "Give zero or more milliliters."
        )
    if limits.batch_ml <= 0 or limits.batch_ml < limits.smallest_ml:
        raise BadInput(
            f"A batch of {limits.batch_ml:g} ml is too small for steps of {limits.smallest_ml:g} ml.",
            "Allow a larger batch, or use a smaller measure.",
        )
    if not 0 <= limits.grain_kept <= 1:
        raise BadInput(
            f"A share of {limits.grain_kept:g} of the grain is impossible.", "Give a share from 0 to 1, such as 0.5."
        )
    if limits.top < 1:
        raise BadInput(f"A list of {limits.top} recipes is empty.", "Ask for one or more.")


def usable_paints(shelf: Shelf, models: Mapping[str, PaintModel], limits: Limits) -> tuple[str, ...]:
    """Names of the paints to rank, in alphabetical order.

    Raises
    ------
    PaintError
        A limit names a paint that is not on the shelf, or one over the whole piece has no model.
    NothingToRank
        The limits leave no paint with a model.
    """
    known = {name_key(paint.name) for paint in shelf.paints}
    if not known:
        raise NothingToRank("The shelf has no paints.", "Add a paint and at least one measured swatch of it.")
    chosen = {name_key(name) for name in limits.paints} or known
    for name in limits.paints:
        if name_key(name) not in known:
            names = ", ".join(paint.name for paint in shelf.paints)
            raise PaintError(f"The shelf has no paint named {name}.", f"Choose from: {names}.")
    for layer in limits.then:
        for part in layer.paints:
            if part.paint not in models:
                raise PaintError(
                    f"{part.paint}, which goes over the whole piece, has no swatch.",
                    "Paint one swatch of it, let it dry and measure it.",
                )
    paints = [paint for paint in shelf.paints if name_key(paint.name) in chosen]
    # An amount that was never entered counts as some: the can is on the shelf.
    left = [paint for paint in paints if not limits.on_hand or paint.on_hand_ml is None or paint.on_hand_ml > 0]
    if not left:
        raise NothingToRank(
            "None of the chosen paints is on hand.", "Allow paints that have run out, or enter amounts."
        )
    usable = sorted(paint.name for paint in left if paint.name in models)
    if not usable:
        names = ", ".join(sorted(paint.name for paint in left))
        raise NothingToRank(
            f"There is no swatch of {names} yet.", "Paint one, let it dry and photograph it beside the gray card."
        )
    return tuple(usable)


def single_washes(
    names: Sequence[str], models: Mapping[str, PaintModel], shelf: Shelf, limits: Limits, weakest: float = 0.0
) -> Washes:
    """All measurable washes of one paint each, in the usual ratios and those of its swatches.

    Parameters
    ----------
    names : sequence of str; of paints with models
    weakest : float; smallest paint fraction
    """
    usual = [_fraction(ratio) for ratio in RATIOS]
    fractions = [merged_fractions(usual, [swatch.paint_fraction for swatch in shelf.of(name)]) for name in names]
    measures = _measures(limits)
    fractions = [some[(some >= weakest) & _possible(some, (1,), measures)] for some in fractions]
    places = np.repeat(np.arange(len(names)), [len(some) for some in fractions])
    paints = optics_of(np.stack([models[name].theta for name in names]))
    return _washes(
        tuple((shelf.part(name),) for name in names), paints, places, np.concatenate(fractions), limits.coats
    )


def mixed_washes(
    pairs: Sequence[tuple[str, str]], models: Mapping[str, PaintModel], shelf: Shelf, limits: Limits
) -> Iterator[Washes]:
    """All measurable washes of the given pairs of paints in simple parts, in chunks."""
    usual = np.array([_fraction(ratio) for ratio in RATIOS])
    measures = _measures(limits)
    possible = {parts: usual[_possible(usual, parts, measures)] for parts in PROPORTIONS}
    stirred_in = {parts: fractions for parts, fractions in possible.items() if len(fractions)}
    names = sorted({name for pair in pairs for name in pair})
    if not pairs:
        return
    paints = optics_of(np.stack([models[name].theta for name in names]))
    for start in range(0, len(pairs), _MIXES):
        part = pairs[start : start + _MIXES]
        places = np.array([[names.index(name) for name in pair] for pair in part])
        first, second = (Optics(*(values[column] for values in paints)) for column in places.T)
        for (some, others), fractions in stirred_in.items():
            mixes = tuple((shelf.part(one, float(some)), shelf.part(other, float(others))) for one, other in part)
            which = np.repeat(np.arange(len(part)), len(fractions))
            stirred = mix([first, second], [some, others])
            yield _washes(mixes, stirred, which, np.tile(fractions, len(part)), limits.coats)


def _possible(fractions: FloatArray, parts: Sequence[int], measures: int | None) -> BoolArray:
    """(n,) which paint fractions of a mix of parts are measurable."""
    if measures is None:
        return np.ones(len(fractions), dtype=bool)
    shares = [fractions * part / sum(parts) for part in parts]
    return measurable(np.stack([*shares, 1 - fractions], axis=1), measures)


def merged_fractions(usual: Sequence[float], own: Sequence[float]) -> FloatArray:
    """The usual paint fractions plus new ones from a paint's own swatches; strongest first."""
    new = {round(f, 4): f for f in own if all(abs(f - u) > SAME_FRACTION for u in usual)}
    return np.array(sorted([*usual, *new.values()], reverse=True))


def joined(several: Sequence[Washes]) -> Washes:
    """Concatenate lists of washes."""
    starts = np.cumsum([0, *(len(washes.mixes) for washes in several)])
    return Washes(
        tuple(mix for washes in several for mix in washes.mixes),
        np.concatenate([washes.mix + start for washes, start in zip(several, starts, strict=False)]),
        np.concatenate([washes.fraction for washes in several]),
        np.concatenate([washes.coats for washes in several]),
        Film(*(np.concatenate(values) for values in zip(*(washes.film for washes in several), strict=True))),
    )


def _washes(
    mixes: tuple[tuple[Part, ...], ...], paints: Optics, places: IntArray, fraction: FloatArray, most_coats: int
) -> Washes:
    coats = np.tile(np.arange(1, most_coats + 1), len(places))
    places, fraction = np.repeat(places, most_coats), np.repeat(fraction, most_coats)
    x = thickness(fraction, coats.astype(float), paints.gamma[places], paints.rho[places])
    # Single precision is four times faster here; finalists are recomputed in double precision.
    K, S, x, k2 = (v.astype(np.float32) for v in (paints.K[places], paints.S[places], x, paints.k2[places]))
    return Washes(mixes, places, fraction, coats, film(K, S, x, k2))
