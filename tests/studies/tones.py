"""How often local tone mapping is noticed, by how much color it costs.

Run it: ``python -m tests.studies.tones [photos] [seed]``.

A gray card as they are, slightly mottled and curled, lies on the wood or on a bench, in light that slopes and falls off
to the corners; the camera takes a share of the contrast between the parts of the photograph (`camera.develop`), with
halos or with edges kept, looking near or far. Everything is simulated. "Cost" is the ΔE00 that this adds to the wood.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.image.photo import open_photo
from colormatch.records import Box, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.repair import read_photo
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.scene import Scene, Thing, rectangle
from tests.scenes.spectra import LIGHTS, FloatArray, flat
from tests.scenes.surface import Surface, mottled
from tests.scenes.woods import any_wood, board
from tests.studies.light import CARD, HEIGHT, SPOT, SPOTS, WIDTH, WOOD, marked, quad

#: The seed on which limits were set; every other one is held out.
TUNED = 7
#: What the card lies on: its reflectance, or None for the wood itself.
GROUNDS: dict[str, FloatArray | None] = {
    "wood": None,
    "white bench": flat(0.75),
    "concrete": things.CONCRETE,
    "fiberboard": things.FIBERBOARD,
    "dark bench": flat(0.06),
}
SHARES = (0.0, 0.1, 0.2, 0.3, 0.4)
#: How many more gray cards are marked.
MORE = (0, 2, 4)
_BENCH_WIDTH = 700
#: Standard deviations of a card's mottle and of what its curl takes at both ends, shares of the light. Our estimates.
_MOTTLE, _CURL = 0.008, 0.015


def card_as_they_are(rng: np.random.Generator, shape: tuple[int, int]) -> Surface:
    """A gray card that is printed and lies as cards do."""
    card = mottled(flat(0.18), shape, rng, depth=_MOTTLE, cell=25)
    across = np.linspace(-1, 1, shape[1])
    curl = 1 + rng.normal(0, _CURL) * across**2
    return Surface((card.shares * curl[None, :, None]).astype(np.float32), card.reflectances)


def scene(ground: FloatArray | None, rng: np.random.Generator) -> Scene:
    """Wood, at the left a bench over it or not, the card and four more cards."""
    figure = {"period": rng.uniform(12, 60), "angle": rng.uniform(0, 180), "slow": 0.05}
    wood = board(any_wood(rng), (HEIGHT, WIDTH), rng, **figure)
    laid = [Thing("wood", "wood", wood, rectangle((WIDTH / 2, HEIGHT / 2), (WIDTH, HEIGHT)))]
    if ground is not None:
        bench = things.bench_top((HEIGHT, _BENCH_WIDTH), rng, ground)
        laid.append(Thing("bench", "bench", bench, quad(Box(0, 0, _BENCH_WIDTH, HEIGHT))))
    laid.append(Thing("card", "gray card", card_as_they_are(rng, (CARD.h, CARD.w)), quad(CARD)))
    for number, at in enumerate(SPOTS):
        more = card_as_they_are(rng, SPOT[::-1])
        laid.append(Thing(f"card {number}", "gray card", more, quad(Box(*at, *SPOT))))
    return Scene(WIDTH, HEIGHT, tuple(laid))


#: Of a photograph: ΔE00 that local tones cost with a gray card alone, and whether they are told with each of `MORE`.
Told = tuple[float, list[bool]]


def told(ground: FloatArray | None, seed: Sequence[int], shares: Sequence[float]) -> list[Told]:
    """What each share costs in one scene, and whether it is told."""
    rng = np.random.default_rng(seed)
    photographed = scene(ground, rng)
    light = Lighting(str(rng.choice(LIGHTS)), tuple(rng.normal(0, 0.06, 2)), vignette=rng.uniform(0, 0.2))
    camera = Camera.typical(
        rng, white_level=0.7, local_edge=rng.choice([0.4, 0.8, 3.0]), local_radius=rng.choice([0.05, 0.1, 0.2])
    )
    out: list[Told] = []
    plain = None
    for share in (0.0, *(share for share in shares if share)):
        shot = photographed.photograph(light, replace(camera, local_tone=share), np.random.default_rng(seed))
        photo = open_photo(encoded(shot, "JPEG", quality=95))
        labs, flags = [], []
        for more in MORE:
            regions = [marked(RegionKind.SOUND, WOOD)]
            regions += [marked(RegionKind.WHITE, Box(*SPOTS[i], *SPOT)) for i in range(more)]
            reading = read_photo(photo, regions, CardChoice(region=marked(RegionKind.CARD, CARD)))
            labs.append(np.array(reading.samples[0].lab))
            flags.append("local-tones" in {flag.code for flag in reading.light.flags})
        plain = labs[0] if plain is None else plain
        out.append((float(delta_e(labs[0], plain)), flags))
    return out


def report(photos: int, seed: int) -> None:
    print("share of the contrast taken: cost in ΔE00, and in how many photos it is told with 0, 2, 4 more gray cards")
    everything: list[Told] = []
    for number, (name, ground) in enumerate(GROUNDS.items()):
        results = [told(ground, (seed, number, photo), SHARES) for photo in range(photos)]
        row = [f"{name:12s}"]
        for index, share in enumerate(SHARES):
            cost = np.mean([result[index][0] for result in results])
            flags = np.mean([result[index][1] for result in results], axis=0)
            row.append(f"{share:4.0%} {cost:4.1f}  " + " ".join(f"{one:4.0%}" for one in flags))
        print(" | ".join(row), flush=True)
        everything += [one for result in results for one in result[1:]]
    for low, high in ((0, 1), (1, 2), (2, 4), (4, 20)):
        some = [flags for cost, flags in everything if low <= cost < high]
        print(
            f"cost {low} to {high}, {len(some)} photos, told:", " ".join(f"{one:4.0%}" for one in np.mean(some, axis=0))
        )


if __name__ == "__main__":
    report(int(sys.argv[1]) if len(sys.argv) > 1 else 8, int(sys.argv[2]) if len(sys.argv) > 2 else TUNED)
