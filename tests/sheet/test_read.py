"""Photographs of painted sheets, simulated (tests/sheet/scene.py), read against the truth of the simulation."""

import json

import cv2
import numpy as np
import pytest

from colormatch.cli.main import main
from colormatch.errors import BadInput, PhotoError
from colormatch.image.photo import open_photo
from colormatch.library import Library
from colormatch.records import Paint, Swatch
from colormatch.reference.card_choice import CardChoice
from colormatch.sheet.layout import Plan
from colormatch.sheet.read import read_board, read_sheet
from colormatch.sheet.swatches import parse_column, swatches_of
from tests.scenes.camera import Camera, Lighting
from tests.scenes.spectra import delta_e
from tests.sheet.scene import Pose, paint_names, photographed
from tests.studies.boards import drawn, errors

COLUMNS = ("full", "1:1", "1:3", "1:3x2")
PLAN = Plan("a4", paint_names()[:4], COLUMNS)
#: What went wrong in which cell, and the flag that should tell.
MARRED = {
    (PLAN.rows[2], "full"): ("half", "half-painted"),
    (PLAN.rows[3], "1:1"): ("gloss", "glare"),
    (PLAN.rows[3], "full"): ("cloudy", "uneven"),
    (PLAN.rows[2], "1:1"): ("shadow", "shadow"),
    (PLAN.rows[2], "1:3"): ("bare", "unpainted"),
}


@pytest.fixture(scope="module")
def sound():
    rng = np.random.default_rng(5)
    return photographed(PLAN, rng, Pose(35, 60, -7, 8), Lighting("LED-B1", slope=(0.2, -0.15)), Camera.typical(rng))


def jpeg_of(rgb):
    return cv2.imencode(".jpg", rgb[..., ::-1])[1].tobytes()


def pixels_of(jpeg):
    return cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR)[..., ::-1].copy()


def test_every_cell_is_read_in_its_place_and_in_its_color():
    read, cells = [], 0
    for seed in range(201, 213):
        plan, sheet = drawn(seed, width=1500)
        cells += len(plan.rows) * len(plan.columns)
        photo = open_photo(sheet.jpeg)
        board, _ = read_sheet(photo, plan)
        read += errors(photo, board, sheet)
    off, taken, apart = map(np.array, zip(*read, strict=True))
    assert len(off) == cells
    assert off.max() < 0.2
    assert not taken.any()
    # Goal of a gray card over many photos: mean 4.5, 95th percentile 8. One photo of few, strong paints is worse: the
    # cells of one photo err together, so that it takes a dozen photos to tell.
    assert apart.mean() < 4.5
    assert np.percentile(apart, 95) < 8


def test_what_went_wrong_is_flagged_and_nothing_else():
    sheet = photographed(PLAN, np.random.default_rng(3), Pose(15, 20, 4), marred={k: v[0] for k, v in MARRED.items()})
    board, _ = read_sheet(open_photo(sheet.jpeg), PLAN)
    told = {"half-painted", "glare", "uneven", "shadow", "unpainted"}
    for cell in board.cells:
        key = cell.cell.row, cell.cell.column
        codes = {flag.code for flag in cell.sample.flags} & told
        if key in MARRED:
            assert MARRED[key][1] in codes, key
        elif key[0] != PLAN.rows[0]:  # White paint on white paper may well look unpainted.
            assert not codes, key
    names = {(p.swatch.paint, p.reading.cell.column) for p in swatches_of(board, "paper")}
    assert (PLAN.rows[2], "1:3") not in names


def test_white_margin_evens_the_light(sound):
    photo = open_photo(sound.jpeg)
    board, _ = read_sheet(photo, PLAN)
    plain, _ = read_board(photo, PLAN, sound.corners, _card_of(photo))
    with_margin, without = (np.mean([e for _, _, e in errors(photo, b, sound)]) for b in (board, plain))
    assert with_margin < without


def test_board_without_markers_is_read_by_its_corners(sound):
    photo = open_photo(sound.jpeg)
    board, neutral = read_board(photo, PLAN, sound.corners, _card_of(photo))
    off, taken, _ = map(np.array, zip(*errors(photo, board, sound), strict=True))
    # A bent sheet isn't the plane that four corners describe.
    assert off.max() < 0.4
    assert not taken.any()
    assert neutral.card.found == "given"


def _card_of(photo):
    from colormatch.sheet.cells import card_region, find_sheet, map_sheet

    return CardChoice(region=card_region(photo, PLAN, map_sheet(find_sheet(photo), PLAN)))


