"""Measures at the bench: parse areas and numbers as people type them; assumptions about cup, brush, spoon and scale."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from colormatch.errors import BadInput
from colormatch.wash.ratio import DROP_ML, ml_of, parse_volume

#: Area covered by one ml of wash in one coat, brushed on and wiped back: 100 cm² (10 m² per liter; common practice for
#: thinned wall and furniture paint, no source). The user can change it.
COVERAGE_CM2_PER_ML = 100.0
#: Extra share that stays in cup and brush; common practice, no source.
WASTE = 0.2
#: g/ml of water at 20 °C: 0.9982 (CRC Handbook of Chemistry and Physics, from memory). Paint is often heavier, 1.1 to
#: 1.4 (common practice, no source): the user can enter the value from its data sheet.
WATER = 0.998
#: Assumed smallest measure: one milliliter of a syringe or measuring cup.
SMALLEST = "1 ml"
#: Range of a paint's density, g/ml: from a light spirit to twice that of a heavily pigmented white.
_DENSITIES = (0.5, 3.0)
#: Range of coverage, cm² per ml: from a thick paste to a mist.
_COVERAGES = (1.0, 2000.0)

#: cm² per unit of area. Inch: 2.54 cm exactly (NIST Handbook 44, appendix C).
_CM2_OF = {"mm": 0.01, "cm": 1.0, "m": 1e4, "in": 2.54**2, "ft": 30.48**2}
#: Largest area, cm²: 100 m², more than any piece of furniture.
_MOST_CM2 = 1e6
_NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
_AREA = re.compile(rf"{_NUMBER}\s*(?:(mm|cm|m|in|ft)\s*(?:2|²)|(?:sq|square)\s*(mm|cm|m|in|ft))")
_RECTANGLE = re.compile(rf"{_NUMBER}\s*(mm|cm|m|in|ft)?\s*[x×]\s*{_NUMBER}\s*(mm|cm|m|in|ft)")
_UNITLESS = re.compile(rf"{_NUMBER}(\s*[x×]\s*{_NUMBER})?")
#: Other spellings of units, and of the separator between two sides.
_SPELLED = tuple(
    (re.compile(pattern), word)
    for pattern, word in (
        (r'\s*(?:"|″|”|\'\')', "in"),
        (r"(?<=\d)\s*(?:'|′|’)", "ft"),
        (r"\binch(?:es)?\b|(?<=\d)inch(?:es)?\b", "in"),
        (r"\b(?:feet|foot)\b|(?<=\d)(?:feet|foot)\b", "ft"),
        (r"centi(?=met)", "c"),
        (r"milli(?=met)", "m"),
        (r"met(?:er|re)s?", "m"),
        (r"\bby\b", "x"),
        (r"\^2", "2"),
    )
)
#: One number, with any words or currency sign around it; a comma before three digits may separate thousands.
_ALONE = re.compile(r"[^\d.,+-]*([+-]?(?:\d+(?:\.\d+|,(?!\d{3}\b)\d+)?|[.,]\d+))[^\d+-]*")
#: Separators between patches; a comma only with a space after it, since inside a number it is a decimal sign.
_BETWEEN = re.compile(r"\s*(?:\+|;|,\s|\band\b)\s*")
_WEIGHT = re.compile(rf"{_NUMBER}\s*(?:g|gram|grams)")


def parse_area(text: str) -> float:
    """Parse an area, in cm².

    Parameters
    ----------
    text : str
        ``40cm2``, ``0.5 m²``, ``6 sq in``, a rectangle ``4x10cm``, or several of them: ``4x10cm + 3x2cm``.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> parse_area("40cm2"), parse_area("4 x 10 cm + 2x3cm"), round(parse_area("2 sq in"), 4)
    (40.0, 46.0, 12.9032)
    """
    area = math.fsum(_one_area(part, text) for part in _BETWEEN.split(_plain(text)))
    if not (math.isfinite(area) and area > 0):
        raise BadInput(f"'{text}' is not an area to paint.", "Give more than zero.")
    if area > _MOST_CM2:
        raise BadInput(f"'{text}' is more than 100 m².", "Check the number and its unit.")
    return area


def _one_area(plain: str, text: str) -> float:
    if found := _AREA.fullmatch(plain):
        return _decimal(found[1]) * _CM2_OF[found[2] or found[3]]
    if found := _RECTANGLE.fullmatch(plain):
        sides, units = (found[1], found[3]), (found[2] or found[4], found[4])
        return math.prod(_decimal(side) * math.sqrt(_CM2_OF[unit]) for side, unit in zip(sides, units, strict=True))
    if found := _UNITLESS.fullmatch(plain):
        square, cm, inch = ("", "cm", "in") if found[2] else ("2", "cm", " sq in")
        raise BadInput(f"'{text[:60]}' has no unit.", f"Write {plain}{cm}{square} or {plain}{inch}.")
    raise BadInput(f"'{text[:60]}' is not an area.", "Write it as 40cm2, 6 sq in, 4x10cm, or 4x10cm + 3x2cm.")


def _plain(text: str) -> str:
    """Normalize the units of areas and sizes: 5" x 2" and 5 inches by 2 inches become 5 in x 2 in."""
    plain = " ".join(text.lower().split())
    for pattern, word in _SPELLED:
        plain = pattern.sub(word, plain)
    return plain


def parse_number(text: str, what: str) -> float:
    """Parse a number with a decimal point or comma, possibly with words around it, such as ``12,50 a can``.

    Raises
    ------
    BadInput
        It holds no number, several, or one with a comma that may separate thousands.
    """
    found = _ALONE.fullmatch(text.strip())
    if not found:
        raise BadInput(f"'{text[:60]}' is not a valid {what}.", "Write it as a plain number, such as 12.50.")
    return _decimal(found[1])


def parse_card_size(text: str) -> tuple[float, float]:
    """Parse width and height of a card, in mm, from ``100x65mm`` or ``4x6in``.

    Raises
    ------
    BadInput
        It is not a size, or is implausible for a card.
    """
    found = _RECTANGLE.fullmatch(_plain(text))
    if not found and _UNITLESS.fullmatch(_plain(text)):
        raise BadInput(f"'{text[:60]}' has no unit.", f"Write {_plain(text)}mm or {_plain(text)}in.")
    if not found:
        raise BadInput(f"'{text[:60]}' is not the size of a card.", "Measure it and write it as 100x65mm or 4x6in.")
    units = found[2] or found[4], found[4]
    width, height = (
        _decimal(side) * math.sqrt(_CM2_OF[unit]) * 10 for side, unit in zip((found[1], found[3]), units, strict=True)
    )
    if not all(10 <= side <= 1000 for side in (width, height)):
        raise BadInput(f"No card measures {width:g} by {height:g} mm.", "Check the numbers and their unit.")
    return width, height


def _decimal(text: str) -> float:
    return float(text.replace(",", "."))


@dataclass(frozen=True)
class Practice:
    """Assumptions about brush, cup and measures; the user can change each."""

    #: cm² covered by 1 ml in one coat.
    coverage: float = COVERAGE_CM2_PER_ML
    #: Extra share to mix, 0 or more.
    waste: float = WASTE
    #: Smallest available measure with its unit: ``1 ml``, ``1/4 tsp``, ``1 drop``; ``0.1 g`` for a scale.
    smallest: str = SMALLEST
    #: Volume of one drop, ml.
    drop_ml: float = DROP_ML
    #: Density by name of paint, g/ml; water's for others.
    densities: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        if not _COVERAGES[0] <= self.coverage <= _COVERAGES[1]:
            raise BadInput(
                f"A coverage of {self.coverage:g} cm² from 1 ml is impossible.",
                f"Give {_COVERAGES[0]:g} to {_COVERAGES[1]:g}; the usual figure is {COVERAGE_CM2_PER_ML:g}.",
            )
        if not 0 <= self.waste <= 5:
            raise BadInput(f"{100 * self.waste:g} % more for cup and brush is impossible.", "Give 0 to 500 %.")
        if not 0.001 <= self.drop_ml <= 1:
            raise BadInput(
                f"A drop of {self.drop_ml:g} ml is impossible.", f"Give 0.001 to 1; the usual one is {DROP_ML} ml."
            )
        for name, density in self.densities:
            if not _DENSITIES[0] <= density <= _DENSITIES[1]:
                raise BadInput(
                    f"A density of {density:g} g/ml is impossible for {name}.",
                    f"Its data sheet gives a density between {_DENSITIES[0]:g} and {_DENSITIES[1]:g}.",
                )
        self.step_ml("")

    def density(self, name: str) -> float:
        """Density of a paint or thinner, g/ml."""
        return dict(self.densities).get(name, WATER)

    def step_ml(self, name: str) -> float:
        """Smallest measure of a paint or thinner, ml.

        Raises
        ------
        BadInput
            The smallest measure is invalid.
        """
        if weight := _WEIGHT.fullmatch(self.smallest.strip().lower()):
            grams = _decimal(weight[1])
            if grams <= 0:
                raise BadInput(
                    "The smallest step of the scale must be above 0 g.", "Give its smallest step, such as 0.1 g."
                )
            return grams / self.density(name)
        return parse_volume(self.smallest, self.drop_ml)

    def spoken(self, ml: float, density: float = WATER) -> dict[str, str]:
        """A volume in every measure, by the measure's name; ``density`` in g/ml gives the weight.

        Examples
        --------
        >>> Practice().spoken(8)
        {'ml': '8 ml', 'g': '8.0 g', 'tsp': '1 5/8 tsp', 'fl oz': '0.27 fl oz', 'drops': '160 drops'}
        """
        return {
            "ml": f"{ml:.3g} ml" if ml < 100 else f"{ml:.0f} ml",
            "g": f"{ml * density:.1f} g",
            "tsp": _spoons(ml / ml_of(1, "tsp")),
            "fl oz": f"{ml / ml_of(1, 'fl oz'):.2f} fl oz",
            "drops": f"{ml / self.drop_ml:.0f} drops",
        }

    @property
    def unit(self) -> str:
        """Unit of the smallest measure, among those of :meth:`spoken`."""
        word = self.smallest.strip().lower()
        ends = {"tsp": "tsp", "fl oz": "fl oz", "drop": "drops", "drops": "drops", "g": "g"}
        return next((unit for end, unit in ends.items() if word.endswith(end)), "ml")


def _spoons(amount: float) -> str:
    """Teaspoons to the nearest eighth, the smallest spoon of a common set."""
    eighths = round(8 * amount)
    if eighths == 0:
        return "under 1/8 tsp"
    whole, rest = divmod(eighths, 8)
    return " ".join([*([str(whole)] if whole else []), *([str(Fraction(rest, 8))] if rest else [])]) + " tsp"
