"""How often an ordinary photo raises a doubt about its light or its patches, and how often a shadow does, by ground.

Run it: ``python -m tests.studies.ordinary [photos] [seed]``.

A gray card at the left, on the same board as the wood or on a ground of its own that ends before the wood; three
patches on the wood, which is of one color or varies as boards do; one lamp, its light a little uneven. Shadows fall
over the card or over the wood, soft, or with the edge that a window frame in the sun has. Everything is simulated.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from colormatch.image.photo import DecodedPhoto, open_photo
from colormatch.records import Box, Region, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.repair import read_photo
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.scene import Scene, Shadow, Thing
from tests.scenes.spectra import LIGHTS
from tests.scenes.surface import Surface
from tests.scenes.woods import board, wood
from tests.studies.lamps import BOARDS, patches, wandering
from tests.studies.light import CARD, HEIGHT, WIDTH, Cloud, marked, quad

#: The seeds on which limits were set; every other one is held out.
TUNED = range(1, 5)
#: Ordinary photos for each one with a shadow.
_MORE = 4
#: What the card lies on.
GROUNDS = ("the same wood", "fiberboard", "plywood", "concrete", "cloth", "white paper")
#: Where the ground ends, and from where on patches are marked, pixels.
_GROUND_END, _PATCHES_FROM = 500, 620
#: Those that are as the wood of one piece is; boards of two woods are none.
ORDINARY_BOARDS = ("one wood", "varied")
#: Soft shadows: middle and radii, pixels.
_OVER_CARD, _OVER_WOOD = (180, 380, 220, 170), (950, 400, 300, 600)
#: Over what a shadow lies, the softness of its edge in pixels (0: soft all over) and the share of the light it takes.
SHADOWS: dict[str, tuple[str, float, float]] = {
    "ordinary": ("", 0, 0),
    "soft over the card, a third": ("card", 0, 0.35),
    "soft over the card, four fifths": ("card", 0, 0.8),
    "soft over the wood, a third": ("wood", 0, 0.35),
    "soft over the wood, four fifths": ("wood", 0, 0.8),
    "edged over the card, a half": ("card", 8, 0.5),
    "edged over the wood, a half": ("wood", 8, 0.5),
}
#: Doubts about light and patches, and those that the card by itself raises.
DOUBTS = (
    *("wood-other-light", "light-mixed", "card-in-shadow", "local-tones", "light-uneven", "light-patchy"),
    *("lighter-than-paper", "patch-off", "patch-too-even"),
)
OF_CARD = ("card-uneven", "card-shadow")


class Shot(NamedTuple):
    """A photograph and what is marked in it."""

    photo: DecodedPhoto
    card: Region
    patches: list[Region]
    scene: Scene


def ground(name: str, rng: np.random.Generator) -> Surface | None:
    """What lies under the card, as large as it shows."""
    shape = (HEIGHT, _GROUND_END)
    if name == "plywood":
        pale = wood(float(np.exp(rng.uniform(*np.log([0.9, 2])))), rng.uniform(95, 140), rng.uniform(0, 0.1), 1.4)
        return board(pale, shape, rng, period=rng.uniform(20, 90), angle=rng.uniform(0, 180))
    if name == "fiberboard":
        return things.bench_top(shape, rng)
    if name == "concrete":
        return things.bench_top(shape, rng, things.CONCRETE)
    if name == "cloth":
        return things.gray_cloth(rng, rng.uniform(0.1, 0.5), shape)
    return things.white_paper(shape) if name == "white paper" else None


def shot(under: str, wanders: str, shadow: str, seed: Sequence[int]) -> Shot:
    """A card on that ground beside a board, in the light of one lamp and that shadow."""
    rng = np.random.default_rng(seed)
    laid = [Thing("wood", "wood", wandering(BOARDS[wanders], rng), quad(Box(0, 0, WIDTH, HEIGHT)))]
    if (top := ground(under, rng)) is not None:
        laid.append(Thing("ground", "bench", top, quad(Box(0, 0, _GROUND_END, HEIGHT))))
    laid.append(Thing("card", "gray card", things.gray_card(), quad(CARD)))
    over, softness, depth = SHADOWS[shadow]
    clouds: tuple[Cloud, ...] = ()
    if over and not softness:
        clouds = ((*(_OVER_CARD if over == "card" else _OVER_WOOD), depth),)
    elif over:
        # Of something below the frame, whose shadow falls upwards into it.
        left, right = (-100, 420) if over == "card" else (560, WIDTH + 100)
        edge = Box(left, 2 * HEIGHT, right - left, 2 * HEIGHT)
        laid.append(
            Thing("edge", "distractor", things.dark_tape(), quad(edge), Shadow(depth, (0, -2.5 * HEIGHT), softness))
        )
    scene = Scene(WIDTH, HEIGHT, tuple(laid), clouds)
    lighting = Lighting(str(rng.choice(LIGHTS)), tuple(rng.normal(0, 0.05, 2).tolist()), rng.uniform(0, 0.1))
    camera = Camera.typical(rng, white_level=0.7)
    marks = patches(rng, _PATCHES_FROM)
    taken = encoded(scene.photograph(lighting, camera, rng), "JPEG", quality=95)
    return Shot(open_photo(taken), marked(RegionKind.CARD, CARD), marks, scene)


def codes(one: Shot) -> set[str]:
    """Doubts about light and patches."""
    reading = read_photo(one.photo, one.patches, CardChoice(region=one.card))
    flags = [*reading.card.flags, *reading.light.flags, *(flag for sample in reading.samples for flag in sample.flags)]
    return {flag.code for flag in flags} & {*DOUBTS, *OF_CARD}


def report(photos: int, seed: int) -> None:
    total: list[set[str]] = []
    for number, under in enumerate(GROUNDS):
        print(f"the card on {under}: photos with any doubt; which doubts")
        for shadow in SHADOWS:
            count = _MORE * photos if shadow == "ordinary" else photos
            boards = [ORDINARY_BOARDS[index % len(ORDINARY_BOARDS)] for index in range(count)]
            told = [codes(shot(under, wanders, shadow, (seed, number, i))) for i, wanders in enumerate(boards)]
            print(f"  {shadow:34s} {_share(told, {*DOUBTS, *OF_CARD})} of {count:3d}  {_each(told)}", flush=True)
            total += told if shadow == "ordinary" else []
    print(f"all {len(total)} ordinary photos: {_each(total)}")
    print(f"  a doubt of light or patches {_share(total, set(DOUBTS))}, of the card {_share(total, set(OF_CARD))}")


def _share(told: Sequence[set[str]], some: set[str]) -> str:
    return f"{np.mean([bool(one & some) for one in told]):4.0%}"


def _each(told: Sequence[set[str]]) -> str:
    return ", ".join(
        f"{code} {_share(told, {code}).strip()}" for code in (*DOUBTS, *OF_CARD) if any(code in one for one in told)
    )


if __name__ == "__main__":
    report(int(sys.argv[1]) if len(sys.argv) > 1 else 5, int(sys.argv[2]) if len(sys.argv) > 2 else TUNED[0])
