"""How well each reference reads real photographs: ``python -m tests.studies.real_photos FOLDER``.

`tests.studies.real_charts` tells the form of the folder and where such photos are published. The chart's own patches
serve as card and as what is read: neutral 5 as a gray card, white, neutral 5 and black as three steps, the chart less
the patch that is tried. Patches that served are not counted, nor blown ones. Figures are ΔE00.

"held" is the share of errors inside the stated 90 % radius; behind it the share with the radius scaled so that it holds
nine in ten of all *other* photos of the kind, so that no photo takes part in what it is tried on.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.space import lab_from_linear, linear_from_lab
from colormatch.errors import CardUnusable
from colormatch.records import Difference, FloatArray, Lab, LightKind
from colormatch.reference.chart import chart_correction, chart_steps
from colormatch.reference.chart_values import GRAY_ROW
from colormatch.reference.correction import Correction, gray_card_correction
from colormatch.reference.three_step import three_step_correction
from colormatch.reference.tone import usable
from tests.studies.real_charts import BLACK, NEUTRAL_5, WHITE, ChartPhoto, load

#: Bounds of the distances, ΔE00, for which differences are told apart.
APART = ((0.0, 12.0), (12.0, 20.0), (20.0, 35.0))


def gray_card(photo: ChartPhoto) -> Correction:
    return gray_card_correction(
        photo.linear_rgb[NEUTRAL_5],
        Lab(*photo.lab[NEUTRAL_5]),
        raw=photo.raw,
        sensor=photo.sensor,
        light=light_of(photo),
    )


def light_of(photo: ChartPhoto) -> LightKind | None:
    """The light as the source names it; a raw file with a sensor tells it by itself."""
    return next((kind for kind in LightKind if photo.light.startswith(kind.value)), None)


def three_steps(photo: ChartPhoto) -> Correction:
    steps = [WHITE, NEUTRAL_5, BLACK]
    reflectances = linear_from_lab(photo.lab[steps])[:, 1]
    return three_step_correction(
        photo.linear_rgb[steps], reflectances, raw=photo.raw, sensor=photo.sensor, light=light_of(photo)
    )


def chart_lab_without(photo: ChartPhoto, patches: Sequence[int]) -> FloatArray:
    """(n, 3) CIELAB of patches of which the chart's correction knew nothing."""
    keep = np.zeros(24, bool)
    keep[photo.readable] = True
    keep[list(patches)] = False
    keep[GRAY_ROW] &= usable(photo.linear_rgb[GRAY_ROW])
    seen = photo.linear_rgb
    grays, colors = chart_steps(np.maximum(seen, 0), photo.lab, keep, raw=photo.raw, sensor=photo.sensor)
    return lab_from_linear(colors(grays(seen[list(patches)])))


