"""Cautions where work can hurt someone: general ones, common practice, no source.

Local codes, the maker's sheet and licensed practice come first; the last sentence says so wherever any is shown.
"""

from __future__ import annotations

DUST = (
    "Old coatings may hold lead: test before sanding. Keep sanding dust down with extraction and a fitting respirator."
)
SOLVENTS = "Shellac, solvents and spraying need ventilation, no flames or sparks, and the right respirator."
RAGS = (
    "Rags with oil or stain can ignite by themselves: dry them flat outdoors, or keep them under water in a closed "
    "metal can."
)
SKIN = "Keep paint and solvents off eyes and skin."
CONTACT = "Surfaces for food and children's furniture: what the paint's maker states counts."
SCREEN = "Color on a screen or on paper is a guide; the test strip decides."
DEFER = "Local codes, the maker's sheet and licensed practice come before anything written here."


def cautions(thinner: str = "water", *, clear_coat: bool = False, kind: str = "") -> tuple[str, ...]:
    """Cautions for a job, the deferral last.

    Parameters
    ----------
    thinner : str
        What the paint is thinned with; anything but water is taken for a solvent.
    clear_coat : bool
        Whether a clear coat follows.
    kind : str
        The paint's kind as the user named it; oil and stain concern the rags.
    """
    words = f"{kind} {thinner}".lower()
    solvent = clear_coat or thinner.strip().lower() not in ("", "water")
    oily = any(word in words for word in ("oil", "stain", "linseed", "tung", "spirit"))
    chosen = [
        DUST,
        SKIN,
        *([SOLVENTS] if solvent else []),
        *([RAGS] if solvent or oily else []),
        CONTACT,
        SCREEN,
        DEFER,
    ]
    return tuple(chosen)
