"""Whether the ranking keeps what it says: ``python -m tests.studies.ranking [--repairs N] [--seed N] [--other-law]``.

Random woods, read with errors of the stated size, and paints of another physics than the model's, none of which was
tuned on: each shelf of ten is invented anew. The wash ranked first is painted once in the simulator, with films and
water as hands make them. Printed is what is really left (ΔE00), how often it lies between `low` and `high`, for the
first wash and for finalists taken at random, and what ranking by the best estimate alone would have left. Everything is
simulated.
"""

import argparse
from collections.abc import Sequence
from types import ModuleType

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.match.candidates import usable_paints
from colormatch.match.finalists import finalists
from colormatch.match.problem import MatchProblem, Recipe
from colormatch.match.rank import ranked
from colormatch.records import SIGMA_PER_RADIUS, Lab, Limits, Paint, Shelf, Task
from tests.fitted import fit_paints
from tests.scenes import paints, transport
from tests.scenes.spectra import FloatArray, reflectance_to_lab
from tests.scenes.woods import any_wood
from tests.studies.wash import SWATCH_SETS, WATER, Trial, swatches_of

#: What a gray card leaves in one photo, ΔE00 90 % radius: of each reading by itself, and in common.
OWN, SHARED = 1.2, 5.0
PAINTS = 10
#: Differences that a repair begins with.
_LEAST, _MOST = 5.0, 25.0
#: Hands and water as in practice, for swatches and washes: films scatter by 12 %, parts of water are off by 15 %.
HANDS = Trial(water=WATER)
#: Finalists taken at random from each repair.
_OTHERS = 5


def misread(lab: FloatArray, own: FloatArray, shared: FloatArray) -> Lab:
    """A color with the errors of its reading; standard normal numbers (3,)."""
    off = (own * OWN + shared * SHARED) * SIGMA_PER_RADIUS / axis_weights(lab)
    L, a, b = (float(v) for v in lab + off)
    return Lab(min(max(L, 0.0), 100.0), a, b)


class Bench:
    """A shelf of invented paints, learned from swatches; ``law`` is the module by which they dry."""

    def __init__(self, seed: int, plan: Sequence[tuple[str, float, float, int]], law: ModuleType = paints) -> None:
        rng = np.random.default_rng([seed, 1])
        self.law = law
        self.paints = {f"paint {i}": law.invented_paint(f"paint {i}", rng) for i in range(PAINTS)}
        swatches = [
            s for name, paint in self.paints.items() for s in swatches_of(name, plan, HANDS, rng, paint, law.dried)
        ]
        self.shelf = Shelf(tuple(Paint(name) for name in self.paints), tuple(swatches))
        self.models = fit_paints(swatches)

    def washes(self, recipe: Recipe) -> list[paints.Wash]:
        return [paints.Wash(self.paints[one.paints[0].paint], one.paint_fraction, one.coats) for one in recipe]


def one(bench: Bench, rng: np.random.Generator) -> list[tuple[float, ...]] | None:
    """Of the first wash, of the best estimate's, and of some at random: (really left, low, high, expected)."""
    sound, damage = any_wood(rng), any_wood(rng)
    target, ground = (reflectance_to_lab(paints.washed_board(wood)) for wood in (sound, damage))
    if not _LEAST <= float(delta_e(target, ground)) <= _MOST:
        return None
    shared = rng.standard_normal(3)
    read = [misread(lab, rng.standard_normal(3), shared) for lab in (target, ground)]
    limits = Limits()
    job = MatchProblem.of(Task(*read, OWN, OWN, SHARED), bench.shelf, bench.models, limits)
    recipes, _ = finalists(job, usable_paints(bench.shelf, bench.models, limits), limits)
    outcomes = job.outcomes(recipes)
    washes = ranked(job, outcomes)
    by_estimate = outcomes.recipes[int(np.argmin(delta_e(outcomes.lab, job.finished)))]
    chosen = [washes[0], next(w for w in washes if w.layers == by_estimate)]
    chosen += [washes[int(i)] for i in rng.choice(len(washes), _OTHERS, replace=False)]
    found = []
    for wash in chosen:
        painted = [w.scattered(rng, HANDS.scatter, HANDS.water) for w in bench.washes(wash.layers)]
        left = float(delta_e(reflectance_to_lab(bench.law.washed_board(damage, painted)), target))
        found.append((left, wash.low, wash.high, wash.expected_delta_e))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--repairs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--other-law", action="store_true", help="paints dry by tests.scenes.transport")
    given = parser.parse_args()
    repairs, seed, law = given.repairs, given.seed, transport if given.other_law else paints
    print("Simulated, unseen paints. ΔE00 really left, mean / 95th percentile; between low and high")
    for label in ("2: full, 1:7 on light wood", "4: full, 1:3, 1:3 x2 on light; 1:3 on dark", "6: mixed"):
        found: list[list[tuple[float, ...]]] = []
        rng, bench, number = np.random.default_rng([seed, 2]), Bench(seed, SWATCH_SETS[label], law), 0
        while len(found) < repairs:
            number += 1
            if number % 20 == 0:  # a new shelf for every few repairs
                bench = Bench(seed + 1000 * number, SWATCH_SETS[label], law)
            result = one(bench, rng)
            if result is not None:
                found.append(result)
        figures = np.array(found)
        print(label)
        for name, part in (
            ("first wash", figures[:, :1]), ("best estimate", figures[:, 1:2]), ("at random", figures[:, 2:]),
        ):  # fmt: skip
            left, low, high, expected = part.reshape(-1, 4).T
            inside = (low <= left) & (left <= high)
            print(
                f"  {name:14} {left.mean():5.2f} / {np.percentile(left, 95):5.2f}, expected {expected.mean():5.2f}; "
                f"inside {inside.mean():4.0%}, below {(left < low).mean():4.0%}, above {(left > high).mean():4.0%}"
            )


if __name__ == "__main__":
    main()
