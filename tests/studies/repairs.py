"""Whole repairs, photograph to dried wash to checked second coat: ``python -m tests.studies.repairs [how many]``.

Everything is simulated: boards of random woods, a gray card, a phone's photograph, and paints that dry by another model
than the product's, with 12 % scatter of the film. The product sees the photographs only. Printed is what is really left
(ΔE00), as mean ± its standard error / 90th percentile.

With ``learn`` after the number, five pieces of the same woods are repaired first and each repair is kept as a swatch;
the sixth is then repaired with and without them. The shelf of that study holds one swatch of each paint.
"""

import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from colormatch.check.judge import judge_repair, what_next
from colormatch.check.learn import before_painting, swatch_from
from colormatch.check.next_step import Move, worth_doing
from colormatch.image.photo import open_photo
from colormatch.records import Box, Layer, Limits, Reading, RegionKind, Shelf
from colormatch.reference.card_choice import CardChoice
from colormatch.repair import boxed, match_repair, read_photo, surface
from colormatch.workshop import Workshop, fitted_models, starter_workshop
from tests.scenes import things
from tests.scenes.camera import Camera, Lighting
from tests.scenes.files import encoded
from tests.scenes.paints import HELD_BY_TONES, PAINTS, Wash, dried, washed
from tests.scenes.scene import Scene, Thing, rectangle
from tests.scenes.spectra import LIGHTS, FloatArray, delta_e, reflectance_to_lab
from tests.scenes.woods import Wood, any_wood, board

SIZE = (1000, 750)
SOUND = [Box(60, 60, 160, 120), Box(60, 420, 160, 120), Box(420, 60, 160, 120), Box(330, 330, 160, 120)]
DAMAGE_AT, DAMAGE_SIZE = (780, 560), (320, 240)
DAMAGE = [Box(670, 480, 100, 80), Box(790, 480, 100, 80), Box(720, 590, 100, 60)]
CARD_AT, CARD_SIZE = (800, 200), (260, 180)
#: Repairs that nobody would begin, and those that no wash is for.
_LEAST, _MOST = 5.0, 25.0
_RATIOS = tuple(1 / (1 + water) for water in (0, 1, 2, 3, 4, 5, 7, 9, 12, 16, 24))
#: Ratios that the oracle tries for each of two washes; it refines the nearest pairs with all of them.
_COARSE = tuple(1 / (1 + water) for water in (0, 2, 5, 12))
_REFINED = 12
#: What is left of a film that is wiped back: nobody has measured it.
_WIPED = (0.25, 0.75)
#: Repairs that are kept as swatches before the one that counts.
LESSONS = 5


class Repair:
    """One piece of furniture, and the person who repairs it."""

    def __init__(self, seed: int, woods: tuple[Wood, Wood] | None = None) -> None:
        self.rng = np.random.default_rng(seed)
        sound = woods[0] if woods else any_wood(self.rng)
        self.sound = board(sound, SIZE[::-1], self.rng)
        damage = woods[1] if woods else any_wood(self.rng)
        self.damage = board(damage, DAMAGE_SIZE[::-1], self.rng)
        self.woods = (sound, damage)
        self.shares = self.damage.shares.mean(axis=(0, 1), dtype=float)
        self.truth: FloatArray = np.asarray(self.sound.lab())
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

    def left(self, washes: Sequence[Wash] | None = None) -> float:
        """What is really off: ΔE00 between repair and sound wood."""
        tones = dried(self.damage.reflectances, self.painted if washes is None else washes, held=HELD_BY_TONES)
        return float(delta_e(reflectance_to_lab(self.shares @ tones), self.truth))

    def paint(self, layers: Sequence[Layer]) -> None:
        for layer in layers:
            wash = Wash(PAINTS[layer.paints[0].paint], layer.paint_fraction, layer.coats)
            self.painted.append(wash.scattered(self.rng))

    def wipe(self) -> None:
        """Wipe the last wash back."""
        last = self.painted.pop()
        self.painted.append(
            Wash(last.paint, last.paint_fraction, last.coats, last.thickness * self.rng.uniform(*_WIPED))
        )

    def oracles(self) -> tuple[float, float]:
        """The least that one wash, and that two washes could leave, without scatter."""
        paints = PAINTS.values()
        singles = [Wash(paint, fraction, coats) for paint in paints for fraction in _RATIOS for coats in (1, 2)]
        one = min(self.left([wash]) for wash in singles)
        coarse = [Wash(paint, fraction, 1) for paint in paints for fraction in _COARSE]
        pairs = sorted(((self.left([low, top]), low.paint, top.paint) for low in coarse for top in coarse),
                       key=lambda pair: pair[0])  # fmt: skip
        best = {(low.name, top.name): (low, top) for _, low, top in reversed(pairs[: 4 * _REFINED])}
        two = min(
            self.left([Wash(low, first, 1), Wash(top, second, 1)])
            for low, top in list(best.values())[-_REFINED:]
            for first in _RATIOS
            for second in _RATIOS
        )
        return one, min(one, two)

    def photograph(self, kind: RegionKind) -> Reading:
        """A photo of it as it is, read by the product; the person marks the damage as ``kind``."""
        taken = self.scene(self.painted).photograph(Lighting(self.light), Camera.typical(self.rng), self.rng)
        photo = open_photo(encoded(taken, "JPEG", quality=92))
        card = boxed(photo, RegionKind.CARD, [Box(CARD_AT[0] - 110, CARD_AT[1] - 70, 220, 140)])[0]
        regions = [*boxed(photo, RegionKind.SOUND, SOUND), *boxed(photo, kind, DAMAGE)]
        return read_photo(photo, regions, CardChoice(region=card))


