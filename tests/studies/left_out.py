"""Figures that were set on real photographs, tried where they weren't: ``python -m tests.studies.left_out FOLDER``.

`tests.studies.real_charts` tells the form of the folder. Each constant of tone curve, learned camera and stated radius
is chosen again without one photo, or without one camera, and tried on what was left out. A chart's radius follows the
chart itself; `tests.studies.real_photos` tries its factor without the photo.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from itertools import product
from pathlib import Path
from unittest import mock

import numpy as np

from colormatch.records import Difference, FloatArray
from colormatch.reference import camera as cameras
from colormatch.reference import tone
from colormatch.reference.correction import no_correction
from tests.studies import learned_camera
from tests.studies.real_charts import BLACK, NEUTRAL_5, WHITE, ChartPhoto, load
from tests.studies.real_photos import APART, WAYS, Read, gray_card, of_correction, three_steps

#: What is asked of a radius on the photos that it is set on: share held in each group, and the margin beyond it.
_HELD, _MARGIN = 0.9, 1.1
#: Figures and shares of a difference that are tried.
_FIGURES, _SHARES = np.arange(0.4, 4.01, 0.2), np.arange(0.08, 1.31, 0.03)
#: Values that are tried of each constant: the module that holds it, its name, the values.
_TONE = {
    "_REMAINDER": (0.0, 0.25, 0.5, 0.75, 1.0),
    "_MOST_BY_LEVEL": (0.0, 0.3, 0.5, 0.7),
    "_HALF_BY_LEVEL": (0.02, 0.04, 0.06),
}
_CAMERA = {"_COEFFICIENT_SIGMA": (0.05, 0.1, 0.2, 0.3), "_TONE_SHARE": (0.5, 0.75, 1.0)}


# --- stated radii ----------------------------------------------------------------------------------------------------


def _differences(read: Read) -> list[tuple[FloatArray, FloatArray]]:
    """For each range of distances, the errors of the differences and the distances as read."""
    by_distance = replace(read, difference=Difference(0.0, 1.0))
    return [by_distance.differences(apart) for apart in APART]


def set_radius(reads: Sequence[Read]) -> float:
    """The radius of one color that some photos call for."""
    return _MARGIN * float(np.percentile(np.concatenate([read.errors for read in reads]), 100 * _HELD))


def set_difference(reads: Sequence[Read]) -> Difference:
    """The figure and share of a difference that some photos call for: the smallest that hold in every range."""
    ranges = [
        tuple(map(np.concatenate, zip(*some, strict=True))) for some in zip(*map(_differences, reads), strict=True)
    ]
    best, found = np.inf, Difference(float(_FIGURES[-1]), float(_SHARES[-1]))
    for figure, share in product(_FIGURES, _SHARES):
        radii = [np.hypot(figure, share * distance) for _, distance in ranges]
        size = float(np.mean([radius.mean() for radius in radii]))
        held = [np.mean(off <= radius) for (off, _), radius in zip(ranges, radii, strict=True)]
        if size < best and min(held) >= _HELD:
            best, found = size, Difference(float(figure), float(share))
    return Difference(_MARGIN * found.figure, _MARGIN * found.share)


def held(read: Read, radius: float, difference: Difference) -> list[FloatArray]:
    """Which of a photo's colors, and of its differences by their distance, lie inside."""
    inside = [read.errors <= radius]
    return inside + [off <= np.hypot(difference.figure, difference.share * apart) for off, apart in _differences(read)]


def _percent(rows: Sequence[Sequence[FloatArray]]) -> str:
    return " ".join(f"{100 * np.concatenate(column).mean():3.0f}" for column in zip(*rows, strict=True))


