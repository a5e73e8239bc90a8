"""The printed sheet: its true size, its geometry and its layout file."""

import re

import numpy as np
import pytest

from colormatch.errors import BadInput
from colormatch.sheet.layout import MOST_COLUMNS, MOST_ROWS, PAPERS, Geometry, Plan
from colormatch.sheet.pdf import SCALE, sheet_pdf, sheet_picture

COLUMNS = ("full", "1:1", "1:3x1", "1:3x2")
LARGEST = tuple(f"paint {n}" for n in range(MOST_ROWS)), ("full", "2:1", "1:1", "1:3", "1:3x2", "1:7")


@pytest.mark.parametrize(
    ("paper", "points"),
    # A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI/ASME Y14.1); a PDF point is 1/72 in (ISO 32000).
    [("a4", (595.276, 841.890)), ("letter", (612.0, 792.0))],
)
def test_page_has_the_size_of_the_paper(paper, points):
    pdf = sheet_pdf(Plan(paper, ("Ochre",), COLUMNS))
    box = re.search(rb"/MediaBox \[ ?([\d. ]+?) ?\]", pdf)
    left, top, right, bottom = map(float, box[1].split())
    assert (left, top) == (0, 0)
    assert (right, bottom) == pytest.approx(points, abs=0.001)


def test_printed_scale_is_as_long_as_it_says():
    page = sheet_picture(Plan("a4", ("Ochre",), COLUMNS), 600)
    black = ~np.asarray(page)
    longest = 0
    for row in black[5500:5800, 500:2300]:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(int), [0]])))
        longest = max(longest, *np.diff(edges)[::2], 0) if edges.size else longest
    assert longest / 600 * 25.4 == pytest.approx(SCALE, abs=0.1)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("rows", "columns"), [(("Ochre",), ("full",)), LARGEST])
def test_nothing_on_the_sheet_overlaps(paper, rows, columns):
    plan = Plan(paper, rows, columns)
    things = [*plan.markers.values(), *(cell.rect for cell in plan.cells), plan.card_place, *plan.blanks]
    width, height = plan.size
    for i, one in enumerate(things):
        assert 5 <= one.left < one.right <= width - 5
        assert 5 <= one.top < one.bottom <= height - 5
        for other in things[i + 1 :]:
            apart = one.left >= other.right or other.left >= one.right
            assert apart or one.top >= other.bottom or other.top >= one.bottom


def test_every_geometry_has_a_number_of_its_own():
    numbers = {
        Geometry(paper, rows + 1, columns + 1).number: (paper, rows + 1, columns + 1)
        for paper in PAPERS
        for rows in range(MOST_ROWS)
        for columns in range(MOST_COLUMNS)
    }
    assert sorted(numbers) == list(range(120))
    assert all(Geometry.of_number(number) == told for number, told in numbers.items())


def test_layout_file_is_read_back():
    plan = Plan("letter", ("Ochre", "Raw Umber"), COLUMNS)
    assert Plan.from_json(plan.to_json()) == plan


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"format": "swatch sheet 1", "paper": "a4", "rows": "Ochre"}'])
def test_other_files_are_no_layout(text):
    with pytest.raises(BadInput, match="layout file"):
        Plan.from_json(text)


@pytest.mark.parametrize("rows", [(), ("",), ("Ochre", "ochre"), tuple(map(str, range(11)))])
def test_impossible_rows_are_refused(rows):
    with pytest.raises(BadInput):
        Plan("a4", rows, COLUMNS)
