"""How well the wash model does on paints that aren't made by it: ``python -m tests.studies.wash``.

The truth is `tests.scenes.paints`: other shapes of absorption and scattering, films of uneven thickness, thin washes
held back by the wood, another law for the surface. Each figure is ΔE00, mean / 95th percentile, over ten paints, woods
that no swatch was painted on, six dilutions and one to three coats; everything is simulated.
"""

import argparse
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.records import SIGMA_PER_RADIUS, ClearCoatPair, Lab, Layer, Part, Swatch
from colormatch.wash.clear import ClearCoat, fit_clear
from colormatch.wash.paint import PaintModel, fit_paint
from colormatch.wash.predict import draw_normals, predict_many
from tests.scenes import paints as truth
from tests.scenes import transport
from tests.scenes.spectra import FloatArray, reflectance_to_lab
from tests.scenes.woods import DARK_WOOD, LIGHT_WOOD, any_wood

#: Grounds on which swatches are painted.
GROUNDS = {
    "light wood": LIGHT_WOOD.field,
    "dark wood": DARK_WOOD.field,
    "white card": truth.WHITE_CARD,
    "black card": truth.BLACK_CARD,
}
#: What is painted before the model is asked: (ground, parts of paint, parts of water, coats).
SWATCH_SETS: dict[str, tuple[tuple[str, float, float, int], ...]] = {
    "1: 1:1 on light wood": (("light wood", 1, 1, 1),),
    "2: full, 1:7 on light wood": (("light wood", 1, 0, 1), ("light wood", 1, 7, 1)),
    "3: full on white, black; 1:3 on white": (
        ("white card", 1, 0, 1), ("black card", 1, 0, 1), ("white card", 1, 3, 1),
    ),
    "4: full, 1:3, 1:3 x2 on light; 1:3 on dark": (
        ("light wood", 1, 0, 1), ("light wood", 1, 3, 1), ("light wood", 1, 3, 2), ("dark wood", 1, 3, 1),
    ),
    "6: mixed": (
        ("light wood", 1, 0, 1), ("light wood", 1, 1, 1), ("light wood", 1, 3, 2),
        ("light wood", 1, 7, 1), ("dark wood", 1, 1, 1), ("white card", 1, 3, 1),
    ),
}  # fmt: skip
#: Fourteen swatches, for timing: every ground, four ratios, one to three coats.
FOURTEEN = tuple((list(GROUNDS)[i % 4], 1.0, float((0, 1, 3, 7)[i // 4]), 1 + i % 3) for i in range(14))
#: Goals for mean and 95th percentile at measurement noise 0.5; None where the table of goals has no row.
GOALS = {1: (3.0, 6.0), 2: (1.5, 3.5), 3: (1.2, 2.5), 6: (1.0, 2.1)}
COVERAGE_GOAL = (0.85, 0.97)
#: What parts of water are usually off by.
WATER = 0.15
WATER_PARTS = (0, 1, 2, 3, 5, 8)
COATS = (1, 2, 3)
WOODS = 8


@dataclass(frozen=True)
class Trial:
    """One way to measure and to paint."""

    #: Standard deviation of L*, a* and b* of a reading.
    noise: float = 0.5
    #: Spread of the film from one application of a wash to the next.
    scatter: float = truth.APPLICATION_SCATTER
    #: Spread of the parts of water that get into a cup.
    water: float = 0.0

    def radius(self, lab: Lab) -> float:
        """The 90 % radius of such a reading in ΔE00."""
        return float(self.noise / SIGMA_PER_RADIUS * np.sqrt(np.mean(axis_weights(np.array(lab)) ** 2)))


def reading(reflectance: FloatArray, trial: Trial, rng: np.random.Generator) -> Lab:
    """A spot as it is read."""
    lab = reflectance_to_lab(reflectance) + rng.normal(0, trial.noise, 3)
    return Lab(float(np.clip(lab[0], 0, 100)), float(lab[1]), float(lab[2]))


def swatches_of(
    name: str,
    recipe: Sequence[tuple[str, float, float, int]],
    trial: Trial,
    rng: np.random.Generator,
    paint: truth.Paint | transport.Paint | None = None,
    dried: Callable[[FloatArray, Sequence[truth.Wash]], FloatArray] = truth.dried,
) -> list[Swatch]:
    """Swatches of a paint, painted and read; ``dried`` is the law by which they dry."""
    made = []
    for ground, parts, water, coats in recipe:
        wash = truth.Wash(paint or truth.PAINTS[name], parts / (parts + water), coats)
        wash = wash.scattered(rng, trial.scatter, trial.water)
        bare, dry = GROUNDS[ground], dried(GROUNDS[ground], [wash])
        lab = reading(dry, trial, rng)
        made.append(Swatch(name, parts, water, coats, ground, Lab(*reflectance_to_lab(bare)), lab, trial.radius(lab)))
    return made


def unseen_woods() -> FloatArray:
    """(8, 81) woods on which no swatch was painted."""
    rng = np.random.default_rng(7)
    return np.array([any_wood(rng).field for _ in range(WOODS)])


def single_washes() -> list[tuple[float, int]]:
    """(paint fraction, coats) that are asked for."""
    return [(1 / (1 + water), coats) for water in WATER_PARTS for coats in COATS]


def predicted(
    models: dict[str, PaintModel], recipes: list[list[Layer]], grounds: FloatArray, clear: ClearCoat | None = None
) -> FloatArray:
    """(recipes, grounds, 3) best estimates over grounds (n, 3) whose colors are known."""
    chances = draw_normals(np.random.default_rng(0), 1)
    return np.stack([predict_many(models, recipes, Lab(*g), 0.0, chances, clear)[0] for g in grounds], axis=1)


def layer(name: str, fraction: float, coats: int = 1) -> Layer:
    return Layer((Part(name),), fraction, coats)


def summary(errors: FloatArray) -> str:
    return f"{np.mean(errors):5.2f}/{np.percentile(errors, 95):5.2f}"


def truth_of(recipe: Sequence[truth.Wash], woods: FloatArray, clear: truth.ClearCoat | None = None) -> FloatArray:
    """(woods, 3) what a recipe dries to when every film comes out as it should."""
    return reflectance_to_lab(truth.dried(woods, recipe, clear=clear))


def single_errors(
    paints: Mapping[str, truth.Paint],
    recipe: Sequence[tuple[str, float, float, int]],
    trial: Trial,
    repeats: int,
) -> dict[str, FloatArray]:
    """ΔE00 of single washes by paint, against what the wash dries to when it comes out as it should."""
    woods = unseen_woods()
    grounds = reflectance_to_lab(woods)
    washes = single_washes()
    errors = {}
    for number, (name, paint) in enumerate(paints.items()):
        lab = np.stack([truth_of([truth.Wash(paint, d, n)], woods) for d, n in washes])
        off = []
        for repeat in range(repeats):
            model = fit_paint(swatches_of(name, recipe, trial, np.random.default_rng([repeat, number]), paint))
            off.append(delta_e(predicted({name: model}, [[layer(name, d, n)] for d, n in washes], grounds), lab))
        errors[name] = np.array(off).ravel()
    return errors


def coverage(
    names: Sequence[str], recipe: Sequence[tuple[str, float, float, int]], trial: Trial, repeats: int
) -> tuple[float, float]:
    """How often the 90 % radius holds what a newly painted wash dries to, and the mean radius.

    The ground is read with the trial's noise, the wash comes out as its hands make it, the result is known exactly.
    """
    woods = unseen_woods()
    inside, radii = [], []
    for name in names:
        for repeat in range(repeats):
            rng = np.random.default_rng([repeat, list(truth.PAINTS).index(name), 1])
            model = fit_paint(swatches_of(name, recipe, trial, rng))
            for wood in woods:
                recipes = [[layer(name, d, n)] for d, n in single_washes()]
                washes = [
                    truth.Wash(truth.PAINTS[name], d, n).scattered(rng, trial.scatter, trial.water)
                    for d, n in single_washes()
                ]
                lab = reflectance_to_lab(np.array([truth.dried(wood, [wash]) for wash in washes]))
                ground, chances = reading(wood, trial, rng), draw_normals(rng, 60)
                best, draws = predict_many({name: model}, recipes, ground, trial.radius(ground), chances)
                radius = np.percentile(delta_e(draws, best[:, None]), 90, axis=1)
                inside.append(delta_e(best, lab) <= radius)
                radii.append(radius)
    return float(np.mean(inside)), float(np.mean(radii))


def fitted(trial: Trial, seed: int, recipe: Sequence[tuple[str, float, float, int]]) -> dict[str, PaintModel]:
    """Every paint, learned from one set of swatches."""
    rng = np.random.default_rng([seed, 2])
    return {name: fit_paint(swatches_of(name, recipe, trial, rng)) for name in truth.PAINTS}


def pairs_of_paints() -> list[tuple[str, str]]:
    """Twenty pairs of two paints, the same in every run."""
    names = list(truth.PAINTS)
    every = [(a, b) for a in names for b in names if a < b]
    return [every[i] for i in np.random.default_rng(3).choice(len(every), 20, replace=False)]


def mix_errors(models: dict[str, PaintModel]) -> FloatArray:
    """ΔE00 of washes of two paints stirred together, 1:1 and 1:3, in two thinnings."""
    woods = unseen_woods()
    recipes, lab = [], []
    for a, b in pairs_of_paints():
        for parts in ((1.0, 1.0), (1.0, 3.0)):
            for fraction in (0.5, 0.2):
                recipes.append([Layer((Part(a, parts[0]), Part(b, parts[1])), fraction, 1)])
                lab.append(truth_of([truth.Wash(truth.mixed({a: parts[0], b: parts[1]}), fraction, 1)], woods))
    return np.asarray(delta_e(predicted(models, recipes, reflectance_to_lab(woods)), np.array(lab))).ravel()


def stack_errors(models: dict[str, PaintModel]) -> FloatArray:
    """ΔE00 of one wash over another, both ways round, in two thinnings."""
    woods = unseen_woods()
    recipes, lab = [], []
    for pair in pairs_of_paints():
        for lower, upper in (pair, pair[::-1]):
            for fractions in ((0.25, 0.25), (0.5, 0.125)):
                recipes.append([layer(lower, fractions[0]), layer(upper, fractions[1])])
                washes = [truth.Wash(truth.PAINTS[n], d, 1) for n, d in zip((lower, upper), fractions, strict=True)]
                lab.append(truth_of(washes, woods))
    return np.asarray(delta_e(predicted(models, recipes, reflectance_to_lab(woods)), np.array(lab))).ravel()


def board_errors(models: dict[str, PaintModel]) -> FloatArray:
    """ΔE00 of single washes on boards with grain: lines and pores hold more of a thin wash than the field does."""
    rng = np.random.default_rng(7)
    off = []
    for board in [any_wood(rng) for _ in range(WOODS)]:
        ground = reflectance_to_lab(truth.washed_board(board))[None]
        for name, paint in truth.PAINTS.items():
            washes = single_washes()
            lab = np.array(
                [reflectance_to_lab(truth.washed_board(board, [truth.Wash(paint, d, n)])) for d, n in washes]
            )
            recipes = [[layer(name, d, n)] for d, n in washes]
            off.append(delta_e(predicted(models, recipes, ground)[:, 0], lab))
    return np.array(off).ravel()


@dataclass(frozen=True, eq=False)
class ClearErrors:
    """ΔE00 after a clear coat."""

    bare: FloatArray
    washed: FloatArray
    #: What adding a bare wood's change of color to the washed one would have given.
    shifted: FloatArray


def clear_errors(models: dict[str, PaintModel], trial: Trial, *, learned_on_wash: bool) -> ClearErrors:
    """Clear coats learned from one pair on the light wood, then laid on bare and on washed unseen woods."""
    woods = unseen_woods()
    grounds = reflectance_to_lab(woods)
    rng = np.random.default_rng(11)
    bare_off, washed_off, shifted_off = [], [], []
    recipes = [[layer(name, 0.25)] for name in models]
    washes = [[truth.Wash(truth.PAINTS[name], 0.25, 1)] for name in models]
    for coat in truth.CLEAR_COATS.values():
        under = [truth.Wash(truth.PAINTS["Raw Umber"], 0.5, 1)] if learned_on_wash else []
        before, after = (reading(truth.dried(LIGHT_WOOD.field, under, clear=c), trial, rng) for c in (None, coat))
        clear = fit_clear([ClearCoatPair(coat.name, before, after, "washed wood" if under else "bare wood")])
        bare_lab = truth_of([], woods, coat)
        bare_off.append(delta_e(predicted({}, [[]], grounds, clear)[0], bare_lab))
        lab = np.array([truth_of(wash, woods, coat) for wash in washes])
        washed_off.append(delta_e(predicted(models, recipes, grounds, clear), lab))
        unsealed = np.array([truth_of(wash, woods) for wash in washes])
        shifted_off.append(delta_e(unsealed + (bare_lab - grounds), lab))
    return ClearErrors(*(np.array(off).ravel() for off in (bare_off, washed_off, shifted_off)))


def _timed(make: Callable[[], object]) -> float:
    start = time.perf_counter()
    make()
    return time.perf_counter() - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--repeats", type=int, default=10, help="times that every swatch is painted and read anew")
    repeats = parser.parse_args().repeats
    names = list(truth.PAINTS)

    print("Simulated. ΔE00, mean/95th percentile. Unseen woods x 6 dilutions x 3 coats, ten paints.")
    print(f"{'swatches':44} noise scatter   error        goal     coverage of 90 %   radius")
    for trial in (Trial(0.5), Trial(0.5, 0.0), Trial(1.0)):
        for label, recipe in SWATCH_SETS.items():
            off = np.concatenate(list(single_errors(truth.PAINTS, recipe, trial, repeats).values()))
            hands = replace(trial, water=WATER) if trial.scatter else trial  # a range is stated for water by parts
            covered, radius = coverage(names, recipe, hands, max(1, repeats // 3))
            goal = "{}/{}".format(*GOALS[len(recipe)]) if trial.noise == 0.5 and len(recipe) in GOALS else ""
            print(
                f"{label:44} {trial.noise:4} {trial.scatter:6}  {summary(off)}  {goal:>8}"
                f"       {covered:5.1%}       {radius:6.2f}"
            )
    print("goal for coverage: {:.0%} to {:.0%}".format(*COVERAGE_GOAL))

    sets = list(SWATCH_SETS.values())
    for label, recipe in (("one swatch", sets[0]), ("six swatches", sets[-1])):
        by_paint = single_errors(truth.PAINTS, recipe, Trial(), repeats)
        print(f"{label} by paint: " + ", ".join(f"{name} {summary(off)}" for name, off in by_paint.items()))

    rng = np.random.default_rng(2024)
    unseen = {f"paint {i}": truth.invented_paint(f"paint {i}", rng) for i in range(10)}
    glazes = [truth.invented_paint("", rng, (0.06, 0.45)) for _ in range(8)]
    print("paints that nothing was tuned on, noise 0.5, scatter 0.12:")
    for label, recipe in SWATCH_SETS.items():
        found = []
        for kind, some in (
            ("paints", unseen),
            ("glazes called so", {f"glaze {i}": glaze for i, glaze in enumerate(glazes)}),
            ("not called so", {f"paint {i}": glaze for i, glaze in enumerate(glazes)}),
            ("paints wrongly called glaze", {f"{name} glaze": paint for name, paint in unseen.items()}),
        ):
            off = single_errors(some, recipe, Trial(), max(1, repeats - 2))
            found.append(f"{kind} {summary(np.concatenate(list(off.values())))}")
        print(f"  {label:44} {', '.join(found)}")

    models = [fitted(Trial(), seed, sets[-1]) for seed in range(max(1, repeats // 3))]
    print("six swatches each, noise 0.5, scatter 0.12:")
    for label, errors in (("mixes of two", mix_errors), ("two washes, one over the other", stack_errors),
                          ("single washes on boards with grain", board_errors)):  # fmt: skip
        print(f"  {label:40} {summary(np.concatenate([errors(m) for m in models]))}")
    for on_wash in (False, True):
        parts = [clear_errors(m, Trial(), learned_on_wash=on_wash) for m in models]
        bare, washed, shifted = (np.concatenate([getattr(p, f) for p in parts]) for f in ("bare", "washed", "shifted"))
        learned = "washed" if on_wash else "bare"
        print(f"  clear coat from one {learned} pair: bare {summary(bare)}, washed {summary(washed)}, "
              f"washed by adding bare wood's change {summary(shifted)}")  # fmt: skip

    rng = np.random.default_rng(5)
    swatches = [swatches_of(name, FOURTEEN, Trial(), rng) for name in names]
    seconds = _timed(lambda: [fit_paint(some) for some in swatches])
    print(f"ten paints of 14 swatches fitted, 30 refits each: {seconds:.2f} s")


if __name__ == "__main__":
    main()
