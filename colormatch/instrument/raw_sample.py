"""A sample as stated in an instrument's file of either format, and the error for an invalid file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from colormatch.errors import ExchangeError


@dataclass(frozen=True)
class RawSample:
    """A sample as stated in a file, before conversion to D65."""

    name: str
    #: Line in the file, for error messages.
    line: int
    #: Reflectance by wavelength in nm, 1 = perfect white; empty if not stated.
    spectrum: Mapping[float, float]
    #: XYZ (100 for white) and Lab, each for ``white``; None if not stated.
    xyz: tuple[float, float, float] | None
    lab: tuple[float, float, float] | None
    #: "D50" or "D65" for 2°, other light as stated in the file, or empty.
    white: str


def bad_file(file: str, line: int, reason: str) -> ExchangeError:
    """Error for an invalid instrument file."""
    return ExchangeError(
        f"{file}, line {line}: {reason}.",
        "Nothing was read; export it from the instrument again.",
        file=file,
        line=line,
    )
