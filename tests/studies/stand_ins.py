"""How well things that stand in for a gray card read wood, and which of them fools it.

Run it: ``python -m tests.studies.stand_ins [--photos N] [--seed N] [--charts FOLDER]``.

Simulated: wood beside a gray card, a white that is known exactly, office paper, white cardboard and another piece of
wood, under every light of the simulator, daylight once as it is and once behind a window. Paper fluoresces. By the
bispectral law a surface in light S sends out, relative to a perfect white, its reflectance and

    F(l) / S(l),  F(l) = (f(l) / l) * sum over u of q * a(u) * S(u) * u,

where a photon absorbed at u with the probability a(u) comes back with the yield q, spread over l as f (in photons):
R. Donaldson, "Spectrophotometry of fluorescent pigments", Brit. J. Appl. Phys. 5 (1954) 210; CIE 182:2007. The law and
these sources are from memory, and so are the whitener's band (absorbs about 370 nm, shines about 440 nm), glass that
ends between 320 and 390 nm, and what papers have of it: b* in D65 from 0 to -11. LEDs and the tubes of the tables hold
nothing below 380 nm; a real tube has a weak line at 365 nm.

``--charts`` adds real photographs (`tests.studies.real_charts` tells the form of the folder): the white patch of a
chart as cardboard of known color, and its skin patches as pieces; nothing in them fluoresces.

The usual colors of paper and cardboard and the radii of `reference/stand_in.py` were set on seeds 1 to 4.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from colormatch.color.difference import delta_e
from colormatch.errors import BadInput, CardUnusable
from colormatch.records import CardKind, Lab
from colormatch.reference.card_choice import Settled
from colormatch.reference.correction import Correction, gray_card_correction
from colormatch.reference.stand_in import stand_in_correction
from colormatch.reference.tone import usable
from tests.scenes.camera import CAMERAS, Camera
from tests.scenes.spectra import (
    LIGHTS,
    WAVELENGTHS,
    FloatArray,
    colour_science,
    edge,
    flat,
    light,
    reflectance_to_lab,
)
from tests.scenes.woods import wood_reflectance
from tests.studies import real_charts, real_photos
from tests.studies.references import photographed

#: The seeds on which colors and radii were set; every other one is held out.
TUNED = range(1, 5)
#: nm; what excites a whitener. Tables that begin at 380 nm hold nothing below.
EXCITING = np.arange(300.0, 431.0, 5.0)
#: Absorption of a whitener, and what it sends out, in photons over the simulator's wavelengths.
ABSORBED = np.exp(-0.5 * ((EXCITING - 370) / np.where(EXCITING < 370, 30, 18)) ** 2)
_SHINES = np.where(
    WAVELENGTHS < 438, np.exp(-0.5 * ((WAVELENGTHS - 438) / 14) ** 2), np.exp(-0.5 * ((WAVELENGTHS - 438) / 32) ** 2)
)
SHINES = _SHINES * (WAVELENGTHS >= 400) / _SHINES[WAVELENGTHS >= 400].sum()
#: Woods in each photograph.
WOODS = 40
#: ΔE00, 90 % radius, by which the library knows the second piece.
PIECE_KNOWN = 1.0


class Lamp(NamedTuple):
    """A light of the simulator, with what it has of ultraviolet."""

    name: str
    kind: str
    #: nm; where the glass between sky and bench ends, 0 for none.
    glass: float = 0.0

    def exciting(self) -> FloatArray:
        """(27,) power over `EXCITING`, on the scale of `light(name)`."""
        colour = colour_science()
        table = colour.SDS_ILLUMINANTS[self.name]
        mean = np.mean([table[w] if w in table.wavelengths else 0.0 for w in WAVELENGTHS])
        power = np.array([table[w] if w in table.wavelengths else 0.0 for w in EXCITING]) / mean
        return power * (1 - 1 / (1 + np.exp((EXCITING - self.glass) / 6))) if self.glass else power


def fluorescing(reflectance: FloatArray, whitener: float, lamp: Lamp) -> FloatArray:
    """(81,) total radiance factor of a surface in a lamp's light; ``whitener`` is absorption times yield, 0 to 1."""
    photons = whitener * float(np.sum(ABSORBED * lamp.exciting() * EXCITING))
    return reflectance + photons * SHINES / WAVELENGTHS / np.maximum(light(lamp.name), 1e-9)


def lamps(rng: np.random.Generator) -> Iterator[Lamp]:
    for name in LIGHTS:
        kind = {"A": "bulb", "LED-B1": "LED", "LED-B5": "LED", "FL2": "tube", "FL11": "tube"}.get(name, "")
        yield Lamp(name, kind or "daylight, open air")
        if not kind:
            yield Lamp(name, "daylight, window", rng.uniform(320, 390))


