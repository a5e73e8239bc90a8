"""Wavelengths, lights and the observer; the Lab of a reflectance."""

import warnings
from functools import cache
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating]

#: nm; the grid of every spectrum in the simulator.
WAVELENGTHS = np.arange(380.0, 781.0, 5.0)
#: Daylights, an incandescent lamp, two white LEDs and two fluorescent lamps (CIE 15:2018).
LIGHTS = ("D65", "D50", "A", "LED-B1", "LED-B5", "FL2", "FL11")
#: XYZ to linear sRGB (IEC 61966-2-1), before its rows are scaled to the white of our grid.
_XYZ_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])


@cache
def colour_science() -> ModuleType:
    """colour-science, imported once and when needed (two seconds); it warns of optional plotting that we don't use."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
        import colour.quality.cfi2017
    return colour


def from_colour(table: str, name: str) -> FloatArray:
    """A spectrum or a set of spectra from colour-science on our grid, (81,) or (81, n); gaps become 0."""
    colour = colour_science()
    spectrum = getattr(colour, table)[name].copy().align(colour.SpectralShape(380, 780, 5))
    return np.nan_to_num(np.asarray(spectrum.values, float))


@cache
def light(name: str) -> FloatArray:
    """Relative spectral power of a light, (81,), mean 1."""
    power = from_colour("SDS_ILLUMINANTS", name)
    return power / power.mean()


@cache
def observer() -> FloatArray:
    """D65 times the CIE 1931 2 degree observer, (81, 3): reflectance @ observer() is XYZ, Y of a perfect white 1."""
    weights = light("D65")[:, None] * from_colour("MSDS_CMFS", "CIE 1931 2 Degree Standard Observer")
    return weights / weights[:, 1].sum()


@cache
def xyz_to_linear_rgb() -> FloatArray:
    """(3, 3) matrix; the white of our grid becomes exactly 1, 1, 1."""
    white = observer().sum(0)
    return _XYZ_TO_SRGB / (_XYZ_TO_SRGB @ white)[:, None]


def xyz_to_lab(xyz: FloatArray) -> FloatArray:
    """CIELAB of (..., 3) XYZ against the white of `observer`."""
    colour = colour_science()
    return np.asarray(colour.XYZ_to_Lab(xyz, illuminant=colour.XYZ_to_xy(observer().sum(0))))


def reflectance_to_lab(reflectance: FloatArray) -> FloatArray:
    """CIELAB, D65 and 2 degrees, of (..., 81) reflectances."""
    return xyz_to_lab(reflectance @ observer())


def reflectance_to_linear_rgb(reflectance: FloatArray) -> FloatArray:
    """Linear sRGB under D65 of (..., 81) reflectances; not clipped."""
    return reflectance @ observer() @ xyz_to_linear_rgb().T


def delta_e(lab: FloatArray, other: FloatArray) -> FloatArray:
    """CIEDE2000 between (..., 3) Labs, computed by colour-science."""
    return np.asarray(colour_science().delta_E(lab, other, method="CIE 2000"))


def flat(reflectance: float) -> FloatArray:
    """A neutral reflectance, (81,)."""
    return np.full(WAVELENGTHS.size, reflectance)


def edge(wavelength: float, width: float) -> FloatArray:
    """A logistic step, 1 below `wavelength` (nm) and 0 above it."""
    return 1 / (1 + np.exp((WAVELENGTHS - wavelength) / width))


def bump(wavelength: float, width: float) -> FloatArray:
    """A Gaussian of height 1 about `wavelength`, standard deviation `width` (nm)."""
    return np.exp(-0.5 * ((WAVELENGTHS - wavelength) / width) ** 2)
