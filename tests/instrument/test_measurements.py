"""Instruments' files, against colour-science, coloraide, colour-cxf and files that others measured."""

import math
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.errors import BadInput
from colormatch.instrument.cgats import read as read_cgats
from colormatch.instrument.cxf import read as read_cxf
from colormatch.instrument.measurements import _measured, pick, read_measurements
from tests.scenes.spectra import colour_science

#: Debian's package argyll-ref: CGATS files of charts that many people measured.
ARGYLL = sorted(Path("/usr/share/color/argyll/ref").glob("*.cie"))


def cgats(fields, rows, *keywords):
    names = " ".join(fields)
    lines = [
        "CGATS.17",
        *keywords,
        f"NUMBER_OF_FIELDS {len(fields)}",
        "BEGIN_DATA_FORMAT",
        names,
        "END_DATA_FORMAT",
        f"NUMBER_OF_SETS {len(rows)}",
        "BEGIN_DATA",
        *("\t".join(str(cell) for cell in row) for row in rows),
        "END_DATA",
    ]
    return "\r\n".join(lines)


def reference_lab(spectrum, light):
    """Lab by colour-science's ASTM E308 (every 10 nm, 2°) under a light, for that light's white."""
    colour = colour_science()
    white = {"D65": (0.3127, 0.3290), "D50": (0.3457, 0.3585)}[light]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells that it aligns its tables
        observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
        xyz = colour.sd_to_XYZ(spectrum, observer, colour.SDS_ILLUMINANTS[light])
    return colour.XYZ_to_Lab(xyz / 100, np.array(white))


@pytest.fixture(scope="module")
def patches():
    """The 24 reflectances of ISO 17321-1 as colour-science has them, and their Lab under D65, 2° by its ASTM E308."""
    colour = colour_science()

    spectra = colour.SDS_COLOURCHECKERS["ISO 17321-1"]
    shape = colour.SpectralShape(380, 730, 10)
    found = {}
    for name, spectrum in spectra.items():
        one = spectrum.copy().align(shape)
        found[name] = (one.wavelengths, one.values, reference_lab(one, "D65"))
    return found


@pytest.mark.parametrize("field", ["SPECTRAL_NM%d", "SPEC_%d", "NM_%d", "SPECTRAL_%d", "nm%d", "R_%d"])
@pytest.mark.parametrize("percent", [False, True])
def test_cgats_spectra_agree_with_colour_science(patches, tmp_path, field, percent):
    wavelengths = next(iter(patches.values()))[0]
    scale = 100 if percent else 1
    rows = [(f'"{name}"', *(repr(float(v * scale)) for v in values)) for name, (_, values, _) in patches.items()]
    text = cgats(["SAMPLE_NAME", *(field % nm for nm in wavelengths)], rows)
    (tmp_path / "x.txt").write_text(text)
    measured = read_measurements(tmp_path / "x.txt")
    assert [one.name for one in measured] == list(patches)
    for one in measured:
        # Below 0.06: the sum every 10 nm against E308's weights every 10 nm, and the five bands above 730 nm.
        assert np.linalg.norm(np.subtract(one.lab, patches[one.name][2])) < 0.06
        assert one.basis == "spectrum"


def test_steps_of_5_and_20_nm_agree_with_10(patches, tmp_path):
    """ISO 17321-1 is tabulated every 5 nm; smooth paints lose little every 20 nm."""
    colour = colour_science()

    name, spectrum = next(iter(colour.SDS_COLOURCHECKERS["ISO 17321-1"].items()))
    labs = {}
    for step in (5, 10, 20):
        one = spectrum.copy().align(colour.SpectralShape(380, 720, step))
        fields = ["SAMPLE_ID", *(f"NM_{int(nm)}" for nm in one.wavelengths)]
        (tmp_path / "x.txt").write_text(cgats(fields, [("A1", *map(float, one.values))]))
        labs[step] = np.array(read_measurements(tmp_path / "x.txt")[0].lab)
    assert np.linalg.norm(labs[5] - labs[10]) < 1e-9  # the same tens are used
    assert np.linalg.norm(labs[20] - labs[10]) < 0.3
    assert np.linalg.norm(labs[10] - patches[name][2]) < 0.06