def paper(rng: np.random.Generator, lamp: Lamp, whitens: bool = True) -> FloatArray:
    """(81,) office paper of some mill, as it looks in a lamp's light."""
    base = rng.uniform(0.84, 0.90) - rng.uniform(0.02, 0.07) * edge(470, 40) - 0.3 * edge(412, 8)
    whitener = rng.uniform(0.15, 0.8)
    return fluorescing(base, whitener if whitens else 0.0, lamp)


def cardboard(rng: np.random.Generator, lamp: Lamp, whitens: bool = True) -> FloatArray:
    """(81,) matte white board: lighter or grayer, more or less cream, with little whitener or none."""
    base = rng.uniform(0.76, 0.90) - rng.uniform(0.0, 0.10) * edge(480, 40) - 0.3 * edge(405, 8)
    whitener = rng.uniform(0.0, 0.15)
    return fluorescing(base, whitener if whitens else 0.0, lamp)


def woods(rng: np.random.Generator, count: int) -> FloatArray:
    """(count, 81) woods, drawn from the whole family."""
    depths = np.exp(rng.uniform(np.log(0.9), np.log(8), count))
    return wood_reflectance(depths, rng.uniform(85, 165, count), rng.uniform(0, 0.25, count))


@dataclass(frozen=True, eq=False)
class Seen:
    """One photograph: mean linear RGB, and the truth where there is one."""

    lamp: str
    raw: bool
    #: (3,) each, by name.
    stand_ins: dict[str, FloatArray]
    #: (woods, 3) linear RGB and CIELAB.
    woods: FloatArray
    true: FloatArray
    #: The piece as the library knows it.
    piece: Settled


def photographs(photos: int, seed: int) -> list[Seen]:
    """Cameras x lamps x photos, developed and camera raw, each of a sheet, a board and a piece of its own."""
    rng = np.random.default_rng(seed)
    seen = []
    for name in CAMERAS:
        for _ in range(photos):
            for lamp in lamps(rng):
                some = woods(rng, WOODS + 1)
                again = rng.spawn(1)[0].bit_generator.state  # the same sheet with its whitener and without
                sheets = []
                for whitens in (True, False):
                    same = np.random.default_rng()
                    same.bit_generator.state = again
                    sheets += [paper(same, lamp, whitens), cardboard(same, lamp, whitens)]
                things = np.stack([flat(0.18), flat(0.9), *sheets, *some])
                true = reflectance_to_lab(some)
                known = true[0] + rng.normal(0, PIECE_KNOWN / 2.5, 3)
                for raw in (False, True):
                    camera = Camera.typical(rng, name=name, output="raw-like" if raw else "photo")
                    rgb = photographed(things, lamp.name, camera, rng)
                    by_name = dict(
                        zip(("gray", "white", "paper", "board", "dull paper", "dull board", "piece"), rgb, strict=False)
                    )
                    seen.append(
                        Seen(lamp.kind, raw, by_name, rgb[7:], true[1:], Settled(Lab(*known.tolist()), PIECE_KNOWN))
                    )
    return seen


Correct = Callable[[Seen], Correction]


def _by(kind: CardKind, name: str) -> Correct:
    return lambda seen: stand_in_correction(
        seen.stand_ins[name], kind, seen.piece if kind is CardKind.PIECE else None, raw=seen.raw
    )


#: By what a photo is balanced, and how.
WAYS: dict[str, Correct] = {
    "gray card": lambda seen: gray_card_correction(seen.stand_ins["gray"], raw=seen.raw),
    "white, known exactly": lambda seen: gray_card_correction(seen.stand_ins["white"], 0.9, raw=seen.raw),
    "paper": _by(CardKind.PAPER, "paper"),
    "paper, if it had no whitener": _by(CardKind.PAPER, "dull paper"),
    "cardboard": _by(CardKind.CARDBOARD, "board"),
    "cardboard, if it had no whitener": _by(CardKind.CARDBOARD, "dull board"),
    "second piece": _by(CardKind.PIECE, "piece"),
}


