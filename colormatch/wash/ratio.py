"""Ratios of paint to water: parse what people type, and format it in one standard form.

Sources
-------
US customary volumes: NIST Handbook 44, appendix C (1 US gallon = 231 cubic inches, exactly 3.785411784 l).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from colormatch.errors import BadInput
from colormatch.records import Layer

#: ml; one US gallon, exact. Its parts: 4 quarts, 8 pints, 16 cups, 128 fluid ounces, 256 tablespoons, 768 teaspoons.
_GALLON = 3785.411784
#: ml; one drop, 20 to the milliliter: common practice, no source. Real drops differ with the liquid and the pipette.
DROP_ML = 0.05
_DROPS = ("drop", "drops")
#: ml per unit.
_ML_OF: dict[str, float] = {
    **dict.fromkeys(("ml", "milliliter", "milliliters", "millilitre", "millilitres", "cc"), 1.0),
    **dict.fromkeys(("cl", "centiliter", "centiliters"), 10.0),
    **dict.fromkeys(("dl", "deciliter", "deciliters"), 100.0),
    **dict.fromkeys(("l", "liter", "liters", "litre", "litres"), 1000.0),
    **dict.fromkeys(("tsp", "tsps", "teaspoon", "teaspoons"), _GALLON / 768),
    **dict.fromkeys(("tbsp", "tbsps", "tablespoon", "tablespoons"), _GALLON / 256),
    **dict.fromkeys(("floz", "oz", "ounce", "ounces"), _GALLON / 128),
    **dict.fromkeys(("cup", "cups"), _GALLON / 16),
    **dict.fromkeys(("pt", "pint", "pints"), _GALLON / 8),
    **dict.fromkeys(("qt", "quart", "quarts"), _GALLON / 4),
    **dict.fromkeys(("gal", "gallon", "gallons"), _GALLON),
}
_PARTS = ("", "part", "parts")
_FULL = ("full", "full strength", "neat", "undiluted")
_NUMBER = r"\d+\s+\d+\s*/\s*\d+|\d+\s*/\s*\d+|\d*\.\d+|\d+\.?"
_AMOUNT = re.compile(rf"({_NUMBER})\s*([a-z. ]*?)(?:\s+(?:of\s+)?(?:paint|water))?")
_SHARE = re.compile(rf"({_NUMBER})\s*%(?:\s*paint)?")
_HELP = "Write it paint to water, such as 1:3, 25%, 3 tsp to 1 cup, or full."
#: Largest whole number in a standard ratio (larger ones become 1:x with decimals), and the largest relative error.
_LARGEST_WHOLE, _CLOSE = 12, 0.003
#: Largest relative change of a share by rounding to whole measures: a fifth of the usual error of water by parts.
ROUNDING = 0.03
#: Largest ratio of parts to one; keeps imported values within the range of floats.
_MOST = 1e9
#: Thinnest wash accepted: 1 part in 1000.
_THINNEST = 0.001


class Ratio(NamedTuple):
    """Paint to water, in parts by volume."""

    paint: float
    water: float

    @property
    def paint_fraction(self) -> float:
        """Volume of paint in the wash, 0 < d <= 1."""
        return self.paint / (self.paint + self.water)

    def __str__(self) -> str:
        return format_ratio(self.paint, self.water)


def ml_of(amount: float, unit: str, drop_ml: float = DROP_ML) -> float:
    """Milliliters of an amount in a unit of volume.

    Parameters
    ----------
    amount : float
    unit : str
        Such as ``ml``, ``tsp``, ``fl oz`` or ``drops``.
    drop_ml : float
        Volume of one drop, ml.

    Raises
    ------
    BadInput
        The unit is not one of volume.

    Examples
    --------
    >>> round(ml_of(1, "cup"), 4), round(ml_of(3, "tsp") - ml_of(1, "tbsp"), 9)
    (236.5882, 0.0)
    """
    plain = re.sub(r"[.\s]", "", unit.lower())
    known = drop_ml if plain in _DROPS else _ML_OF.get(plain)
    if known is None:
        raise BadInput(f"'{unit}' is not a known measure of volume.", "Use ml, drops, tsp, tbsp, fl oz or cup.")
    return amount * known


def parse_ratio(text: str) -> Ratio:
    """Read a ratio of paint to water.

    Parameters
    ----------
    text : str
        ``1:3``, ``1 to 3``, ``80/20``, ``25%`` (paint), ``3 tsp to 1 cup``, ``full``; decimals and fractions too.

    Returns
    -------
    Ratio; parts in the given unit, or in ml if the two units differ

    Raises
    ------
    BadInput
        It is invalid, has no paint, or less than one part of paint in 1000.

    Examples
    --------
    >>> [str(parse_ratio(t)) for t in ("1:3", "25%", "80/20", "2 tsp to 1/2 cup", "full")]
    ['1:3', '1:3', '4:1', '1:12', 'full']
    """
    plain = " ".join(text.lower().replace(",", ".").split())
    if plain in _FULL:
        return Ratio(1.0, 0.0)
    share = _SHARE.fullmatch(plain)
    if share:
        percent = _number(share[1], text)
        if percent > 100:
            raise BadInput(f"'{text}' is more than 100 % paint.", _HELP)
        return _checked(Ratio(percent, 100 - percent), text)
    for left, right in _halves(plain):
        paint, water = _AMOUNT.fullmatch(left), _AMOUNT.fullmatch(right)
        if paint and water:
            break
    else:
        raise BadInput(f"'{text}' is not a ratio of paint to water.", _HELP)
    amounts, units = (_number(paint[1], text), _number(water[1], text)), (paint[2].strip(), water[2].strip())
    if units[0] == units[1] or all(unit in _PARTS for unit in units):
        if units[0] not in _PARTS:
            ml_of(1, units[0])
        return _checked(Ratio(*amounts), text)
    if any(unit in _PARTS for unit in units):
        raise BadInput(f"'{text}' has a unit on only one side.", "Give both amounts a unit, or neither.")
    return _checked(Ratio(ml_of(amounts[0], units[0]), ml_of(amounts[1], units[1])), text)


def parse_volume(text: str, drop_ml: float = DROP_ML) -> float:
    """Parse one amount with its unit, in ml; a drop holds ``drop_ml``.

    Raises
    ------
    BadInput

    Examples
    --------
    >>> parse_volume("30 ml"), round(parse_volume("1/4 tsp"), 4)
    (30.0, 1.2322)
    """
    amount = _AMOUNT.fullmatch(" ".join(text.lower().replace(",", ".").split()))
    if amount is None or not amount[2].strip():
        raise BadInput(f"'{text}' is not a volume.", "Write it with its unit, such as 30ml, 2 tsp or 1/2 cup.")
    volume = ml_of(_number(amount[1], text), amount[2].strip(), drop_ml)
    if volume <= 0:
        raise BadInput(f"'{text}' is not a volume to mix.", "Give more than zero.")
    return volume


def _halves(plain: str) -> list[tuple[str, str]]:
    """Possible splits of the text into paint and water: the clearest separator first."""
    for sign in (":", " to ", "+"):
        if sign in plain:
            left, _, right = plain.partition(sign)
            return [(left.strip(), right.strip())]
    return [(plain[: m.start()].strip(), plain[m.end() :].strip()) for m in re.finditer("/", plain)]


def _number(written: str, text: str) -> float:
    """Parse a decimal, a fraction, or a whole number and a fraction."""
    try:
        return float(sum(Fraction(re.sub(r"\s*/\s*", "/", part)) for part in re.split(r"\s+(?=\d+\s*/)", written)))
    except ZeroDivisionError:
        raise BadInput(f"'{text}' divides by zero.", _HELP) from None
    except OverflowError:
        raise BadInput(f"'{text}' has a number that is too large.", _HELP) from None


def _checked(ratio: Ratio, text: str) -> Ratio:
    if ratio.paint <= 0:
        raise BadInput(f"'{text}' has no paint in it.", _HELP)
    if ratio.paint_fraction < _THINNEST:
        raise BadInput(
            f"'{text}' is less than 1 part of paint in 1000.", "Check the units; " + _HELP[0].lower() + _HELP[1:]
        )
    return ratio


def format_ratio(paint: float, water: float) -> str:
    """Standard form: smallest whole numbers if they fit, otherwise the smaller side as 1; ``full`` without water.

    Examples
    --------
    >>> format_ratio(25, 75), format_ratio(2, 3), format_ratio(1, 16.04), format_ratio(3, 0)
    ('1:3', '2:3', '1:16', 'full')
    """
    if water <= paint / _MOST:
        return "full"
    quotient = min(water / paint, _MOST)
    for small in range(1, _LARGEST_WHOLE + 1):
        large = round(small * max(quotient, 1 / quotient))
        if (small == 1 or large <= _LARGEST_WHOLE) and abs(large / small / max(quotient, 1 / quotient) - 1) < _CLOSE:
            return f"{small}:{large}" if quotient >= 1 else f"{large}:{small}"
    return f"1:{quotient:.3g}" if quotient >= 1 else f"{1 / quotient:.3g}:1"


def format_fraction(paint_fraction: float) -> str:
    """Standard form of a paint fraction; see :func:`format_ratio`.

    Examples
    --------
    >>> format_fraction(0.25)
    '1:3'
    """
    return format_ratio(paint_fraction, 1 - paint_fraction)


def format_layers(layers: Sequence[Layer]) -> str:
    """A recipe on one line.

    Examples
    --------
    >>> from colormatch.records import Part
    >>> format_layers([Layer((Part("ochre", 2), Part("umber", 1)), 0.25, 2)])
    '2 ochre + 1 umber, 1:3, 2 coats'
    >>> format_layers([])
    'leave it as it is'
    """
    if not layers:
        return "leave it as it is"
    return "; then ".join(_format_layer(layer) for layer in layers)


def _format_layer(layer: Layer) -> str:
    several = len(layer.paints) > 1
    paints = " + ".join(f"{part.parts:.3g} {part.called}" if several else part.called for part in layer.paints)
    return f"{paints}, {format_fraction(layer.paint_fraction)}, {layer.coats} coat{'s' if layer.coats > 1 else ''}"
