"""Cautions for dangerous work: general, common practice, no source.

Local codes, the maker's sheet and licensed practice come first; the last sentence always says so.
"""

from __future__ import annotations

from collections.abc import Sequence

from colormatch.records import Paint

DUST = (
    "Old coatings may hold lead: test before sanding. Keep sanding dust down with extraction and a fitting respirator."
)
SOLVENTS = "Shellac, solvents and spraying need ventilation, no flames or sparks, and the right respirator."
RAGS = (
    "Rags with oil or stain can ignite by themselves: dry them flat outdoors, or keep them under water in a closed "
    "metal can."
)
SKIN = "Keep paint and solvents off eyes and skin."
CONTACT = "Surfaces for food and children's furniture: follow what the paint's maker states."
SCREEN = "Color on a screen or on paper is a guide; the test strip decides."
#: Words in a paint's kind or thinner that call for the caution about rags.
_OILY = ("oil", "stain", "linseed", "tung", "spirit")
DEFER = "Local codes, the maker's sheet and licensed practice come before anything written here."


def cautions(paints: Sequence[Paint], *, clear_coat: bool = False) -> tuple[str, ...]:
    """Cautions for a job, the deferral last.

    Parameters
    ----------
    paints : sequence of Paint
        Paints used. A thinner other than water counts as a solvent; an oil or a stain adds the caution about rags.
    clear_coat : bool
        Whether a clear coat follows.
    """
    kinds = " ".join(f"{paint.kind} {paint.thinner}" for paint in paints).lower()
    solvent = clear_coat or any(paint.thinner.strip().lower() not in ("", "water") for paint in paints)
    oily = any(word in kinds for word in _OILY)
    return (
        DUST,
        SKIN,
        *([SOLVENTS] if solvent else []),
        *([RAGS] if solvent or oily else []),
        CONTACT,
        SCREEN,
        DEFER,
    )