@dataclass(frozen=True, eq=False)
class Read:
    """What one way read in one photo."""

    photo: ChartPhoto
    #: (n,) indices of the patches that were read.
    patches: FloatArray
    #: (n, 3) CIELAB.
    lab: FloatArray
    #: (n,) stated radius of one color; figure and share of a difference.
    stated: FloatArray
    difference: Difference
    #: (pairs, 2, 3) CIELAB of each pair of the patches where a pair is read by a correction that knew neither.
    of_pairs: FloatArray | None = None

    @property
    def errors(self) -> FloatArray:
        return delta_e(self.lab, self.photo.lab[self.patches])

    def differences(self, apart: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
        """Errors of the differences of patches that are so far apart, and what was stated for each."""
        first, second = np.triu_indices(len(self.patches), 1)
        true = self.photo.lab[self.patches]
        distance = delta_e(true[first], true[second])
        some = (distance >= apart[0]) & (distance < apart[1])
        pairs = np.stack([self.lab[first], self.lab[second]], axis=1) if self.of_pairs is None else self.of_pairs
        one, other = pairs[some].swapaxes(0, 1)
        off = delta_e(true[first[some]] + other - one, true[second[some]])
        figure, share = self.difference
        return off, np.hypot(figure, share * delta_e(one, other))


Way = Callable[[ChartPhoto], Read]


def of_correction(correct: Callable[[ChartPhoto], Correction], served: Sequence[int]) -> Way:
    """A way by one correction for all patches."""

    def read(photo: ChartPhoto) -> Read:
        correction = correct(photo)
        patches = np.setdiff1d(photo.readable, served)
        lab = correction.lab(photo.linear_rgb)[patches]
        return Read(photo, patches, lab, np.full(len(patches), correction.systematic), correction.difference)

    return read


def chart_left_out(photo: ChartPhoto) -> Read:
    """The chart without what is tried: without one patch for colors, without two for differences."""
    patches = photo.readable
    correction = chart_correction(np.maximum(photo.linear_rgb, 0), photo.lab, raw=photo.raw, sensor=photo.sensor)
    lab = np.concatenate([chart_lab_without(photo, [patch]) for patch in patches])
    pairs = np.stack([patches[side] for side in np.triu_indices(len(patches), 1)], axis=1)
    of_pairs = np.stack([chart_lab_without(photo, pair) for pair in pairs])
    stated = np.full(len(patches), correction.systematic)
    return Read(photo, patches, lab, stated, correction.difference, of_pairs)


WAYS: dict[str, Way] = {
    "one gray": of_correction(gray_card, [NEUTRAL_5]),
    "three steps": of_correction(three_steps, [WHITE, NEUTRAL_5, BLACK]),
    "chart, left out": chart_left_out,
}


def read_all(way: Way, photos: Sequence[ChartPhoto]) -> list[Read]:
    reads = []
    for photo in photos:
        try:
            reads.append(way(photo))
        except CardUnusable:
            continue
    return reads


def held(errors: Sequence[FloatArray], stated: Sequence[FloatArray]) -> tuple[float, float]:
    """Share inside the stated radius; and inside it once scaled by what holds nine in ten of the other photos."""
    ratios = [off / radius for off, radius in zip(errors, stated, strict=True)]
    plain = np.concatenate(ratios) <= 1
    if len(ratios) < 2:
        return float(plain.mean()), float("nan")
    scaled = [
        ratio <= np.percentile(np.concatenate(ratios[:i] + ratios[i + 1 :]), 90) for i, ratio in enumerate(ratios)
    ]
    return float(plain.mean()), float(np.concatenate(scaled).mean())


def _share(values: tuple[float, float]) -> str:
    return f"{100 * values[0]:3.0f}/{100 * values[1]:3.0f}"


def row(label: str, reads: Sequence[Read]) -> str:
    """One line of a table."""
    errors = [read.errors for read in reads]
    every = np.concatenate(errors)
    cells = [f"{label:58s} {len(reads):3d} {every.mean():5.2f}/{np.percentile(every, 95):5.2f}"]
    cells.append(
        f"{np.mean([read.stated.mean() for read in reads]):5.1f} {_share(held(errors, [r.stated for r in reads]))}"
    )
    for apart in APART:
        off, radii = zip(*(read.differences(apart) for read in reads), strict=True)
        cells.append(f"{np.percentile(np.concatenate(off), 90):5.1f} {_share(held(off, radii))}")
    return "  ".join(cells)


def kinds(photos: Sequence[ChartPhoto]) -> dict[str, list[ChartPhoto]]:
    """Photos by what can be expected of them alike."""
    out: dict[str, list[ChartPhoto]] = {}
    for photo in photos:
        if not photo.raw:
            name = "the project's six" if photo.camera == "the project's six" else "other developed photos"
        elif photo.light:
            name = f"raw, {photo.light}, {photo.development}"
        else:
            name = "raw files"
        out.setdefault(name, []).append(photo)
    return out


def main(folder: Path) -> None:
    photos, refused = load(folder)
    for line in refused:
        print("refused:", line)
    head = "  ".join(f"{'p90':>5s} {'held %':7s}" for _ in APART)
    print(f"{'':58s}      mean/  p95  stated held %  {head}")
    print(
        f"{'':58s}                      colors  " + "  ".join(f"{low:g} to {high:g}".ljust(13) for low, high in APART)
    )
    for way_name, way in WAYS.items():
        for kind, some in kinds(photos).items():
            print(row(f"{way_name}: {kind}", read_all(way, some)), flush=True)
        for name, some in (
            ("all developed", [p for p in photos if not p.raw]),
            ("all raw", [p for p in photos if p.raw]),
        ):
            print(row(f"{way_name}: {name}", read_all(way, some)), flush=True)
    print()
    print("three steps against one gray, the same patches, mean")
    developed = [photo for photo in photos if not photo.raw]
    better = 0
    for photo in photos:
        steps = WAYS["three steps"](photo)
        gray = of_correction(gray_card, [WHITE, NEUTRAL_5, BLACK])(photo)
        better += not photo.raw and steps.errors.mean() < gray.errors.mean()
        print(f"{photo.name:58s} {steps.errors.mean():5.2f} {gray.errors.mean():5.2f}")
    print(f"better in {better} of {len(developed)} developed photos")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    main(parser.parse_args().folder)
