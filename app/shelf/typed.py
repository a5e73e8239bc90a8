"""Parse and format text in the shelf's forms."""

from __future__ import annotations

from colormatch.errors import BadInput
from colormatch.mixing.measures import parse_number
from colormatch.records import Lab, lab_of
from colormatch.wash.ratio import Ratio, format_ratio, parse_ratio, parse_volume

#: What is said, and asked for, where a ratio is left empty: one that the program made up would spoil a swatch.
NO_RATIO = "The ratio of paint to water is missing.", "Type it as full, 1:7 or 25%, for example."


def volume(text: str) -> float | None:
    """Parse ``250``, ``250 ml``, ``1 pint`` as milliliters; None if empty.

    Raises
    ------
    BadInput
    """
    text = text.strip()
    if not text:
        return None
    try:
        return float(text.lower().removesuffix("ml"))
    except ValueError:
        return parse_volume(text)


def number(text: str, what: str) -> float | None:
    """Parse a number; None if empty.

    Raises
    ------
    BadInput
    """
    if not text.strip():
        return None
    return parse_number(text, what)


def radius(text: str, before: float | None = None) -> float:
    """Parse an uncertainty in ΔE; exactly ``before`` if the text is unchanged.

    Raises
    ------
    BadInput
    """
    if before is not None and text == f"{before:g}":
        return before
    value = number(text, "uncertainty")
    if value is None:
        raise BadInput("The uncertainty is empty.", "Give a ΔE, such as 1 for a careful reading.")
    return value


def color(text: str, what: str, before: Lab | None = None) -> Lab:
    """Parse ``62, 9, 25`` or ``62 9 25`` as a color; exactly ``before`` if the text is unchanged.

    Raises
    ------
    BadInput
    """
    return before if before is not None and text == color_text(before) else lab_of(text.replace(",", " ").split(), what)


def color_text(lab: Lab | None) -> str:
    """Inverse of :func:`color`, to four decimals; empty for none."""
    return "" if lab is None else ", ".join(f"{round(v, 4):g}" for v in lab)


def told(lab: Lab) -> Lab:
    """Round a color for display: a tenth is finer than any photo."""
    return Lab(*(round(v, 1) for v in lab))


def ratio(text: str, before: Ratio | None) -> Ratio:
    """Parse a ratio; keeps the original parts if the text is equivalent.

    Raises
    ------
    BadInput
    """
    if not text.strip():
        raise BadInput(*NO_RATIO)
    return before if before is not None and text == format_ratio(*before) else parse_ratio(text)
