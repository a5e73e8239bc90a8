"""How well each neutral reference reads wood: ``python -m tests.studies.references [--photos N]``.

Patches of known reflectance are photographed by the simulator's three cameras under its seven lights, with a wrong
white balance, an S-shaped tone curve, noise and JPEG, then corrected by the code that ships. Everything is simulated.
Figures are ΔE00, mean / 95th percentile, over wood-like colors: of one color, of the difference of two woods in one
photo, and of their difference when each is in a photo of its own. Nothing is trained on the woods; the chips of the
goals are painted, offcuts of wood flatter because their spectra are those of the woods.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import linear_from_encoded
from colormatch.image.sensor import Sensor
from colormatch.records import Lab, ShopChip
from colormatch.reference.chart import chart_correction
from colormatch.reference.chart_values import SINCE_2014
from colormatch.reference.chips import ALL_GRAYS, GRAY, with_chips
from colormatch.reference.correction import Correction, gray_card_correction, no_correction
from colormatch.reference.three_step import THREE_STEPS, three_step_correction
from tests.reference.charts import chart_reflectances
from tests.scenes.camera import CAMERAS, Camera, color_matrix, develop, raw_weights
from tests.scenes.paints import Paint, layer, mixed, surface
from tests.scenes.spectra import LIGHTS, FloatArray, flat, reflectance_to_lab
from tests.scenes.woods import wood_reflectance

#: Side of a photographed patch and of the part that is read, pixels; patches in a row; JPEG quality.
PATCH, READ, ACROSS, QUALITY = 32, 20, 16, 92
WOODS = 60
#: Two woods are compared when they differ by this much, ΔE00: a wash near its target, not another color.
NEAR = (1.0, 6.0)
#: Pairs of photos drawn for the difference between two photos.
PHOTO_PAIRS = 60
#: Painted chips near wood, opaque: parts of paint.
_PAINTED = (
    {"Cream": 0.5, "Ochre": 0.35, "Raw Umber": 0.15},
    {"Cream": 0.25, "Ochre": 0.45, "Burnt Umber": 0.3},
    {"Raw Umber": 0.6, "Warm White": 0.2, "Burnt Umber": 0.2},
    {"Warm White": 0.55, "Ochre": 0.35, "Burnt Umber": 0.1},
)
#: Chips of these depths, decays and rednesses: offcuts of other woods kept on the bench.
_OFFCUTS = np.array([[1.1, 2.2, 3.8, 6.5], [135, 95, 145, 105], [0.05, 0.2, 0.02, 0.15]])


@dataclass(frozen=True, eq=False)
class Patches:
    """What is photographed, with its truth; rows in the order of the slices."""

    reflectances: FloatArray
    steps: slice
    chart: slice
    painted: slice
    offcuts: slice
    woods: slice

    @property
    def lab(self) -> FloatArray:
        return reflectance_to_lab(self.reflectances)


def patches(rng: np.random.Generator) -> Patches:
    """Three steps, a measured chart, painted chips, offcuts, and woods drawn from the whole family."""
    woods = wood_reflectance(
        np.exp(rng.uniform(np.log(0.9), np.log(8), WOODS)), rng.uniform(85, 165, WOODS), rng.uniform(0, 0.25, WOODS)
    )
    parts = [
        np.stack([flat(value) for value in THREE_STEPS]),
        chart_reflectances(),
        np.stack([_opaque(mixed(parts)) for parts in _PAINTED]),
        wood_reflectance(*_OFFCUTS),
        woods,
    ]
    ends = np.cumsum([len(part) for part in parts])
    return Patches(np.concatenate(parts), *(slice(end - len(p), end) for p, end in zip(parts, ends, strict=True)))


def _opaque(paint: Paint) -> FloatArray:
    """(81,) reflectance of a film that hides its ground."""
    hidden = layer(flat(0.5), paint.absorption, paint.scattering, np.array(1e6))
    return surface(hidden, paint.outer, paint.inner) + paint.outer


def photographed(reflectances: FloatArray, light: str, camera: Camera, rng: np.random.Generator) -> FloatArray:
    """(n, 3) mean linear RGB of patches, as a saved photograph holds them."""
    raw = reflectances @ raw_weights(camera.name, light)
    down = -(-len(raw) // ACROSS)
    sheet = np.zeros((down * ACROSS, 3))
    sheet[: len(raw)] = raw
    frame = sheet.reshape(down, ACROSS, 3).repeat(PATCH, 0).repeat(PATCH, 1)
    values = develop(frame.astype(np.float32), light, camera, rng)
    if camera.output == "photo":
        _, file = cv2.imencode(".jpg", values[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
        values = linear_from_encoded(cv2.imdecode(file, cv2.IMREAD_COLOR)[..., ::-1] / 255)
    edge = (PATCH - READ) // 2
    middles = values.reshape(down, PATCH, ACROSS, PATCH, 3)[:, edge:-edge, :, edge:-edge]
    return middles.mean((1, 3), dtype=float).reshape(-1, 3)[: len(raw)]


@dataclass(frozen=True, eq=False)
class Seen:
    """One photograph of the patches."""

    #: (n, 3) mean linear RGB of each.
    linear_rgb: FloatArray
    #: (3, 3) what a raw developer took the sensor's channels to linear sRGB by.
    to_srgb: FloatArray


Correct = Callable[[Seen, Patches], Correction]


@dataclass(frozen=True)
class Way:
    """One kind of reference."""

    name: str
    correct: Correct
    #: Mean and 95th percentile of one color, and of the difference in one photo; None where no goal was set.
    goal: tuple[float, float] | None = None
    goal_difference: tuple[float, float] | None = None
    raw: bool = False


def _gray(seen: Seen, what: Patches) -> Correction:
    return gray_card_correction(seen.linear_rgb[what.steps][1])


def _gray_raw(seen: Seen, what: Patches) -> Correction:
    return gray_card_correction(seen.linear_rgb[what.steps][1], raw=True, sensor=Sensor(seen.to_srgb))


def _three(seen: Seen, what: Patches) -> Correction:
    return three_step_correction(seen.linear_rgb[what.steps])


def _three_raw(seen: Seen, what: Patches) -> Correction:
    return three_step_correction(seen.linear_rgb[what.steps], raw=True, sensor=Sensor(seen.to_srgb))


def _chips(base: Correct, grays: tuple[float, ...], count: int, *, offcuts: bool = False) -> Correct:
    def correct(seen: Seen, what: Patches) -> Correction:
        chips = what.offcuts if offcuts else what.painted
        settled = [ShopChip(f"chip {i}", Lab(*lab), 0.0) for i, lab in enumerate(what.lab[chips][:count])]
        return with_chips(base(seen, what), seen.linear_rgb[chips][:count], settled, grays)

    return correct


def _own_chart(seen: Seen, what: Patches) -> Correction:
    return chart_correction(seen.linear_rgb[what.chart], what.lab[what.chart])


def _published_chart(seen: Seen, what: Patches) -> Correction:
    return chart_correction(seen.linear_rgb[what.chart], SINCE_2014)


WAYS = (
    Way("none", lambda seen, what: no_correction()),
    Way("gray card", _gray, (4.5, 8.0), (1.2, 2.5)),
    Way("gray card, camera raw", _gray_raw, (2.8, 5.0), raw=True),
    Way("three steps", _three, (2.8, 5.5), (0.8, 1.7)),
    Way("three steps, camera raw", _three_raw, raw=True),
    Way("gray card + 1 chip", _chips(_gray, GRAY, 1)),
    Way("gray card + 2 chips", _chips(_gray, GRAY, 2)),
    Way("gray card + 3 chips", _chips(_gray, GRAY, 3)),
    Way("gray card + 4 chips", _chips(_gray, GRAY, 4)),
    Way("three steps + 1 chip", _chips(_three, ALL_GRAYS, 1)),
    Way("three steps + 2 chips", _chips(_three, ALL_GRAYS, 2)),
    Way("three steps + 3 chips", _chips(_three, ALL_GRAYS, 3)),
    Way("three steps + 4 chips", _chips(_three, ALL_GRAYS, 4), (1.6, 3.2)),
    Way("three steps + 1 offcut", _chips(_three, ALL_GRAYS, 1, offcuts=True)),
    Way("three steps + 4 offcuts", _chips(_three, ALL_GRAYS, 4, offcuts=True)),
    Way("chart, its own measured file", _own_chart, (1.1, 2.2), (0.6, 1.3)),
    Way("chart, published values", _published_chart),
)


@dataclass(frozen=True, eq=False)
class Figures:
    """Errors of one way, ΔE00."""

    absolute: FloatArray
    difference: FloatArray
    two_photos: FloatArray
    #: Share of errors of one color, and of differences, that the stated 90 % radius holds.
    coverage: tuple[float, float]
    #: Mean of what was stated for one color.
    stated: float


def study(photos: int = 4, seed: int = 7) -> dict[str, Figures]:
    """Every way over cameras x lights x `photos` photographs each."""
    rng = np.random.default_rng(seed)
    what = patches(rng)
    lab = what.lab
    true = lab[what.woods]
    apart = delta_e(true[:, None], true[None])
    first, second = np.nonzero(np.triu((apart > NEAR[0]) & (apart < NEAR[1])))
    seen: dict[bool, list[Seen]] = {False: [], True: []}
    for name in CAMERAS:
        for light in LIGHTS:
            for _ in range(photos):
                for raw in (False, True):
                    camera = Camera.typical(rng, name=name, output="raw-like" if raw else "photo")
                    linear_rgb = photographed(what.reflectances, light, camera, rng)
                    seen[raw].append(Seen(linear_rgb, color_matrix(name, light)))
    pairs = rng.integers(0, len(seen[False]), (PHOTO_PAIRS, 2))
    figures = {}
    for way in WAYS:
        corrections = [way.correct(photo, what) for photo in seen[way.raw]]
        read = [c.lab(photo.linear_rgb[what.woods]) for c, photo in zip(corrections, seen[way.raw], strict=True)]
        off = np.array([delta_e(found, true) for found in read])
        # The error of a difference: the second wood set against the first one's true color by what was read.
        within = np.array([delta_e(true[first] + found[second] - found[first], true[second]) for found in read])
        across = np.array(
            [delta_e(true[first] + read[b][second] - read[a][first], true[second]) for a, b in pairs.tolist()]
        )
        coverage = (
            float(np.mean(off <= np.array([[c.systematic] for c in corrections]))),
            float(np.mean(within <= _radii(corrections, read, first, second))),
        )
        stated = float(np.mean([c.systematic for c in corrections]))
        figures[way.name] = Figures(off, within, across, coverage, stated)
    return figures


def _radii(
    corrections: Sequence[Correction], read: Sequence[FloatArray], first: FloatArray, second: FloatArray
) -> FloatArray:
    """(photos, pairs) stated radius of each difference."""
    return np.array([
        np.hypot(c.difference.figure, c.difference.share * delta_e(found[first], found[second]))
        for c, found in zip(corrections, read, strict=True)
    ])  # fmt: skip


def _both(errors: FloatArray) -> str:
    return f"{errors.mean():5.2f}/{np.percentile(errors, 95):5.2f}"


def _goal(goal: tuple[float, float] | None, errors: FloatArray) -> str:
    if goal is None:
        return " " * 16
    met = errors.mean() <= goal[0] and np.percentile(errors, 95) <= goal[1]
    return f"(<={goal[0]:g}/{goal[1]:g}) {'met' if met else 'MISSED'}".ljust(16)


def table(figures: dict[str, Figures]) -> str:
    rows = [
        f"{'reference':30s} {'absolute':>11s} {'goal':16s} {'same photo':>11s} {'goal':16s} {'two photos':>11s}"
        f" {'90th: abs, diff':>16s} {'stated':>6s} {'coverage %':>11s}"
    ]
    for way in WAYS:
        f = figures[way.name]
        p90 = f"{np.percentile(f.absolute, 90):.2f} {np.percentile(f.difference, 90):.2f}"
        rows.append(
            f"{way.name:30s} {_both(f.absolute)} {_goal(way.goal, f.absolute)} {_both(f.difference)}"
            f" {_goal(way.goal_difference, f.difference)} {_both(f.two_photos)} {p90:>16s} {f.stated:6.2f}"
            f" {100 * f.coverage[0]:5.0f} {100 * f.coverage[1]:5.0f}"
        )
    return "\n".join(rows)


def by_light(figures: dict[str, Figures], names: Sequence[str]) -> str:
    """Which light a miss is due to: of one color, under each light and over all but the worst of them."""
    rows = [f"{'one color under':26s}" + "".join(f"{light:>12s}" for light in (*LIGHTS, "but worst"))]
    for name in names:
        # Photos follow each other by camera, then by light.
        per_light = (
            figures[name].absolute.reshape(len(CAMERAS), len(LIGHTS), -1).swapaxes(0, 1).reshape(len(LIGHTS), -1)
        )
        rest = np.delete(per_light, per_light.mean(axis=1).argmax(), axis=0)
        rows.append(f"{name:26s}" + "".join(f"{_both(errors):>12s}" for errors in (*per_light, rest)))
    return "\n".join(rows)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=int, default=4, help="of each camera under each light (4)")
    parser.add_argument("--seed", type=int, default=7)
    chosen = parser.parse_args()
    begun = time.perf_counter()
    found = study(chosen.photos, chosen.seed)
    print(table(found))
    print(by_light(found, ("gray card", "gray card, camera raw", "three steps")))
    print(f"{time.perf_counter() - begun:.0f} s")
