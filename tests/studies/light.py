"""What uneven light costs, what white places win back, and which bad light is noticed.

Run it: ``python -m tests.studies.light [photos] [seed]``.

A gray card at the left and a piece of wood at the right, in light that changes across the frame, photographed by the
simulator's cameras under its lights. Everything is simulated. "Cost" is the ΔE00 between what is read in that light and
what is read in even light, all else being the same.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.records import Box, CardKind, Region, RegionKind
from colormatch.reference.card_choice import CardChoice
from colormatch.repair import read_photo
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.scene import Scene, Thing, rectangle
from tests.scenes.spectra import LIGHTS, FloatArray
from tests.scenes.surface import Surface
from tests.scenes.woods import any_wood, board

#: The seed on which limits were set, and the next one; all others are held out.
TUNED = 1
WIDTH, HEIGHT = 1200, 800
CARD = Box(60, 300, 240, 160)
#: From the middle of the card to the middle of the wood lie two thirds of the frame.
WOOD = Box(880, 280, 200, 200)
#: White or gray spots beside the job, and how large they are.
SPOTS = ((60, 40), (1040, 40), (1040, 660), (60, 660))
SPOT = (120, 90)


#: A soft-edged shadow: middle x, y and radii in pixels, and the share of the light that it takes.
Cloud = tuple[float, float, float, float, float]


#: What the card may lie on instead of the wood, and where that ends, pixels.
BENCHES = {"wood": None, "concrete": things.CONCRETE, "fiberboard": things.FIBERBOARD}
_BENCH_END = 700


def scene(
    rng: np.random.Generator,
    spot: Surface,
    kind: CardKind = CardKind.GRAY,
    clouds: tuple[Cloud, ...] = (),
    bench: FloatArray | None = None,
) -> Scene:
    """Wood all over or a bench at the left, the card and the spots on it."""
    card = things.gray_card() if kind is CardKind.GRAY else things.three_step_card()
    laid = [Thing("wood", "wood", board(any_wood(rng), (HEIGHT, WIDTH), rng), quad(Box(0, 0, WIDTH, HEIGHT)))]
    if bench is not None:
        top = things.bench_top((HEIGHT, _BENCH_END), rng, bench)
        laid.append(Thing("bench", "bench", top, quad(Box(0, 0, _BENCH_END, HEIGHT))))
    laid += [
        Thing("card", str(kind), card, quad(CARD)),
        *(Thing(f"spot {i}", "spot", spot, quad(Box(*at, *SPOT))) for i, at in enumerate(SPOTS)),
    ]
    return Scene(WIDTH, HEIGHT, tuple(laid), clouds)


def quad(box: Box) -> FloatArray:
    return rectangle((box.x + box.w / 2, box.y + box.h / 2), (box.w, box.h))


def marked(kind: RegionKind, box: Box, margin: int = 8) -> Region:
    inner = Box(box.x + margin, box.y + margin, box.w - 2 * margin, box.h - 2 * margin)
    return Region.from_box(kind, inner, WIDTH, HEIGHT)


@dataclass(frozen=True)
class Way:
    name: str
    spot: Surface
    #: Which of the spots are marked.
    marked: Sequence[int] = ()
    kind: CardKind = CardKind.GRAY


WAYS = (
    Way("gray card", things.white_paper()),
    Way("gray card, two more gray cards", things.gray_card(), (0, 1)),
    Way("gray card, four more gray cards", things.gray_card(), (0, 1, 2, 3)),
    Way("gray card, two white spots", things.white_paper(), (0, 1)),
    Way("gray card, four white spots", things.white_paper(), (0, 1, 2, 3)),
    Way("three steps", things.white_paper(), kind=CardKind.THREE_STEP),
    Way("three steps, four white spots", things.white_paper(), (0, 1, 2, 3), CardKind.THREE_STEP),
    Way("three steps, four more gray cards", things.gray_card(), (0, 1, 2, 3), CardKind.THREE_STEP),
)


def read(
    way: Way,
    lighting: Lighting,
    camera: Camera,
    seed: int,
    clouds: tuple[Cloud, ...] = (),
    bench: FloatArray | None = None,
) -> tuple[FloatArray, set[str]]:
    """Lab of the wood, and the codes of all doubts about card and light."""
    rng = np.random.default_rng(seed)
    photo = scene(rng, way.spot, way.kind, clouds, bench).photograph(lighting, camera, rng)
    regions = [marked(RegionKind.SOUND, WOOD)]
    regions += [marked(RegionKind.WHITE, Box(*SPOTS[i], *SPOT)) for i in way.marked]
    choice = CardChoice(way.kind, region=marked(RegionKind.CARD, CARD, 0 if way.kind is CardKind.THREE_STEP else 8))
    reading = read_photo(encoded(photo, "JPEG", quality=95), regions, choice)
    flags = (*reading.card.flags, *reading.light.flags, *reading.samples[0].flags)
    return np.array(reading.samples[0].lab), {flag.code for flag in flags}


def costs(way: Way, slope: float, photos: int, seed: int = 1, **light: object) -> FloatArray:
    """(photos,) ΔE00 that uneven light adds; `slope` is its change from the middle of the card to that of the wood."""
    # The frame is this much wider than that distance.
    across = slope * WIDTH / (WOOD.x + WOOD.w / 2 - CARD.x - CARD.w / 2)
    out = []
    for index in range(photos):
        rng = np.random.default_rng([seed, index])
        lamp = str(rng.choice(LIGHTS))
        # Dim enough that white paper isn't clipped at the bright end.
        camera = Camera.typical(rng, white_level=0.7)
        sign = float(rng.choice([-1, 1]))
        uneven = Lighting(lamp, (sign * across, float(rng.normal(0, 0.05)) if slope else 0.0), **light)  # type: ignore[arg-type]
        (one, _), (other, _) = (
            read(way, lighting, camera, 100 * seed + index) for lighting in (uneven, Lighting(lamp))
        )
        out.append(float(delta_e(one, other)))
    return np.array(out)


#: What a photo was taken in: lighting, camera and shadows besides the usual.
Bad = tuple[dict[str, object], dict[str, object], tuple[Cloud, ...]]
#: A shadow over the right half, wood and two of the spots; and one over the card.
_OVER_WOOD, _OVER_CARD = (1150, 400, 330, 600), (180, 380, 220, 170)
CASES: dict[str, Bad] = {
    "ordinary": ({}, {}, ()),
    "ordinary, light slopes by 10 %": ({"slope": (0.1, 0.05), "vignette": 0.1}, {}, ()),
    "bulb and daylight, 30 % at one edge": ({"light": "D65", "second": "A", "second_share": 0.3}, {}, ()),
    "bulb and daylight, 60 % at one edge": ({"light": "D65", "second": "A", "second_share": 0.6}, {}, ()),
    "wood in a shadow that takes a third": ({}, {}, ((*_OVER_WOOD, 0.35),)),
    "wood in a shadow that takes four fifths": ({}, {}, ((*_OVER_WOOD, 0.8),)),
    "card in a shadow that takes a third": ({}, {}, ((*_OVER_CARD, 0.35),)),
    "card in a shadow that takes four fifths": ({}, {}, ((*_OVER_CARD, 0.8),)),
    "local tones, some": ({}, {"local_tone": 0.15}, ()),
    "local tones, strong": ({}, {"local_tone": 0.3}, ()),
}
#: Doubts that say that the light or the tones are not to be trusted.
TELLING = (
    *("light-mixed", "light-patchy", "light-uneven", "other-light", "wood-other-light"),
    *("card-other-light", "card-uneven", "card-shadow", "card-in-shadow", "local-tones", "lighter-than-paper"),
)


def noticed(
    way: Way, case: str, photos: int, seed: int = 2, bench: FloatArray | None = None
) -> tuple[dict[str, float], FloatArray]:
    """Share of photos in which each telling doubt is raised, and what the light costs, (photos,) ΔE00."""
    light, phone, clouds = CASES[case]
    counts = dict.fromkeys((*TELLING, "any"), 0.0)
    off = []
    for index in range(photos):
        rng = np.random.default_rng([seed, index])
        lighting = Lighting(**{"light": str(rng.choice(LIGHTS)), **light})  # type: ignore[arg-type]
        camera = Camera.typical(rng, **{"white_level": 0.7, **phone})
        lab, codes = read(way, lighting, camera, 100 * seed + index, clouds, bench)
        plain, _ = read(way, Lighting(lighting.light), replace(camera, local_tone=0.0), 100 * seed + index, (), bench)
        off.append(float(delta_e(lab, plain)))
        for code in codes & set(TELLING):
            counts[code] += 1 / photos
        counts["any"] += bool(codes & set(TELLING)) / photos
    return counts, np.array(off)


def report(photos: int, seed: int) -> None:
    print("ΔE00 that uneven light costs, mean/95th percentile; change of the light from card to wood:")
    for way in WAYS:
        row = [f"{way.name:36s}"]
        for slope in (0.10, 0.20, 0.40):
            found = costs(way, slope, photos, seed)
            row.append(f"{slope:4.0%} {found.mean():5.2f}/{np.percentile(found, 95):5.2f}")
        print(*row, flush=True)
    on_wood = [(way.name, way, None) for way in (WAYS[0], WAYS[2], WAYS[4])]
    on_benches = [(f"{WAYS[0].name} on {name}", WAYS[0], bench) for name, bench in BENCHES.items() if bench is not None]
    for name, way, bench in (*on_wood, *on_benches):
        print(f"{name}: what the light costs, ΔE00 mean, and how often it is doubted")
        for case in CASES:
            counts, off = noticed(way, case, photos, seed + 1, bench)
            told = ", ".join(f"{code} {share:.0%}" for code, share in counts.items() if share and code != "any")
            print(f"  {case:42s} {off.mean():5.2f}  {counts['any']:4.0%}  {told}", flush=True)


if __name__ == "__main__":
    report(int(sys.argv[1]) if len(sys.argv) > 1 else 20, int(sys.argv[2]) if len(sys.argv) > 2 else TUNED)
