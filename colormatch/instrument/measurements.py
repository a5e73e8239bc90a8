"""Colors from a measuring instrument's file, converted to CIELAB, D65, 2°.

Two open formats are read: CGATS.17 / ISO 28178 text (:mod:`cgats`) and CxF3, ISO 17972-1 (:mod:`cxf`). If the file
holds a spectrum, the color is computed from it. XYZ or Lab for D50 is adapted to D65, an estimate: two reflectances
that match under D50 may differ under D65.

Sources
-------
Bradford adaptation and its matrix: ICC.1:2022, annex E. White of D50 for 2°: the same, also ISO 13655. Extending the
first and last measured reflectance to the ends of the observer: CIE 15:2018, 7.2.3 (extrapolation).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from colormatch.color.space import D50_XYZ, adaptation_to_d65, d65_from_d50, lab_from_xyz
from colormatch.color.spectra import WAVELENGTHS, lab_from_reflectance
from colormatch.errors import BadInput, ExchangeError
from colormatch.files import content_of
from colormatch.instrument.raw_sample import RawSample, bad_file
from colormatch.records import FloatArray, Lab, lab_of

#: File name endings used by instruments for these formats.
CGATS_ENDINGS = frozenset({".cie", ".cgats", ".it8", ".ti3", ".txt"})
CXF_ENDINGS = frozenset({".cxf", ".xml"})
#: Largest file read, bytes. Our choice: about a hundred thousand samples.
MAX_BYTES = 64 * 2**20
#: Wavelengths a spectrum must cover, nm: the span of common instruments. The rest adds little to the color.
_NEEDED_SPAN = (420, 680)
#: Widest wavelength step, nm (limit of ISO 13655).
_WIDEST_STEP = 20
#: ΔE00 that covers nine of ten of 144 measured print patches (the sample file of colour-cxf): their Lab for D50,
#: adapted, against their spectra under D65. The largest difference is 1.7.
_ADAPTED_UNCERTAINTY = 1.1
#: Limits of a reflectance, from CxF3; a fluorescent sample may exceed 1.
_LEAST, _MOST = -0.1, 3.0


@dataclass(frozen=True)
class Measurement:
    """One measured sample."""

    #: Name stated in the file.
    name: str
    lab: Lab
    #: Source of the color in words, such as "spectrum" or "Lab for D50, adapted".
    basis: str
    #: Uncertainty added by the conversion to D65, ΔE00, 90 % radius.
    uncertainty: float = 0.0


def read_measurements(path: Path) -> tuple[Measurement, ...]:
    """Samples of a CGATS or CxF3 file.

    Raises
    ------
    ExchangeError
        The file is unreadable or unusable; with file, line and reason.
    """
    from colormatch.instrument import cgats, cxf

    content = content_of(path, MAX_BYTES, unreadable=ExchangeError)
    is_xml = path.suffix.lower() in CXF_ENDINGS or content.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<")
    samples = cxf.read(content, path.name) if is_xml else cgats.read(content, path.name)
    if not samples:
        raise bad_file(path.name, 1, "it contains no sample with a color")
    return tuple(_measured(sample, path.name) for sample in samples)


def pick(measurements: Sequence[Measurement], name: str = "") -> Measurement:
    """Select a sample by name, or the only one.

    Raises
    ------
    BadInput
        No sample has that name, or there are several and no name is given.
    """
    found = [one for one in measurements if not name or one.name == name]
    if len(found) != 1:
        names = ", ".join(one.name for one in measurements[:10])
        what = f"{len(found)} samples" if found else "no sample"
        raise BadInput(f"The file has {what}{f' named {name}' if name else ''}.", f"Name one of: {names}.")
    return found[0]


def _measured(sample: RawSample, file: str) -> Measurement:
    values = [*sample.spectrum.values(), *(sample.xyz or ()), *(sample.lab or ())]
    if not all(math.isfinite(value) for value in values):
        raise bad_file(file, sample.line, f"the sample {sample.name} contains a value that is not a number")
    if sample.spectrum:
        lab, basis, uncertainty = _lab_of_spectrum(sample, file), "spectrum", 0.0
    else:
        lab, basis, uncertainty = _lab_of_tristimulus(sample, file)
    try:
        return Measurement(sample.name, lab_of(lab), basis, uncertainty)
    except BadInput as error:
        raise bad_file(
            file, sample.line, f"the sample {sample.name} has an impossible color ({error.what[:-1]})"
        ) from None


def _lab_of_spectrum(sample: RawSample, file: str) -> FloatArray:
    wavelengths = np.array(sorted(sample.spectrum))
    measured = np.array([sample.spectrum[nm] for nm in wavelengths])
    if wavelengths[0] > _NEEDED_SPAN[0] or wavelengths[-1] < _NEEDED_SPAN[1]:
        raise bad_file(
            file, sample.line, f"the spectrum of {sample.name} spans only {wavelengths[0]:g} to {wavelengths[-1]:g} nm"
        )
    if np.diff(wavelengths).max() > _WIDEST_STEP:
        raise bad_file(file, sample.line, f"the spectrum of {sample.name} has gaps wider than {_WIDEST_STEP} nm")
    if measured.min() < _LEAST or measured.max() > _MOST:
        raise bad_file(file, sample.line, f"the spectrum of {sample.name} contains a value that is not a reflectance")
    inside = np.clip(WAVELENGTHS, wavelengths[0], wavelengths[-1])
    if np.isin(inside, wavelengths).all():
        reflectance = measured[np.searchsorted(wavelengths, inside)]
    else:
        from scipy.interpolate import CubicSpline  # CIE 15:2018, 7.2.2 allows it for other steps

        reflectance = CubicSpline(wavelengths, measured)(inside)
    return lab_from_reflectance(reflectance)


def _lab_of_tristimulus(sample: RawSample, file: str) -> tuple[FloatArray, str, float]:
    assert sample.xyz is not None or sample.lab is not None
    form = "Lab" if sample.lab is not None else "XYZ"
    if sample.white not in ("", "D50", "D65"):
        raise bad_file(
            file, sample.line, f"the {form} of {sample.name} is for {sample.white}, which has no conversion to D65, 2°"
        )
    if sample.white == "D65":
        lab = np.array(sample.lab) if sample.lab is not None else lab_from_xyz(np.array(sample.xyz) / 100)
        return lab, f"{form} for D65", 0.0
    assumed = "" if sample.white else " (the file doesn't name the light; D50 is standard)"
    if sample.lab is not None:
        lab = d65_from_d50(np.array(sample.lab))
    else:
        lab = lab_from_xyz(np.array(sample.xyz) / 100 @ adaptation_to_d65(D50_XYZ).T)
    return lab, f"{form} for D50{assumed}, adapted to D65", _ADAPTED_UNCERTAINTY
