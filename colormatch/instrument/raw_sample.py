"""What an instrument's file says of a sample, whatever its form, and the error for a file that says it badly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from colormatch.errors import ExchangeError


@dataclass(frozen=True)
class RawSample:
    """What a file says of a sample, before it is brought to the one frame."""

    name: str
    #: Line of the file, for what is said when it is bad.
    line: int
    #: Reflectance by wavelength in nm, 1 = perfect white; empty where there is none.
    spectrum: Mapping[float, float]
    #: XYZ with 100 for white, and Lab, each for ``white``; None where there is none.
    xyz: tuple[float, float, float] | None
    lab: tuple[float, float, float] | None
    #: "D50" or "D65" for 2°, something else as the file says it, or empty.
    white: str


def bad_file(file: str, line: int, reason: str) -> ExchangeError:
    """The error for what is wrong in an instrument's file."""
    return ExchangeError(
        f"{file}, line {line}: {reason}.",
        "Nothing was read; export it from the instrument again.",
        file=file,
        line=line,
    )
