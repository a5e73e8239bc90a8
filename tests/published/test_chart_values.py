"""The chart's reference values against colour-science, and the reader of chart files."""

import warnings
from pathlib import Path

import numpy as np
import pytest

from colormatch.color.difference import delta_e
from colormatch.color.space import d65_from_d50
from colormatch.errors import ColorMatchError
from colormatch.records import FloatArray
from colormatch.reference.chart_values import BEFORE_2014, SINCE_2014, read_chart_file
from tests.scenes.spectra import colour_science

#: ColorChecker.cie of the ArgyllCMS reference files (chart maker's values; CIELAB, D50): dark skin, white, black.
ARGYLL_CHART = Path("/usr/share/color/argyll/ref/ColorChecker.cie")
ARGYLL_D50 = {0: (37.99, 13.56, 14.06), 18: (96.54, -0.43, 1.19), 23: (20.46, -0.08, -0.97)}


@pytest.mark.parametrize(("issue", "ours"), [("Before", BEFORE_2014), ("After", SINCE_2014)])
def test_both_issues_agree_with_colour_science(issue: str, ours: FloatArray) -> None:
    colour = colour_science()
    chart = colour.CCS_COLOURCHECKERS[f"ColorChecker24 - {issue} November 2014"]
    d65 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    xyz = colour.chromatic_adaptation(
        colour.xyY_to_XYZ(np.array(list(chart.data.values()))),
        colour.xy_to_XYZ(chart.illuminant), colour.xy_to_XYZ(d65), method="Von Kries", transform="Bradford",
    )  # fmt: skip
    np.testing.assert_allclose(ours, colour.XYZ_to_Lab(xyz, d65), atol=0.002)


def test_adaptation_from_d50_agrees_with_colour_science() -> None:
    colour = colour_science()
    whites = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    lab = np.random.default_rng(0).uniform([20, -40, -40], [90, 40, 60], (50, 3))
    xyz = colour.Lab_to_XYZ(lab, whites["D50"])
    adapted = colour.chromatic_adaptation(
        xyz, colour.xy_to_XYZ(whites["D50"]), colour.xy_to_XYZ(whites["D65"]), method="Von Kries", transform="Bradford"
    )
    # The ICC's D50 is rounded to four digits.
    np.testing.assert_allclose(d65_from_d50(lab), colour.XYZ_to_Lab(adapted, whites["D65"]), atol=0.03)


def test_the_older_issue_agrees_with_the_makers_d50_values() -> None:
    for index, lab in ARGYLL_D50.items():
        # Rounded to 0.01 under D50.
        np.testing.assert_allclose(d65_from_d50(np.array(lab)), BEFORE_2014[index], atol=0.01)


def cgats(lab: FloatArray) -> str:
    rows = "\n".join(f"P{i:02d} {L:.3f} {a:.3f} {b:.3f}" for i, (L, a, b) in enumerate(lab))
    return (
        'CGATS.17\nDESCRIPTOR "my chart"\nNUMBER_OF_FIELDS 4\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B\n'
        f"END_DATA_FORMAT\nNUMBER_OF_SETS {len(lab)}\nBEGIN_DATA\n{rows}\nEND_DATA\n"
    )


def comma_separated(lab: FloatArray) -> str:
    return "name,L,a,b\n" + "\n".join(f"P{i},{L:.4f},{a:.4f},{b:.4f}" for i, (L, a, b) in enumerate(lab))


def columnwise(lab: FloatArray) -> FloatArray:
    return lab.reshape(4, 6, 3).swapaxes(0, 1).reshape(24, 3)


def test_a_users_own_chart(tmp_path: Path) -> None:
    own = BEFORE_2014 + 0.5
    for order in (own, columnwise(own)):
        (tmp_path / "own.csv").write_text(comma_separated(order))
        np.testing.assert_allclose(read_chart_file(tmp_path / "own.csv"), own, atol=1e-3)
        (tmp_path / "own.txt").write_text(cgats(order))
        np.testing.assert_allclose(read_chart_file(tmp_path / "own.txt"), d65_from_d50(own), atol=2e-3)


@pytest.mark.skipif(not ARGYLL_CHART.exists(), reason="needs the charts of Debian's package argyll-ref")
def test_the_charts_of_argyll_ref_are_read(tmp_path: Path) -> None:
    """CGATS as another program writes it: all 24 patches, rounded to 0.01 under D50."""
    lab = read_chart_file(ARGYLL_CHART)
    np.testing.assert_allclose(lab[list(ARGYLL_D50)], BEFORE_2014[list(ARGYLL_D50)], atol=0.01)
    assert delta_e(lab, BEFORE_2014).max() < 0.015
    with pytest.raises(ColorMatchError, match="has 30 patches"):
        read_chart_file(ARGYLL_CHART.with_name("QPcard_201.cie"))


def test_a_cxf_file_written_by_another_library(tmp_path: Path) -> None:
    """24 measured reflectances (ISO 17321-1, from colour-science) in the frame of colour-cxf's sample, saved by it."""
    colour_cxf = pytest.importorskip("colour_cxf", reason="needs colour-cxf (test extra, Python below 3.14)")
    colour = colour_science()
    document = colour_cxf.read_cxf_from_file(
        str(Path(colour_cxf.__file__).parent / "tests" / "resources" / "sample.cxf")
    )
    shape = colour.SpectralShape(380, 680, 10)
    chart = [one.copy().align(shape) for one in colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()]
    patches = document.resources.object_collection.object_value[: len(chart)]
    for patch, measured in zip(patches, chart, strict=True):
        (spectrum,) = [one for one in patch.color_values.choice if type(one).__name__ == "ReflectanceSpectrum"]
        spectrum.value = measured.values.tolist()
        patch.name, patch.color_values.choice = measured.name, [spectrum]
    document.resources.object_collection.object_value = patches
    (tmp_path / "chart.cxf").write_bytes(colour_cxf.write_cxf(document))
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells that it aligns its tables
        xyz = [colour.sd_to_XYZ(one, illuminant=colour.SDS_ILLUMINANTS["D65"]) / 100 for one in chart]
    np.testing.assert_allclose(read_chart_file(tmp_path / "chart.cxf"), colour.XYZ_to_Lab(xyz, white), atol=0.1)


@pytest.mark.parametrize(
    "content",
    [
        "",
        "hello",
        comma_separated(SINCE_2014[:20]),
        comma_separated(SINCE_2014[::-1]),
        comma_separated(SINCE_2014).replace("P3,", "P3,x"),
        cgats(SINCE_2014).replace("LAB_L", "RGB_R"),
        cgats(SINCE_2014[:23]),
        cgats(SINCE_2014).replace("P05 ", "P05 nan "),
    ],
)
def test_other_files_are_refused(content: str, tmp_path: Path) -> None:
    (tmp_path / "chart.txt").write_text(content)
    with pytest.raises(ColorMatchError):
        read_chart_file(tmp_path / "chart.txt")


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ColorMatchError):
        read_chart_file(tmp_path / "none.txt")