def row(label: str, seen: Sequence[Seen], correct: Correct) -> str:
    """Errors of woods, of their differences, what is stated of both, and how far b* is off on the whole."""
    first, second = np.triu_indices(WOODS, 1)
    errors, radii, apart, apart_radii, shifts = [], [], [], [], []
    for one in seen:
        try:
            correction = correct(one)
        except BadInput:  # a piece too dark
            continue
        read, (figure, share) = correction.lab(one.woods), correction.difference
        errors.append(delta_e(read, one.true))
        radii.append(np.full(WOODS, correction.systematic))
        apart.append(delta_e(one.true[first] + read[second] - read[first], one.true[second]))
        apart_radii.append(np.hypot(figure, share * delta_e(read[first], read[second])))
        shifts.append((read - one.true)[:, 2].mean())
    off, stated, off_apart, stated_apart = map(np.concatenate, (errors, radii, apart, apart_radii))
    return (
        f"{label:44s} {len(errors):4d} {off.mean():6.2f} {np.percentile(off, 90):5.2f} {np.percentile(off, 95):5.2f} "
        f"{stated.mean():6.1f} {100 * np.mean(off <= stated):4.0f} {np.percentile(off_apart, 90):12.2f} "
        f"{100 * np.mean(off_apart <= stated_apart):4.0f} {np.mean(shifts):+8.2f}"
    )


def usual_colors(photos: int) -> str:
    """Mean look of papers and boards over the lamps, on the seeds for setting things."""
    looks: dict[str, list[FloatArray]] = {"paper": [], "cardboard": []}
    for seed in TUNED:
        rng = np.random.default_rng(seed)
        for _ in range(30 * photos):
            for lamp in lamps(rng):
                looks["paper"].append(reflectance_to_lab(paper(rng, lamp)))
                looks["cardboard"].append(reflectance_to_lab(cardboard(rng, lamp)))
    words = []
    for name, labs in looks.items():
        L, a, b = np.mean(labs, axis=0)
        low, high = np.percentile(np.array(labs)[:, 2], [5, 95])
        words.append(f"{name} {L:.1f}, {a:.1f}, {b:.1f} (b* {low:.1f} to {high:.1f})")
    return "; ".join(words)


def report(photos: int, seed: int) -> None:
    print("usual colors, seeds 1 to 4:", usual_colors(photos))
    seen = photographs(photos, seed)
    print(f"{'':44s}         mean   p90   p95 stated held differences p90 held   b* off")
    for raw in (False, True):
        for way, correct in WAYS.items():
            some = [one for one in seen if one.raw is raw]
            print(row(f"{'raw' if raw else 'developed'}: {way}", some, correct), flush=True)
    print("\nmoved by the thing alone: wood balanced by it against wood balanced by the known white: mean, p90, b*")
    for lamp in dict.fromkeys(one.lamp for one in seen):
        some = [one for one in seen if one.lamp == lamp]
        print(f"{lamp:20s}" + "   ".join(f"{way}: {moved(some, WAYS[way])}" for way in list(WAYS)[2:6]), flush=True)


def moved(seen: Sequence[Seen], correct: Correct) -> str:
    """What woods change by when a stand-in takes the place of a white that is known exactly."""
    exact = WAYS["white, known exactly"]
    pairs = [(correct(one).lab(one.woods), exact(one).lab(one.woods)) for one in seen]
    by, white = (np.concatenate(labs) for labs in zip(*pairs, strict=True))
    off = delta_e(by, white)
    return f"{off.mean():.1f} {np.percentile(off, 90):.1f} {(by - white)[:, 2].mean():+.1f}"


def real(folder: Path) -> None:
    """Patches of real charts as stand-ins whose color is known."""
    photos, _ = real_charts.load(folder)
    print("\nreal photographs; a patch of a chart as what stands in, its color known; columns as in real_photos.md")
    for name, patch, kind in REAL:

        def correct(photo: real_charts.ChartPhoto, patch: int = patch, kind: CardKind = kind) -> Correction:
            if patch not in photo.readable or not usable(photo.linear_rgb[[patch]]).all():
                raise CardUnusable("The patch is blown out.", "Leave it out.")
            known = Settled(Lab(*photo.lab[patch]))
            return stand_in_correction(photo.linear_rgb[patch], kind, known, raw=photo.raw, sensor=photo.sensor)

        for group, some in (
            ("developed", [photo for photo in photos if not photo.raw]),
            ("raw, daylight", [photo for photo in photos if photo.light.startswith("daylight")]),
            ("raw, bulb", [photo for photo in photos if photo.light.startswith("bulb")]),
            ("raw, fluorescent", [photo for photo in photos if photo.light.startswith("fluorescent")]),
        ):
            reads = real_photos.read_all(real_photos.of_correction(correct, [patch]), some)
            if reads:
                print(real_photos.row(f"{name}: {group}", reads), flush=True)


#: Patches of a chart by what they stand for.
REAL = (
    ("white, as cardboard", real_charts.WHITE, CardKind.CARDBOARD),
    ("light skin, as a piece", 1, CardKind.PIECE),
    ("dark skin, as a piece", 0, CardKind.PIECE),
)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=int, default=3)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--charts", type=Path, metavar="FOLDER")
    given = parser.parse_args()
    report(given.photos, given.seed)
    if given.charts:
        real(given.charts)
