"""Words for a color difference, in the language of the trade: lighter, stronger, redder.

Sources
-------
Thresholds: R. D. Paravina et al., "Color difference thresholds in dentistry", Journal of Esthetic and Restorative
Dentistry 27 S1, 2015: half of the observers see 0.8, half accept 1.8 (ΔE00, dental ceramics side by side). Wood is
more forgiving: its own variation within one surface is about 2 (M. Buchelt and R. Wagenführ, European Journal of Wood
and Wood Products 70, 2012, ΔE*ab).
"""

from __future__ import annotations

import math

import numpy as np

from colormatch.color.difference import axis_weights, delta_e
from colormatch.records import Lab

#: ΔE00 visible to half of observers, and acceptable to half of them (Paravina et al. 2015).
VISIBLE = 0.8
ACCEPTABLE = 1.8
#: Description of an invisible difference.
NOTHING = "nothing to see"
#: ΔE00 limits of "clear" and "strong": two and four times the acceptable difference, our choice.
CLEAR = 2 * ACCEPTABLE
STRONG = 4 * ACCEPTABLE
#: Smallest share of the whole difference for which a part is named; our choice.
_WORTH_NAMING = 0.4
#: Chroma below which hue is too unsure, so a* and b* are named instead; our choice.
_NEARLY_GRAY = 5.0
#: Hue angles of unique red, yellow, green and blue, degrees (CIE 159:2004, table of unique hues; used unchanged in
#: CIELAB, close enough to choose a word).
_UNIQUE_HUES = ((20.14, "red"), (90.0, "yellow"), (164.25, "green"), (237.53, "blue"))


def verdict(difference: float) -> str:
    """Meaning of a ΔE00 between two neighboring surfaces, in words.

    Examples
    --------
    >>> verdict(0.5), verdict(1.2), verdict(9)
    ('hardly visible', 'visible to a trained eye', 'another color')
    """
    if difference < VISIBLE:
        return "hardly visible"
    if difference < ACCEPTABLE:
        return "visible to a trained eye"
    if difference < CLEAR:
        return "visible, still close"
    if difference < STRONG:
        return "clearly visible"
    return "another color"


def size_word(difference: float) -> str:
    """Size of a part of a difference: "a touch", "slightly", "clearly", "far"."""
    if difference < ACCEPTABLE:
        return "a touch"
    if difference < CLEAR:
        return "slightly"
    return "clearly" if difference < STRONG else "far"


def directions(lab: Lab, target: Lab) -> list[tuple[float, str]]:
    """Parts of a difference, largest first: (size in about ΔE00, comparative word).

    Parameters
    ----------
    lab, target : Lab
        The actual color and the intended one.

    Returns
    -------
    list of (float, str)
        Lightness ("lighter", "darker"), chroma ("stronger", "grayer") and hue ("redder", "yellower", "greener",
        "bluer"); relative to the target: "lighter" means that ``lab`` is lighter.

    Examples
    --------
    >>> directions(Lab(60, 10, 20), Lab(55, 10, 20))[0][1]
    'lighter'
    """
    here, there = np.asarray(lab, dtype=float), np.asarray(target, dtype=float)
    step = here - there
    weight_l, weight_ab, _ = axis_weights((here + there) / 2)
    parts = [(abs(step[0]) * weight_l, "lighter" if step[0] > 0 else "darker")]
    chroma, target_chroma = math.hypot(*lab[1:]), math.hypot(*target[1:])
    if min(chroma, target_chroma) < _NEARLY_GRAY:
        parts.append((abs(step[1]) * weight_ab, "redder" if step[1] > 0 else "greener"))
        parts.append((abs(step[2]) * weight_ab, "yellower" if step[2] > 0 else "bluer"))
    else:
        parts.append((abs(chroma - target_chroma) * weight_ab, "stronger" if chroma > target_chroma else "grayer"))
        hue, target_hue = (math.degrees(math.atan2(c[2], c[1])) for c in (lab, target))
        turn = (hue - target_hue + 180) % 360 - 180
        arc = 2 * math.sqrt(chroma * target_chroma) * math.sin(math.radians(abs(turn)) / 2)
        parts.append((arc * weight_ab, _hue_word(target_hue % 360, turn)))
    return sorted(((float(size), word) for size, word in parts), reverse=True)


def _hue_word(hue: float, turn: float) -> str:
    """Comparative of the next unique hue when turning from ``hue``."""
    gaps = [((unique - hue if turn > 0 else hue - unique) % 360, name) for unique, name in _UNIQUE_HUES]
    # From exactly a unique hue, the next one is meant.
    name = min((gap if gap > 1 else 360.0, name) for gap, name in gaps)[1]
    return "redder" if name == "red" else f"{name}r" if name.endswith("e") else f"{name}er"


def describe_off(lab: Lab, target: Lab) -> str:
    """Remaining difference, in words.

    Examples
    --------
    >>> describe_off(Lab(60, 10, 20), Lab(58.5, 10, 20))
    'a touch too light'
    >>> describe_off(Lab(60, 10, 20), Lab(60, 10, 20.2))
    'nothing to see'
    >>> describe_off(Lab(56, 7, 24), Lab(60, 10, 20))
    'clearly too dark and slightly too yellow'
    """
    whole = float(delta_e(lab, target))
    if whole < VISIBLE:
        return NOTHING
    parts = directions(lab, target)
    named = [part for part in parts if part[0] >= _WORTH_NAMING * whole] or parts[:1]
    return " and ".join(f"{size_word(size)} too {_PLAIN[word]}" for size, word in named[:2])


_PLAIN = {
    "lighter": "light",
    "darker": "dark",
    "stronger": "strong",
    "grayer": "gray",
    "redder": "red",
    "yellower": "yellow",
    "greener": "green",
    "bluer": "blue",
}
