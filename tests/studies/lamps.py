"""How often two kinds of light are noticed from the wood itself, and how often a varied board is taken for them.

Run it: ``python -m tests.studies.lamps [photos] [seed]``.

A gray card at the left, on the wood or on a bench; three patches somewhere on the wood. A second lamp comes in from the
right: none at the left edge, its share at the right edge. The boards are of one wood, of a wood that wanders in depth
and hue, or one of two woods that blend into one another. Everything is simulated. "Cost" is the ΔE00 between the wood
as it is read and as it would be read in the first light alone.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.image.photo import open_photo
from colormatch.records import Box, Region, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.repair import read_photo
from colormatch.sampling.mixed_light import hue_change
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.scene import Scene, Thing
from tests.scenes.spectra import LIGHTS, FloatArray
from tests.scenes.surface import Surface, smooth_noise
from tests.scenes.woods import grain, wood
from tests.studies.light import CARD, HEIGHT, WIDTH, marked, quad

#: The seed on which limits were set; every other one is held out.
TUNED = 11
#: What the card lies on.
GROUNDS: dict[str, FloatArray | None] = {"wood": None, "concrete": things.CONCRETE, "fiberboard": things.FIBERBOARD}
#: How far a board wanders: standard deviations of log depth, of decay in nm and of redness between its two ends.
BOARDS = {"one wood": (0.0, 0.0, 0.0), "varied": (0.2, 10.0, 0.04), "two woods": (0.5, 25.0, 0.08)}
CASES: dict[str, dict[str, object]] = {
    "one light": {},
    "daylight, bulb 30 %": {"light": "D65", "second": "A", "second_share": 0.3},
    "daylight, bulb 60 %": {"light": "D65", "second": "A", "second_share": 0.6},
    "bulb, daylight 30 %": {"light": "A", "second": "D65", "second_share": 0.3},
    "LED, daylight 30 %": {"light": "LED-B1", "second": "D65", "second_share": 0.3},
}
#: Where the bench ends and the wood begins, pixels; and sides of a patch.
_BENCH_END, _PATCH = 500, (90, 200)


def wandering(spread: tuple[float, float, float], rng: np.random.Generator, period: float | None = None) -> Surface:
    """A board that goes over from one wood to another, slowly and in places; its grain of that period, or of any."""
    depth, decay, redness = float(np.exp(rng.uniform(*np.log([0.9, 8])))), rng.uniform(85, 165), rng.uniform(0, 0.25)
    contrast = rng.uniform(1.2, 2.4)
    other = (depth * np.exp(rng.normal(0, spread[0])), decay + rng.normal(0, spread[1]))
    reds = float(np.clip(redness + rng.normal(0, spread[2]), 0, 0.3))
    figure = grain(
        (HEIGHT, WIDTH),
        rng,
        period=period or float(np.exp(rng.uniform(*np.log([10, 90])))),
        angle=rng.uniform(0, 180),
        waviness=rng.uniform(0.3, 1.5),
        slow=rng.uniform(0.01, 0.05),
        cathedral=float(rng.choice([0, 0, 400])),
    )
    share = np.clip(0.5 + 0.5 * smooth_noise((HEIGHT, WIDTH), (HEIGHT / 3, WIDTH / 2.5), rng), 0, 1)[..., None]
    tones = [wood(depth, decay, redness, contrast).tones, wood(*other, reds, contrast).tones]
    return Surface(np.concatenate([figure * (1 - share), figure * share], -1).astype(np.float32), np.concatenate(tones))


def patches(rng: np.random.Generator, left: int, count: int = 3, sides: tuple[int, int] = _PATCH) -> list[Region]:
    """Boxes on the wood that don't overlap, clear of the card."""
    keep_clear = [Box(CARD.x - 20, CARD.y - 20, CARD.w + 40, CARD.h + 40)]
    found: list[Box] = []
    while len(found) < count:
        w, h = (int(side) for side in rng.integers(*sides, 2))
        one = Box(int(rng.integers(left, WIDTH - w)), int(rng.integers(0, HEIGHT - h)), w, h)
        if not any(_overlap(one, other) for other in (*keep_clear, *found)):
            found.append(one)
    return [Region.from_box(RegionKind.SOUND, box, WIDTH, HEIGHT, f"sound {i}") for i, box in enumerate(found, 1)]


def _overlap(one: Box, other: Box) -> bool:
    return (
        one.x < other.x + other.w and other.x < one.x + one.w and one.y < other.y + other.h and other.y < one.y + one.h
    )


def lamps(ground: str, wanders: str, seed: Sequence[int], cases: Sequence[str]) -> list[tuple[float, bool, FloatArray]]:
    """For each case the ΔE00 it costs, whether two lamps are told, and how the hue changes across the photo."""
    rng = np.random.default_rng(seed)
    laid = [Thing("wood", "wood", wandering(BOARDS[wanders], rng), quad(Box(0, 0, WIDTH, HEIGHT)))]
    bench = GROUNDS[ground]
    if bench is not None:
        top = things.bench_top((HEIGHT, _BENCH_END), rng, bench)
        laid.append(Thing("bench", "bench", top, quad(Box(0, 0, _BENCH_END, HEIGHT))))
    laid.append(Thing("card", "gray card", things.gray_card(), quad(CARD)))
    scene = Scene(WIDTH, HEIGHT, tuple(laid))
    regions = patches(rng, 20 if bench is None else _BENCH_END + 20)
    lamp, slope = str(rng.choice(LIGHTS)), tuple(rng.normal(0, 0.05, 2).tolist())
    camera, card = Camera.typical(rng, white_level=0.7), marked(RegionKind.CARD, CARD)

    def read(lighting: Lighting) -> tuple[FloatArray, set[str], FloatArray]:
        photo = open_photo(encoded(scene.photograph(lighting, camera, np.random.default_rng(seed)), "JPEG", quality=95))
        reading = read_photo(photo, regions, CardChoice(region=card))
        change = hue_change(photo, card, regions)
        lab = np.mean([sample.lab for sample in reading.samples], axis=0)
        return lab, {flag.code for flag in reading.light.flags}, np.array(change or (0, 0, 0))

    out = []
    for case in cases:
        lighting = Lighting(**{"light": lamp, "slope": slope, **CASES[case]})  # type: ignore[arg-type]
        lab, codes, change = read(lighting)
        alone = lab if lighting.second is None else read(replace(lighting, second=None))[0]
        out.append((float(delta_e(lab, alone)), "light-mixed" in codes, change))
    return out


def report(photos: int, seed: int) -> None:
    print("card on, board | light: cost in ΔE00, told; change of hue over the patches, the card included, share within")
    for number, ground in enumerate(GROUNDS):
        for other, wanders in enumerate(BOARDS):
            results = [lamps(ground, wanders, (seed, number, other, photo), tuple(CASES)) for photo in range(photos)]
            print(f"{ground}, {wanders}")
            for index, case in enumerate(CASES):
                costs, flags, changes = zip(*(result[index] for result in results), strict=True)
                over, reach, within = np.round(np.transpose(changes), 2).tolist()
                print(f"  {case:20s} {np.mean(costs):5.2f} {np.mean(flags):5.0%}", over, reach, within, flush=True)


if __name__ == "__main__":
    report(int(sys.argv[1]) if len(sys.argv) > 1 else 8, int(sys.argv[2]) if len(sys.argv) > 2 else TUNED)
