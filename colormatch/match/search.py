"""Exact search for the recipes closest by CIEDE2000: one wash, or a second wash over a first.

Paints are at their best estimate here. Uncertainty follows for the finalists (:mod:`colormatch.match.rank`).

Two layers of 100 paints in 24 ratios and 1 to 3 coats are 52 million recipes. Branch and bound finds the closest
without examining most of them:

1. First washes with similar results are put into groups, and groups into larger groups.
2. A second wash over all of a group gives colors that lie in a box of XYZ: the layer algebra is monotone
   (:meth:`colormatch.match.finish.Ending.xyz`), so the group's darkest and lightest spectra give the box's corners.
3. :func:`box_bound` gives a lower bound for the ΔE00 in a box. Boxes that can't hold one of the best
   are left out; the others are opened, the most promising first.

The bound
---------
Write CIEDE2000 as x² + y² + z² + RT y z with x = ΔL/SL, y = ΔC'/SC, z = ΔH'/SH (Sharma, Wu, Dalal 2005, eq. 22; all k
are 1). Claim: for any two colors

    ΔE00² >= (ΔL/SL)² + κ (Δa² + Δb²) / SC².

(a) y² + z² + RT y z >= (1 - |RT|/2) (y² + z²), since |y z| <= (y² + z²) / 2.
(b) SH <= SC: T <= 1 + 0.17 + 0.24 + 0.32 + 0.20 = 1.93, so 0.015 T <= 0.029 < 0.045. Hence
    y² + z² >= (ΔC'² + ΔH'²) / SC².
(c) ΔH' = 2 sqrt(C1' C2') sin(Δh/2), so ΔC'² + ΔH'² = C1'² + C2'² - 2 C1' C2' cos Δh: the law of cosines for the vectors
    (a1', b1) and (a2', b2). It is Δa'² + Δb². Both a' are a (1 + G) with one common G >= 0, so Δa'² >= Δa².
(d) κ = 1 - |RT|/2 at its smallest. |RT| = 2 sqrt(C'^7 / (C'^7 + 25^7)) sin(60° e) < 2 sin 60° with e <= 1, so
    κ > 1 - sin 60° > 0.1339 for any hue. When both b* are 0 or more, both hues lie in 0 to 180°, they differ by no
    more than 180°, so their mean lies there too, 95° or more from 275°: e <= exp(-(95/25)²) < 5.4e-7, |RT|/2 < 5.7e-7,
    κ > 0.999999.

Over a box: ΔL, Δa and Δb are at least the gaps between the target and the box. SL grows with |mean L* - 50|, so it is
largest at one end of the box. SC grows with the mean chroma, and C' <= sqrt((1.5 a)² + b²) because 1 + G <= 1.5.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from colormatch.color.difference import delta_e
from colormatch.color.space import EPSILON, KAPPA, WHITE_XYZ
from colormatch.match.finish import Ending
from colormatch.records import FloatArray, Lab
from colormatch.wash.film import Body, Film, lay

IntArray = NDArray[np.integer[Any]]
Layered = TypeVar("Layered", Film, Body)

#: Smallest share of the chromatic difference left by the rotation term, step (d) above.
_KAPPA_ANY, _KAPPA_YELLOW = 0.1339, 0.999999
#: ΔE00, twice the largest error of single precision. Measured error: below 1e-3; undecided cases are settled in double
#: precision.
_SLACK = 4e-3
#: Films in the smallest group, and smallest groups in a larger one. The fastest of 4 to 28 and 8 to 16, by a small
#: margin.
_LEAF, _BUNCH = 14, 16
#: Weight of the air surface relative to color when first washes are grouped: its effect on a dark wash, in L*.
_COVER_AS_LAB = 12.0
#: Boxes bounded, and pairs computed, at a time; intermediate results then fit in the cache.
_BOXES, _PAIRS = 4096, 8192
#: Boxes in the first round.
_FIRST_ROUND = 400


class Nearest(NamedTuple):
    """The closest stacks, in order."""

    #: (k,) ΔE00 to the target.
    delta_e: FloatArray
    #: (k,) indices of the lower and of the upper wash in the list of films.
    lower: IntArray
    upper: IntArray
    #: Number of stacks computed; the bound ruled out the others.
    computed: int


def box_bound(target: FloatArray, darkest: FloatArray, lightest: FloatArray) -> FloatArray:
    """Lower bound of the ΔE00 between a target and any color in a box of XYZ.

    Parameters
    ----------
    target : (3,) float; CIELAB
    darkest, lightest : (..., 3) float; XYZ, the box's corners

    Returns
    -------
    (...) float; ΔE00. Proof: see the module.
    """
    low, high = _cube_roots(darkest), _cube_roots(lightest)
    L_low, L_high = 116 * low[..., 1] - 16, 116 * high[..., 1] - 16
    a_low, a_high = 500 * (low[..., 0] - high[..., 1]), 500 * (high[..., 0] - low[..., 1])
    b_low, b_high = 200 * (low[..., 1] - high[..., 2]), 200 * (high[..., 1] - low[..., 2])
    L, a, b = target
    dL, da, db = _gap(L, L_low, L_high), _gap(a, a_low, a_high), _gap(b, b_low, b_high)

    from_middle = np.maximum(np.abs((L + L_low) / 2 - 50), np.abs((L + L_high) / 2 - 50)) ** 2
    SL = 1 + 0.015 * from_middle / np.sqrt(20 + from_middle)
    a_most, b_most = np.maximum(np.abs(a_low), np.abs(a_high)), np.maximum(np.abs(b_low), np.abs(b_high))
    chroma = (np.hypot(1.5 * a, b) + np.hypot(1.5 * a_most, b_most)) / 2
    SC = 1 + 0.045 * chroma
    kappa = np.where((b_low >= 0) & (b >= 0), _KAPPA_YELLOW, _KAPPA_ANY)
    bound: FloatArray = np.sqrt((dL / SL) ** 2 + kappa * (da * da + db * db) / SC**2)
    return bound


def _cube_roots(xyz: FloatArray) -> FloatArray:
    """CIELAB's lightness function of each coordinate; increasing."""
    t = xyz / WHITE_XYZ.astype(xyz.dtype)
    roots: FloatArray = np.where(t > EPSILON, np.cbrt(t), (KAPPA * t + 16) / 116)
    return roots