def radii(label: str, reads: Sequence[Read]) -> None:
    """Stated, and set without the photo, or the camera, that it is tried on."""
    stated, difference = float(reads[0].stated.mean()), reads[0].difference
    now = _percent([held(read, float(read.stated.mean()), read.difference) for read in reads])
    print(
        f"{label:30s} {len(reads):2d}  stated {stated:4.1f} {difference.figure:.2f} {difference.share:.2f}: {now}",
        end="",
    )
    wanted = set_difference(reads)
    print(f"  set on all {set_radius(reads):4.1f} {wanted.figure:.2f} {wanted.share:.2f}", end="")
    for word, same in (("photo", lambda a, b: a is b), ("camera", lambda a, b: a.photo.camera == b.photo.camera)):
        rows = []
        for read in reads:
            others = [other for other in reads if not same(read, other)]
            if others:
                rows.append(held(read, set_radius(others), set_difference(others)))
        print(f"  without the {word} {_percent(rows)}" if rows else f"  without the {word}: one only", end="")
    print(flush=True)


# --- fitted constants ------------------------------------------------------------------------------------------------


def chosen(
    label: str,
    module: object,
    values: dict[str, tuple[float, ...]],
    photos: Sequence[ChartPhoto],
    error: Callable[[ChartPhoto], float],
) -> None:
    """Mean error with the constants as they are, and with those that are best without the photo, or its camera."""
    usual = np.array([error(photo) for photo in photos])
    table = []
    for some in product(*values.values()):
        with ExitStack() as stack:
            for name, value in zip(values, some, strict=True):
                stack.enter_context(mock.patch.object(module, name, value))
            table.append([error(photo) for photo in photos])
    errors = np.array(table)
    print(f"{label}: as they are {usual.mean():.2f}, the best of all on all {errors.mean(axis=1).min():.2f}", end="")
    for word, same in (("photo", lambda a, b: a is b), ("camera", lambda a, b: a.camera == b.camera)):
        left = []
        for place, photo in enumerate(photos):
            others = [n for n, other in enumerate(photos) if not same(photo, other)]
            if others:
                left.append(errors[np.argmin(errors[:, others].mean(axis=1)), place])
        print(f", chosen without the {word} {np.mean(left):.2f}" if left else "", end="")
    print(flush=True)


def three_steps_error(photo: ChartPhoto) -> float:
    """Mean over the patches that are no step."""
    return float(of_correction(three_steps, [WHITE, NEUTRAL_5, BLACK])(photo).errors.mean())


def main(folder: Path) -> None:
    photos, _ = load(folder)
    developed, raw = [p for p in photos if not p.raw], [p for p in photos if p.raw]
    print("share held, %: colors, differences", ", ".join(f"{a:g} to {b:g}" for a, b in APART))
    no_card = of_correction(lambda _: no_correction(), [NEUTRAL_5])
    radii("no card, developed", [no_card(photo) for photo in developed])
    for way in ("one gray", "three steps"):
        radii(f"{way}, developed", [WAYS[way](photo) for photo in developed])
        for light in ("daylight", "bulb", "fluorescent"):
            some = [photo for photo in raw if photo.light.startswith(light)]
            if some:
                radii(f"{way}, raw, {light}", [WAYS[way](photo) for photo in some])
    print()
    chosen("tone curve of three steps, developed", tone, _TONE, developed, three_steps_error)
    better = sum(
        three_steps_error(photo) < float(of_correction(gray_card, [WHITE, NEUTRAL_5, BLACK])(photo).errors.mean())
        for photo in developed
    )
    print(f"three steps better than one gray in {better} of {len(developed)} developed photos", flush=True)
    six = [photo for photo in developed if photo.camera == "the project's six"]

    def learned_error(photo: ChartPhoto) -> float:
        camera = cameras.fit_steps([learned_camera.shot(other) for other in six if other is not photo], raw=False)
        one = gray_card(photo)
        for step, words in camera:
            one = one.then(step, words)
        patches = np.setdiff1d(photo.readable, [NEUTRAL_5])
        read = Read(photo, patches, one.lab(photo.linear_rgb[patches]), np.zeros(len(patches)), Difference())
        return float(read.errors.mean())

    chosen("a learned camera, the six, patches known", cameras, _CAMERA, six, learned_error)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    main(parser.parse_args().folder)
