"""How well a camera learned once reads its later photos: ``python -m tests.studies.learned_camera FOLDER``.

`tests.studies.real_charts` tells the form of the folder. The later photo is read by neutral 5 alone; neither it nor the
patch that is tried, nor for a difference either of the two, was learned from.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from colormatch.records import FloatArray
from colormatch.reference.camera import LearnedCamera, Shot, cast_of, fit_steps, learn
from tests.studies.real_charts import NEUTRAL_5, ChartPhoto, load
from tests.studies.real_photos import APART, Read, gray_card, row


def shot(photo: ChartPhoto) -> Shot:
    keep = photo.readable
    balanced = gray_card(photo).linear(photo.linear_rgb[keep])
    return Shot(balanced, photo.lab[keep], cast_of(photo.linear_rgb[NEUTRAL_5]))


def read(photo: ChartPhoto, others: Sequence[ChartPhoto]) -> tuple[Read, LearnedCamera]:
    """A photo by its gray and what the others teach."""
    camera = learn([shot(other) for other in others], raw=photo.raw)
    patches = np.setdiff1d(photo.readable, [NEUTRAL_5])

    def without(left_out: FloatArray) -> FloatArray:
        taught = [shot(other) for other in others]
        for lab in photo.lab[left_out]:
            taught = [one.without(lab) for one in taught]
        gray = photo.linear_rgb[NEUTRAL_5]
        return (
            replace(camera, steps=fit_steps(taught, photo.raw))
            .after(gray_card(photo), gray)
            .lab(photo.linear_rgb[left_out])
        )

    lab = np.concatenate([without(np.array([patch])) for patch in patches])
    pairs = np.stack([patches[side] for side in np.triu_indices(len(patches), 1)], axis=1)
    of_pairs = np.stack([without(pair) for pair in pairs])
    stated = np.full(len(patches), camera.accuracy.absolute)
    return Read(photo, patches, lab, stated, camera.accuracy.difference, of_pairs), camera


def one_gray(photo: ChartPhoto) -> Read:
    correction = gray_card(photo)
    patches = np.setdiff1d(photo.readable, [NEUTRAL_5])
    stated = np.full(len(patches), correction.systematic)
    return Read(photo, patches, correction.lab(photo.linear_rgb[patches]), stated, correction.difference)


def near(reads: Sequence[Read]) -> str:
    """Differences of patches up to 20 apart."""
    off = np.concatenate([read.differences((0.0, 20.0))[0] for read in reads])
    return (
        f"pairs up to 20 apart {off.mean():.2f} / p90 {np.percentile(off, 90):.2f} / p95 {np.percentile(off, 95):.2f}"
    )


def main(folder: Path) -> None:
    photos, _ = load(folder)
    six = [photo for photo in photos if photo.camera == "the project's six"]
    print("mean/p95, stated, held %, and p90, held % of differences", ", ".join(f"{a:g} to {b:g}" for a, b in APART))
    gray = [one_gray(photo) for photo in six]
    print(row("six photos: one gray", gray), near(gray), flush=True)
    five = [read(photo, [other for other in six if other is not photo])[0] for photo in six]
    print(row("six photos: learned from the five others", five), near(five), flush=True)
    one = [read(photo, [other])[0] for photo in six for other in six if other is not photo]
    print(row("six photos: learned from one other", one), near(one), flush=True)
    print("\nphones' camera raws, learned from the other shot in the same light, used where it should help")
    for phone, light, development in dict.fromkeys((p.camera, p.light, p.development) for p in photos if p.light):
        shots = [p for p in photos if (p.camera, p.light, p.development) == (phone, light, development)]
        grays, reads, used = [one_gray(photo) for photo in shots], [], []
        for photo in shots:
            learned, camera = read(photo, [other for other in shots if other is not photo])
            used.append(camera.helps)
            reads.append(learned if camera.helps else one_gray(photo))
        was, is_ = (np.concatenate([r.errors for r in some]).mean() for some in (grays, reads))
        print(row(f"{phone}, {light}, {development}", reads), f"one gray {was:.2f}, now {is_:.2f},",
              "used" if all(used) else "not used" if not any(used) else "used in one", flush=True)  # fmt: skip


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    main(parser.parse_args().folder)
