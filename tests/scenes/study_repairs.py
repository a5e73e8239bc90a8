"""Whole repairs, photograph to dried wash to checked second coat: ``python -m tests.scenes.study_repairs [how many]``.

Everything is simulated: boards of random woods, a gray card, a phone's photograph, and paints that dry by another model
than the product's, with 12 % scatter of the film. The product sees the photographs only, and ranks the starter shelf.
Printed is what is really left (ΔE00, mean / 90th percentile).
"""

import sys
from collections.abc import Sequence
from functools import cache

import numpy as np

from colormatch.photo.neutral import CardChoice, find_neutral
from colormatch.photo.read import open_photo
from colormatch.records import Box, Layer, RegionKind
from colormatch.repair import boxed, match_repair, next_washes, read_regions
from colormatch.workshop import Workshop, starter_workshop
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.paints import PAINTS, Wash, washed
from tests.scenes.scene import Scene, Thing, rectangle
from tests.scenes.spectra import LIGHTS, FloatArray, delta_e
from tests.scenes.surface import Surface
from tests.scenes.woods import any_wood, board

SIZE = (1000, 750)
SOUND = [Box(60, 60, 160, 120), Box(60, 420, 160, 120), Box(420, 60, 160, 120), Box(330, 330, 160, 120)]
DAMAGE_AT, DAMAGE_SIZE = (780, 560), (320, 240)
DAMAGE = [Box(670, 480, 100, 80), Box(790, 480, 100, 80), Box(720, 590, 100, 60)]
CARD_AT, CARD_SIZE = (800, 200), (260, 180)
#: Repairs that nobody would begin, and those that no wash is for.
_LEAST, _MOST = 5.0, 25.0
_RATIOS = tuple(1 / (1 + water) for water in (0, 1, 2, 3, 4, 5, 7, 9, 12, 16, 24))


class Repair:
    """One piece of furniture, and the person who repairs it."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.sound = board(any_wood(self.rng), SIZE[::-1], self.rng)
        self.damage = board(any_wood(self.rng), DAMAGE_SIZE[::-1], self.rng)
        self.light = str(self.rng.choice(list(LIGHTS)))
        self.painted: list[Wash] = []

    def scene(self, washes: Sequence[Wash]) -> Scene:
        damage = washed(self.damage, washes)
        return Scene(
            *SIZE,
            (
                Thing("sound", "wood", self.sound, rectangle((SIZE[0] / 2, SIZE[1] / 2), SIZE)),
                Thing("damage", "wood", damage, rectangle(DAMAGE_AT, DAMAGE_SIZE)),
                Thing("card", "gray card", things.gray_card(), rectangle(CARD_AT, CARD_SIZE)),
            ),
        )

    @property
    def truth(self) -> FloatArray:
        return np.asarray(self.sound.lab())

    def left(self, washes: Sequence[Wash] | None = None) -> float:
        """What is really off: ΔE00 between repair and sound wood."""
        surface: Surface = washed(self.damage, self.painted if washes is None else washes)
        return float(delta_e(np.asarray(surface.lab()), self.truth))

    def paint(self, layers: Sequence[Layer]) -> None:
        for layer in layers:
            wash = Wash(PAINTS[layer.paints[0].paint], layer.paint_fraction, layer.coats)
            self.painted.append(wash.scattered(self.rng))

    def best_single(self) -> float:
        """The oracle: the least of all single washes, without scatter."""
        return min(
            self.left([Wash(paint, fraction, coats)])
            for paint in PAINTS.values()
            for fraction in _RATIOS
            for coats in (1, 2)
        )

    def photograph(self) -> bytes:
        photo = self.scene(self.painted).photograph(Lighting(self.light), Camera.typical(self.rng), self.rng)
        return encoded(photo, "JPEG", quality=92)


@cache
def shelf() -> Workshop:
    return starter_workshop()


def one(seed: int) -> tuple[float, float, float, float] | None:
    """(nothing, first wash, after the advice, oracle) in ΔE00; None where the woods need no wash, or none would do."""
    repair = Repair(seed)
    nothing = repair.left([])
    if not _LEAST <= nothing <= _MOST:
        return None
    oracle = repair.best_single()
    photo = open_photo(repair.photograph())
    card = boxed(photo, RegionKind.CARD, [Box(CARD_AT[0] - 110, CARD_AT[1] - 70, 220, 140)])[0]
    regions = [*boxed(photo, RegionKind.SOUND, SOUND), *boxed(photo, RegionKind.DAMAGE, DAMAGE)]
    neutral = find_neutral(photo, CardChoice(region=card))
    first = match_repair(read_regions(photo, neutral, regions), regions, shelf()).washes[0]
    repair.paint(first.layers)
    after_first = repair.left()
    photo = open_photo(repair.photograph())
    regions = [*boxed(photo, RegionKind.SOUND, SOUND), *boxed(photo, RegionKind.REPAIR, DAMAGE)]
    _, following = next_washes(photo, find_neutral(photo, CardChoice(region=card)), regions, shelf())
    if following:
        repair.paint(following[0].layers)
    return nothing, after_first, repair.left(), oracle


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    results: list[tuple[float, float, float, float]] = []
    seed = 0
    while len(results) < wanted:
        result = one(seed)
        seed += 1
        if result is not None:
            results.append(result)
    columns = np.array(results).T
    print(f"{wanted} simulated repairs, gray card, starter shelf; really left, ΔE00 mean / 90th percentile")
    for name, column in zip(
        ("nothing done", "first wash", "after the check's advice", "best single"), columns, strict=True
    ):
        print(f"  {name:26s} {column.mean():5.2f} / {np.percentile(column, 90):5.2f}")
    print(f"  first wash better than nothing in {100 * (columns[1] < columns[0]).mean():.0f} % of the repairs")


if __name__ == "__main__":
    main()