def worth_repairing(count: int) -> list[Repair]:
    """The first repairs that somebody would begin."""
    found: list[Repair] = []
    seed = 0
    while len(found) < count:
        repair = Repair(seed)
        if _LEAST <= repair.left([]) <= _MOST:
            found.append(repair)
        seed += 1
    return found


@cache
def shelf() -> Workshop:
    return starter_workshop()


def whole(repair: Repair) -> tuple[float, ...]:
    """Really left: nothing done, first wash, after the advice, two planned at once, best single, best two washes."""
    nothing, oracles = repair.left(), repair.oracles()
    damaged = repair.photograph(RegionKind.DAMAGE)
    planned = match_repair(damaged, shelf(), Limits(layers=2)).washes[0]
    repair.paint(planned.layers)
    both = repair.left()
    repair.painted = []
    first = match_repair(damaged, shelf()).washes[0]
    repair.paint(first.layers)
    after_first = repair.left()
    checked = repair.photograph(RegionKind.REPAIR)
    if not judge_repair([checked]).done:
        steps = what_next(checked, shelf(), painted=first.layers, before=before_painting(damaged).damage)
        for step in worth_doing(steps)[:1]:
            if step.move is Move.WIPE:
                repair.wipe()
            repair.paint(step.layers)
    return nothing, after_first, repair.left(), both, *oracles


# --- learning --------------------------------------------------------------------------------------------------------


@cache
def small_shelf() -> Shelf:
    """One swatch of each paint: half strength, one coat, on light wood."""
    full = shelf().shelf
    first = [next(s for s in full.of(paint.name) if (s.water_parts, s.coats, s.ground) == (1, 1, "light wood"))
             for paint in full.paints]  # fmt: skip
    return replace(full, swatches=tuple(first))


def workshop(of: Shelf, models: Workshop | None = None) -> Workshop:
    """A shelf made ready; models of paints without new swatches are taken over."""
    same = {} if models is None else {
        name: model for name, model in models.models.items() if of.of(name) == models.shelf.of(name)
    }  # fmt: skip
    fresh = replace(of, paints=tuple(paint for paint in of.paints if paint.name not in same))
    return Workshop(of, same | fitted_models(fresh), lent=False)


@cache
def beginning() -> Workshop:
    return workshop(small_shelf())


def learned(repair: Repair, number: int) -> tuple[float, ...]:
    """Really left on the sixth piece: nothing done, first wash without and with five kept swatches."""
    knows = beginning()
    for lesson in range(LESSONS):
        earlier = Repair(10_000 * (lesson + 1) + number, repair.woods)
        damaged = earlier.photograph(RegionKind.DAMAGE)
        # A person tries something else where leaving it alone is ranked first.
        best = next(wash for wash in match_repair(damaged, knows).washes if wash.layers)
        earlier.paint(best.layers)
        checked = earlier.photograph(RegionKind.REPAIR)
        swatch = swatch_from(
            surface(checked, RegionKind.REPAIR), checked, before_painting(damaged), best.layers, "this damage"
        )
        knows = workshop(replace(knows.shelf, swatches=(*knows.shelf.swatches, swatch)), knows)
    damaged = repair.photograph(RegionKind.DAMAGE)
    results = [repair.left()]
    for known in (beginning(), knows):
        repair.painted = []
        repair.rng = np.random.default_rng(number)  # the same luck for both
        repair.paint(match_repair(damaged, known).washes[0].layers)
        results.append(repair.left())
    return tuple(results)


# --- print -----------------------------------------------------------------------------------------------------------


def summary(name: str, values: FloatArray) -> str:
    error = values.std(ddof=1) / np.sqrt(len(values))
    return f"  {name:34s} {values.mean():5.2f} ± {error:.2f} / {np.percentile(values, 90):5.2f}"


def table(names: Sequence[str], columns: FloatArray) -> None:
    for name, column in zip(names, columns, strict=True):
        print(summary(name, column))


def main() -> None:
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    if "learn" in sys.argv[2:]:
        columns = np.array([learned(repair, number) for number, repair in enumerate(worth_repairing(wanted))]).T
        print(f"{wanted} pieces, each the sixth of its woods; gray card, one swatch of each paint; ΔE00 really left")
        table(("nothing done", "first wash, nothing learned", f"first wash, {LESSONS} swatches kept"), columns)
        print(summary("gain", columns[1] - columns[2]))
        return
    columns = np.array([whole(repair) for repair in worth_repairing(wanted)]).T
    print(f"{wanted} simulated repairs, gray card, starter shelf; ΔE00 really left")
    table(
        (
            "nothing done",
            "first wash",
            "after the check's advice",
            "two washes planned at once",
            "best single wash",
            "best two washes",
        ),
        columns,
    )
    print(summary("gain by the advice", columns[1] - columns[2]))
    print(summary("first wash over best single", columns[1] - columns[4]))
    print(f"  first wash better than nothing in {100 * (columns[1] < columns[0]).mean():.0f} % of the repairs")
    print(f"  advice made it worse by more than 0.5 in {100 * (columns[2] > columns[1] + 0.5).mean():.0f} %")


if __name__ == "__main__":
    main()