@pytest.mark.parametrize("lab", [(62, 9, 25), (20, 1, -2), (95, 0, 1), (50, 48, 16)])
def test_lab_for_d50_is_adapted_as_coloraide_does_it(lab, tmp_path):
    from coloraide import Color

    (tmp_path / "x.txt").write_text(cgats(["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"], [("A1", *lab)]))
    (one,) = read_measurements(tmp_path / "x.txt")
    expected = Color("lab", lab).convert("lab-d65").coords()  # coloraide's lab is D50; it adapts by Bradford
    # Its D50 and D65 come from x, y to four digits, ours from ICC.1 (0.9642, 1, 0.8249): 0.03 in the sum.
    assert math.dist(one.lab, expected) < 0.03
    assert "D50" in one.basis
    assert "doesn't name the light" in one.basis


@pytest.mark.parametrize("lab", [(62, 9, 25), (20, 1, -2), (95, 0, 1), (50, 48, 16)])
def test_xyz_for_d50_is_adapted_as_coloraide_does_it(lab, tmp_path):
    from coloraide import Color

    xyz = [100 * value for value in Color("lab", lab).convert("xyz-d50").coords()]
    (tmp_path / "x.txt").write_text(cgats(["SAMPLE_ID", "XYZ_X", "XYZ_Y", "XYZ_Z"], [("A1", *xyz)]))
    (one,) = read_measurements(tmp_path / "x.txt")
    assert math.dist(one.lab, Color("lab", lab).convert("lab-d65").coords()) < 0.06


def test_what_the_file_says_of_its_light_is_heeded(tmp_path):
    lab = ["SAMPLE_ID", "LAB_L", "LAB_A", "LAB_B"]

    def read(*keywords):
        (tmp_path / "x.txt").write_text(cgats(lab, [("A1", 62, 9, 25)], *keywords))
        return read_measurements(tmp_path / "x.txt")[0]

    for said in ('ILLUMINANT "D65"', 'WEIGHTING_FUNCTION "ILLUMINANT, D65"', 'DESCRIPTOR "board (D65)"'):
        assert read(said).lab == (62, 9, 25)
        assert read(said).basis == "Lab for D65"
    assert read('ILLUMINANT "D50"').basis == "Lab for D50, adapted to D65"
    for refused in ('ILLUMINANT "A"', 'OBSERVER "10"', 'WEIGHTING_FUNCTION "OBSERVER, 10 degree"'):
        with pytest.raises(ValueError, match="no conversion to D65"):
            read(refused)


@pytest.mark.skipif(not ARGYLL, reason="needs the charts of Debian's package argyll-ref")
@pytest.mark.parametrize("path", ARGYLL, ids=lambda path: path.stem)
def test_files_of_others_are_read(path):
    text = path.read_text("latin-1")
    stated = int(text.split("NUMBER_OF_SETS")[1].split()[0])
    measured = read_measurements(path)
    assert len(measured) == stated == len({one.name for one in measured})
    samples = read_cgats(path.read_bytes(), path.name)
    both = [one for one in samples if one.xyz and one.lab]
    for one in both:
        # Their XYZ and their Lab are the same color, so both ways must end at the same place.
        by_lab, by_xyz = _measured(one, ""), _measured(replace(one, lab=None), "")
        assert math.dist(by_lab.lab, by_xyz.lab) < 0.05


def test_at_least_one_of_them_holds_both_forms():
    if not ARGYLL:
        pytest.skip("needs the charts of Debian's package argyll-ref")
    assert any("XYZ_X" in text and "LAB_L" in text for text in (path.read_text("latin-1") for path in ARGYLL))