def _gap(value: float, low: FloatArray, high: FloatArray) -> FloatArray:
    gap: FloatArray = np.maximum(np.maximum(low - value, value - high), 0)
    return gap


class Stacks:
    """All stacks of two washes over one ground, ready to be searched.

    Parameters
    ----------
    lower : Film; (n, 41)
    upper : Film; (m, 41)
        Any upper wash may go over any lower one.
    ground : Body; (41,)
    ending : Ending
    """

    def __init__(self, lower: Film, upper: Film, ground: Body, ending: Ending) -> None:
        single = np.float32
        self._upper = upper
        self._ending = ending
        self._lower = lay(lower, ground)
        self._upper32 = _cast(upper, single)
        self._ending32 = ending.as_type(single)
        self._lower32 = _cast(self._lower, single)
        color = np.column_stack([ending.lab(self._lower), _COVER_AS_LAB * self._lower.cover])
        groups = _halves(color)
        width = max(map(len, groups))
        # Short groups are padded with their first member, so that all fit in one array.
        self._groups = np.array([np.concatenate([g, np.repeat(g[:1], width - len(g))]) for g in groups])
        dark, light = self._corners(_gather(self._lower32, self._groups))
        self._small = dark, light
        bunch = min(_BUNCH, len(self._groups))
        self._bunch = bunch
        self._large = (
            self._corners(_gather(dark, np.arange(len(groups)).reshape(-1, bunch)))[0],
            self._corners(_gather(light, np.arange(len(groups)).reshape(-1, bunch)))[1],
        )

    def nearest(
        self,
        target: Lab | FloatArray,
        count: int,
        *,
        labels: tuple[IntArray, IntArray] | None = None,
        coats: tuple[IntArray, IntArray] | None = None,
        most_coats: int | None = None,
        within: float = np.inf,
    ) -> Nearest:
        """The stacks closest to a target; the same result as comparing all stacks.

        Parameters
        ----------
        target : (3,) float; CIELAB
            Color wanted for the finished stack.
        count : int
            Number to report.
        labels : ((n,), (m,)) int, optional
            Labels of the lower and upper washes, such as their paints. Only the closest of the stacks with equal labels
            is reported. Without labels, every stack is.
        coats : ((n,), (m,)) int, optional
            With ``most_coats``: stacks with more coats than that are left out.
        within : float
            Largest ΔE00 of interest; saves time if the target is far from all stacks.

        Returns
        -------
        Nearest; fewer than ``count`` if there are no more.
        """
        wanted = np.asarray(target, dtype=np.float32)
        m = len(self._upper.cover)
        best = _Best(count, labels or (np.arange(len(self._lower.cover)), np.arange(m)), m, within)

        def allowed(upper: IntArray, lower: IntArray) -> tuple[IntArray, IntArray]:
            if coats is None or most_coats is None:
                return upper, lower
            keep = coats[0][lower] + coats[1][upper] <= most_coats
            return upper[keep], lower[keep]

        def compute(upper: IntArray, group: IntArray) -> None:
            width = self._groups.shape[1]
            tops, lows = allowed(np.repeat(upper, width), self._groups[group].ravel())
            for start in range(0, len(tops), _PAIRS):
                part = slice(start, start + _PAIRS)
                best.take(self._pairs(wanted, tops[part], lows[part]), tops[part], lows[part])

        many = len(self._large[0].cover)
        upper, large = np.repeat(np.arange(m), many), np.tile(np.arange(many), m)
        bounds = self._bounds(wanted, upper, large, self._large)
        order = np.argsort(bounds, kind="stable")
        upper, large, bounds = upper[order], large[order], bounds[order]

        # Best first, in growing rounds: open the next large boxes, then compute all stacks in the small boxes whose
        # bound is below that of the large boxes still closed.
        waiting = _Boxes(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64), np.empty(0, dtype=np.float32))
        start, step = 0, _FIRST_ROUND
        while start < len(bounds) and bounds[start] <= best.threshold:
            stop = min(start + step, int(np.searchsorted(bounds, best.threshold, side="right")))
            tops = np.repeat(upper[start:stop], self._bunch)
            groups = (large[start:stop, None] * self._bunch + np.arange(self._bunch)).ravel()
            waiting = waiting.joined(_Boxes(tops, groups, self._bounds(wanted, tops, groups, self._small)))
            closed = bounds[stop] if stop < len(bounds) else np.inf
            first, part = 0, _FIRST_ROUND
            while first < len(waiting.bound) and waiting.bound[first] <= min(closed, best.threshold):
                last = int(np.searchsorted(waiting.bound, min(closed, best.threshold), side="right"))
                last = min(last, first + part)
                compute(waiting.upper[first:last], waiting.group[first:last])
                first, part = last, min(2 * part, _BOXES)
            waiting = waiting.between(first, best.threshold)
            start, step = stop, 2 * step
        return self._settled(best, np.asarray(target, dtype=float))

    def _corners(self, members: Body) -> tuple[Body, Body]:
        """The darkest and the lightest body of each group, members along axis 1."""
        most = [values.max(axis=1) for values in members]
        least = [values.min(axis=1) for values in members]
        if not self._ending.cover_darkens:
            return Body(*least), Body(*most)
        return Body(least[0], most[1], most[2]), Body(most[0], least[1], least[2])

    def _bounds(self, target: FloatArray, upper: IntArray, box: IntArray, boxes: tuple[Body, Body]) -> FloatArray:
        out: FloatArray = np.empty(len(upper), dtype=np.float32)
        for start in range(0, len(upper), _BOXES):
            part = slice(start, start + _BOXES)
            top = _gather(self._upper32, upper[part])
            dark, light = (self._ending32.xyz(lay(top, _gather(body, box[part]))) for body in boxes)
            out[part] = box_bound(target, dark, light)
        return out

    def _pairs(self, target: FloatArray, upper: IntArray, lower: IntArray) -> FloatArray:
        bodies = lay(_gather(self._upper32, upper), _gather(self._lower32, lower))
        return delta_e(self._ending32.lab(bodies).astype(np.float32), target)

    def _settled(self, best: _Best, target: FloatArray) -> Nearest:
        """Settle in double precision the order among stacks that single precision can't separate."""
        upper, lower = best.upper, best.lower
        exact: FloatArray = np.empty(len(upper))
        for start in range(0, len(upper), _PAIRS):
            part = slice(start, start + _PAIRS)
            bodies = lay(_gather(self._upper, upper[part]), _gather(self._lower, lower[part]))
            exact[part] = delta_e(self._ending.lab(bodies), target)
        order = np.lexsort((upper, lower, exact))
        _, first = np.unique(best.label(upper, lower)[order], return_index=True)
        order = order[np.sort(first)][: best.count]
        return Nearest(exact[order], lower[order], upper[order], best.computed)