def test_turned_photo_reads_the_same(sound):
    # Both are written anew: what a decoder rounds is then in both.
    rgb = pixels_of(sound.jpeg)
    one, other = (read_sheet(open_photo(jpeg_of(pixels)), PLAN)[0] for pixels in (rgb, np.rot90(rgb, 2)))
    labs = [np.array([cell.sample.lab for cell in board.cells]) for board in (one, other)]
    assert delta_e(*labs).max() < 1


def test_covered_markers_still_leave_the_sheet_readable(sound):
    rgb = pixels_of(sound.jpeg)
    _cover(rgb, sound, PLAN, [0, 4])
    photo = open_photo(jpeg_of(rgb))
    board, _ = read_sheet(photo, PLAN)
    assert max(off for off, _, _ in errors(photo, board, sound)) < 0.4


def test_too_few_markers_are_an_error(sound):
    rgb = pixels_of(sound.jpeg)
    _cover(rgb, sound, PLAN, range(5))
    with pytest.raises(PhotoError, match="Only 3 of the sheet's 8"):
        read_sheet(open_photo(jpeg_of(rgb)), PLAN)


def _cover(rgb, sheet, plan, which):
    """Lay something gray over some of the markers."""
    from colormatch.sheet.cells import find_sheet

    found = find_sheet(open_photo(sheet.jpeg)).markers
    for number in np.array(sorted(found))[list(which)]:
        cv2.fillConvexPoly(rgb, found[number].astype(np.int32), (120, 120, 120))


def test_photo_without_a_sheet_is_an_error():
    gray = np.full((900, 700, 3), 128, np.uint8)
    with pytest.raises(PhotoError, match="No printed swatch sheet"):
        read_sheet(open_photo(jpeg_of(gray)), PLAN)


@pytest.mark.parametrize(
    ("rows", "told"), [(PLAN.rows[:3], "but the layout has 3 and 4"), (("a", "b", "c", "d"), "differ from the layout")]
)
def test_another_sheets_layout_is_refused(sound, rows, told):
    with pytest.raises(BadInput, match=told):
        read_sheet(open_photo(sound.jpeg), Plan("a4", rows, COLUMNS))


@pytest.mark.parametrize("text", ["1:3x0", "often", "x2"])
def test_columns_that_are_no_wash_are_refused(text):
    with pytest.raises(BadInput):
        parse_column(text)


def test_command_prints_reads_and_keeps(sound, tmp_path, capsys):
    pdf, library = tmp_path / "sheet.pdf", tmp_path / "library"
    names = ["--rows", ",".join(PLAN.rows), "--columns", ",".join(COLUMNS)]
    assert main(["sheet", "print", *names, "--out", str(pdf)]) == 0
    assert pdf.read_bytes().startswith(b"%PDF")
    (tmp_path / "photo.jpg").write_bytes(sound.jpeg)
    capsys.readouterr()
    read = ["sheet", "read", str(tmp_path / "photo.jpg"), "--layout", str(pdf.with_suffix(".json"))]
    assert main([*read, "--library", str(library), "--keep", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    stored = Library.open(library).all(Swatch)
    assert [one.id for one in stored] == document["kept"]
    assert len(stored) + len(document["unpainted"]) == len(PLAN.rows) * len(COLUMNS)
    assert {one.record.name for one in Library.open(library).all(Paint)} == {s["paint"] for s in document["swatches"]}
    assert main(read) == 0
    assert PLAN.rows[2] in capsys.readouterr().out


def test_known_paint_keeps_its_name(sound, tmp_path):
    library = Library.open(tmp_path / "library")
    library.add(Paint(PLAN.rows[2].upper()))
    (tmp_path / "photo.jpg").write_bytes(sound.jpeg)
    names = ["--rows", ",".join(PLAN.rows), "--columns", ",".join(COLUMNS)]
    photo = str(tmp_path / "photo.jpg")
    assert main(["sheet", "read", photo, *names, "--keep", "--library", str(tmp_path / "library")]) == 0
    assert PLAN.rows[2].upper() in {stored.record.paint for stored in library.all(Swatch)}
    assert PLAN.rows[2] not in {stored.record.name for stored in library.all(Paint)}


@pytest.mark.parametrize(
    ("arguments", "code", "told"),
    [
        (["read", "none.jpg"], 2, "columns are missing"),
        (["read", "none.jpg", "--layout", "none.json"], 1, "file none.json doesn't exist"),
        (["print", "--rows", "Ochre", "--columns", "often"], 2, "often"),
        (["print", "--rows", "Ochre", "--columns", "full", "--out", "no/such/folder/sheet.pdf"], 1, "failed"),
    ],
)
def test_wrong_use_is_told_in_a_sentence(arguments, code, told, capsys):
    assert main(["sheet", *arguments]) == code
    out, err = capsys.readouterr()
    assert told in err
    assert "Traceback" not in out + err