def test_cxf_agrees_with_colour_cxf_and_with_the_file_s_own_lab():
    """The sample that ships with colour-cxf: 144 measured patches, spectra 380 to 680 nm and Lab for D50."""
    colour_cxf = pytest.importorskip("colour_cxf", reason="needs colour-cxf (test extra, Python below 3.14)")
    colour = colour_science()

    path = Path(colour_cxf.__file__).parent / "tests" / "resources" / "sample.cxf"
    content = path.read_bytes()
    ours = read_cxf(content, path.name)
    theirs = colour_cxf.read_cxf(content).resources.object_collection.object_value
    measured = read_measurements(path)
    assert len(ours) == len(theirs) == len(measured) == 144
    for mine, their, one in zip(ours, theirs, measured, strict=True):
        assert mine.name == their.name
        spectrum = colour.SpectralDistribution(dict(mine.spectrum))
        assert spectrum.wavelengths[0] == 380
        assert mine.white == "D50"
        listed = [value for value in their.color_values.choice if type(value).__name__ == "ReflectanceSpectrum"]
        assert tuple(mine.spectrum.values()) == tuple(listed[0].value)
        # The file's own Lab for D50 comes from the same spectrum.
        assert math.dist(reference_lab(spectrum, "D50"), mine.lab) < 0.2
        assert math.dist(reference_lab(spectrum, "D65"), one.lab) < 0.1
    # What adapting the Lab for D50 costs against the spectrum is what the program says of it.
    adapted = [_measured(replace(mine, spectrum={}), "") for mine in ours]
    off = delta_e(np.array([one.lab for one in adapted]), np.array([one.lab for one in measured]))
    assert np.percentile(off, 90) == pytest.approx(adapted[0].uncertainty, abs=0.1)


def test_a_cxf_file_with_lab_only(tmp_path):
    (tmp_path / "x.cxf").write_text(
        '<?xml version="1.0"?><cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core"><cc:Resources>'
        '<cc:ObjectCollection><cc:Object Name="door board" Id="1"><cc:ColorValues>'
        '<cc:ColorCIELab ColorSpecification="c"><cc:L>62</cc:L><cc:A>9</cc:A><cc:B>25</cc:B></cc:ColorCIELab>'
        "</cc:ColorValues></cc:Object></cc:ObjectCollection><cc:ColorSpecificationCollection>"
        '<cc:ColorSpecification Id="c"><cc:TristimulusSpec><cc:Illuminant>D65</cc:Illuminant>'
        "<cc:Observer>2_Degree</cc:Observer></cc:TristimulusSpec></cc:ColorSpecification>"
        "</cc:ColorSpecificationCollection></cc:Resources></cc:CxF>"
    )
    (one,) = read_measurements(tmp_path / "x.cxf")
    assert (one.name, one.lab, one.basis) == ("door board", (62, 9, 25), "Lab for D65")
    ten = (tmp_path / "x.cxf").read_text().replace("2_Degree", "10_Degree")
    (tmp_path / "x.cxf").write_text(ten)
    with pytest.raises(ValueError, match="10_Degree"):
        read_measurements(tmp_path / "x.cxf")


def test_several_tables_quoted_names_and_comments(tmp_path):
    text = cgats(["SAMPLE_ID", "RGB_R"], [("A1", 5)]) + "\n# a note\n"
    text += cgats(["SAMPLE_NAME", "LAB_L", "LAB_A", "LAB_B"], [('"door, two coats"', 62, 9, 25), ("bench", 70, 5, 20)])
    (tmp_path / "x.txt").write_text(text)
    measured = read_measurements(tmp_path / "x.txt")
    assert [one.name for one in measured] == ["door, two coats", "bench"]
    assert pick(measured, "bench").lab == measured[1].lab
    assert pick(measured[:1]) == measured[0]
    for name in ("", "rail"):
        with pytest.raises(BadInput, match="Name one of: door, two coats, bench"):
            pick(measured, name)


@pytest.mark.parametrize(
    ("span", "match"), [(range(450, 640, 10), "spans only 450 to 630"), (range(400, 710, 30), "gaps wider")]
)
def test_spectra_that_can_t_make_a_color(tmp_path, span, match):
    rows = [("A1", *(0.5 for _ in span))]
    (tmp_path / "x.txt").write_text(cgats(["SAMPLE_ID", *(f"NM_{nm}" for nm in span)], rows))
    with pytest.raises(ValueError, match=match):
        read_measurements(tmp_path / "x.txt")