class _Boxes(NamedTuple):
    """Small boxes: an upper wash over a group of lower ones; lowest bound first."""

    upper: IntArray
    group: IntArray
    #: Lower bound of ΔE00 in the box.
    bound: FloatArray

    def joined(self, other: _Boxes) -> _Boxes:
        upper, group, bound = (np.concatenate(pair) for pair in zip(self, other, strict=True))
        order = np.argsort(bound, kind="stable")
        return _Boxes(upper[order], group[order], bound[order])

    def between(self, first: int, threshold: float) -> _Boxes:
        """Boxes from an index up to a threshold."""
        last = int(np.searchsorted(self.bound, threshold, side="right"))
        return _Boxes(self.upper[first:last], self.group[first:last], self.bound[first:last])


class _Best:
    """Candidates for the closest stacks so far."""

    def __init__(self, count: int, labels: tuple[IntArray, IntArray], uppers: int, within: float) -> None:
        # With fewer labels than that, the threshold would never decrease.
        self.count = min(count, math.prod(len(np.unique(some)) for some in labels))
        self.computed = 0
        #: ΔE00 above which a stack can't be among the closest.
        self.threshold = within
        self.upper: IntArray = np.empty(0, dtype=np.int64)
        self.lower: IntArray = np.empty(0, dtype=np.int64)
        self._delta_e: FloatArray = np.empty(0, dtype=np.float32)
        self._labels, self._uppers = labels, uppers

    def label(self, upper: IntArray, lower: IntArray) -> IntArray:
        below, above = self._labels
        label: IntArray = below[lower].astype(np.int64) * (int(above.max()) + 1) + above[upper]
        return label

    def take(self, delta_e: FloatArray, upper: IntArray, lower: IntArray) -> None:
        self.computed += len(delta_e)
        near = np.flatnonzero(delta_e <= self.threshold)
        if not near.size:
            return
        distance = np.concatenate([self._delta_e, delta_e[near]])
        tops, lows = np.concatenate([self.upper, upper[near]]), np.concatenate([self.lower, lower[near]])
        _, once = np.unique(lows * self._uppers + tops, return_index=True)  # padded groups repeat a member
        order = once[np.argsort(distance[once], kind="stable")]
        distance, tops, lows = distance[order], tops[order], lows[order]
        _, first, which = np.unique(self.label(tops, lows), return_index=True, return_inverse=True)
        leaders = np.sort(distance[first])
        if len(leaders) >= self.count:
            self.threshold = min(self.threshold, float(leaders[self.count - 1]) + _SLACK)
        keep = (distance <= self.threshold) & (distance <= distance[first][which] + _SLACK)
        self._delta_e, self.upper, self.lower = distance[keep], tops[keep], lows[keep]


def _cast(values: Layered, real: type[np.floating]) -> Layered:
    return type(values)(*(v.astype(real) for v in values))


def _gather(values: Layered, places: IntArray) -> Layered:
    return type(values)(*(v[places] for v in values))


def _halves(color: FloatArray) -> list[IntArray]:
    """Groups of similar washes: halved along the longest axis until small enough; a power of two of them."""
    groups: list[IntArray] = [np.arange(len(color))]
    while len(groups[0]) > _LEAF:
        halves: list[IntArray] = []
        for group in groups:
            axis = np.argmax(np.ptp(color[group], axis=0))
            order = group[np.argsort(color[group, axis], kind="stable")]
            middle = (len(order) + 1) // 2
            halves += [order[:middle], order[middle:]]
        groups = halves
    return groups
