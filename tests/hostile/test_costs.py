"""Files that are small, or never end, and would cost hours or all the memory: refused in a sentence beforehand."""

import os
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, JpegImagePlugin

from colormatch.errors import BadInput, ColorMatchError, ExchangeError, PhotoTooLarge, PhotoUnreadable
from colormatch.files import content_of
from colormatch.image.file import bytes_of
from colormatch.image.photo import open_photo
from colormatch.instrument.measurements import read_measurements
from colormatch.library import Library
from colormatch.library.csv_rows import read_rows
from colormatch.library.limits import MAX_COLUMNS
from colormatch.library.merge import import_exchange
from colormatch.library.rescue import restore
from colormatch.records import Paint
from colormatch.reference.chart_values import read_chart_file
from tests.hostile import bombs

LINUX = pytest.mark.skipif(sys.platform != "linux", reason="devices and /proc are Linux's")


@pytest.mark.parametrize(
    ("content", "parts"),
    [
        (lambda: bombs.jpeg_of_scans(640, 480, 2000), "200 scans"),
        (lambda: bombs.jpeg_of_scans(12_000, 9900, 30), "20 scans of 119 megapixels"),
        (lambda: bombs.jpeg_of_segments(200 * [(0xE1, b"Exif\0\0" + bytes(60_000))]), "64 EXIF segments"),
        (lambda: bombs.jpeg_of_segments(20_000 * [(0xE5, b"")]), "10,000 segments"),
        (lambda: bombs.jpeg_of_segments(1100 * [(0xFE, bytes(65_000))]), "bytes of descriptions"),
        (lambda: bombs.png_of_chunks(50_000), "chunks"),
        (lambda: bombs.tiff_of_directories(1100), "1,000 pictures"),
    ],
    ids=["scans", "large scans", "EXIF", "segments", "comments", "chunks", "directories"],
)
def test_more_parts_than_any_camera_writes(content, parts):
    with pytest.raises(PhotoTooLarge, match=parts):
        open_photo(content())


def test_what_cameras_and_editors_write_is_read():
    assert open_photo(bombs.jpeg(8000, 6000, progressive=True)).facts.width == 8000
    exif = Image.Exif()
    exif[0x0110] = "Model"
    exif[0x0112] = 6
    in_parts = exif.tobytes() + bytes(300_000)
    segments = [(0xE1, b"Exif\0\0" + in_parts[at : at + 60_000].removeprefix(b"Exif\0\0"))
                for at in range(0, len(in_parts), 60_000)]  # fmt: skip
    assert open_photo(bombs.jpeg_of_segments(segments)).facts.camera == "Model"
    assert open_photo(bombs.jpeg_of_segments(300 * [(0xE1, b"http://ns.adobe.com/xmp/extension/\0" + bytes(60_000))]))
    assert open_photo(bombs.png_of_chunks(5000)).facts.width == 8
    several = open_photo(bombs.tiff_of_directories(300))
    assert [flag.value for flag in several.facts.flags if flag.code == "several-pictures"] == [301]


def test_a_deep_picture_is_refused_before_it_is_unpacked():
    with pytest.raises(PhotoTooLarge, match="960 MB"):
        open_photo(bombs.png_of_zeros(12_000, 10_000, bits=16, color=6, channels=4))


@LINUX
def test_a_see_through_picture_takes_little_more_than_its_pixels():
    # A child process, so that only this is measured. 12 megapixels of 8 bytes; the decoder holds them twice.
    code = (
        "from tests.hostile import bombs; from colormatch.image.photo import open_photo\n"
        "def peak(): return int(open('/proc/self/status').read().split('VmHWM:')[1].split()[0])\n"
        "open_photo(bombs.png_of_zeros(64, 48, bits=16, color=6, channels=4)); before = peak()\n"
        "photo = open_photo(bombs.png_of_zeros(4000, 3000, bits=16, color=6, channels=4))\n"
        "assert [flag.code for flag in photo.facts.flags] == ['see-through']\n"
        "print(peak() - before)"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert int(out.stdout) * 1024 < 3 * 12_000_000 * 8


@pytest.mark.parametrize(("kind", "most"), [(np.uint8, 255), (np.uint16, 65535)])
def test_what_is_laid_on_white_is_exact(kind, most):
    from colormatch.image.opaque import opaque_array

    values = np.random.default_rng(5).integers(0, most + 1, (700, 5, 4)).astype(kind)
    values[:300, :, 3] = most
    color, alpha = values[..., :3].astype(object), values[..., 3:].astype(object)  # whole numbers of any size
    mixed = most - (most - color) * alpha // most
    got, flags = opaque_array(values.copy())
    assert np.array_equal(got, mixed.astype(kind))
    assert 0.55 < flags[0].value < 0.58


def test_one_photo_does_not_wait_for_another(monkeypatch):
    begun, done = threading.Event(), threading.Event()
    load = JpegImagePlugin.JpegImageFile.load

    def slow(picture):
        begun.set()
        assert done.wait(60)
        return load(picture)

    monkeypatch.setattr(JpegImagePlugin.JpegImageFile, "load", slow)
    first = threading.Thread(target=open_photo, args=(bombs.jpeg(64, 48),), daemon=True)
    first.start()
    assert begun.wait(60)
    second = threading.Thread(target=open_photo, args=(bombs.png_of_zeros(8, 8, 8, 2, 3),), daemon=True)
    second.start()
    second.join(60)
    waiting = second.is_alive()
    done.set()
    first.join(60)
    assert not waiting


# --- files that never end --------------------------------------------------------------------------------------------


@LINUX
@pytest.mark.parametrize(
    "read",
    [
        bytes_of,
        open_photo,
        read_measurements,
        read_chart_file,
        lambda path: import_exchange(Library.open(path.parent / "library"), path),
        lambda path: restore(path.parent / "library", path),
    ],
    ids=["bytes", "photo", "measurements", "chart", "import", "restore"],
)
@pytest.mark.parametrize("name", ["zero", "pipe.csv", "pipe.cxf", "pipe.zip"])
def test_only_regular_files_are_read(read, name, tmp_path):
    path = tmp_path / name
    if name == "zero":
        path.symlink_to("/dev/zero")
    else:
        os.mkfifo(path)
    with pytest.raises(ColorMatchError, match=r"a device or a pipe, not a file|There is no backup at"):
        read(path)


def test_no_more_is_read_than_allowed(tmp_path):
    path = tmp_path / "a.txt"
    path.write_bytes(bytes(11))
    assert content_of(path, 11, unreadable=BadInput) == bytes(11)
    with pytest.raises(ExchangeError, match="larger than"):
        content_of(path, 10, unreadable=BadInput, too_large=ExchangeError)
    with pytest.raises(BadInput, match="larger than"):
        content_of(path, 10, unreadable=BadInput)


@LINUX
def test_a_file_that_states_no_size_ends_at_the_limit():
    with pytest.raises(BadInput, match="larger than"):
        content_of(Path("/proc/self/maps"), 100, unreadable=BadInput)


def test_an_over_long_path_is_told(tmp_path):
    with pytest.raises(PhotoUnreadable, match="name too long"):
        open_photo(tmp_path / ("x" * 5000))


# --- sheets ----------------------------------------------------------------------------------------------------------


def test_a_sheet_of_too_many_columns():
    head = ",".join(["name", *(f"column {number}" for number in range(40_000))])
    records, problems = read_rows(Paint, "paints.csv", f"{head}\n".encode())
    assert (records, [problem.what for problem in problems]) == ([], [f"it has more than {MAX_COLUMNS:,} columns"])


def test_a_sheet_of_many_columns_is_read():
    names = [f"column {number}" for number in range(MAX_COLUMNS - 1)]
    text = f"{','.join(['name', *names])}\n{','.join(['Umber', *names])}\n"
    records, problems = read_rows(Paint, "paints.csv", text.encode())
    assert (len(records[0].record.extra), problems) == (MAX_COLUMNS - 1, [])


def test_a_sheet_of_too_many_cells(monkeypatch):
    monkeypatch.setattr("colormatch.library.limits.MAX_CELLS", 10)
    text = "name,a,b\n" + "".join(f"paint {number},1,2\n" for number in range(6))
    _, problems = read_rows(Paint, "paints.csv", text.encode())
    assert [(problem.line, problem.what) for problem in problems] == [(7, "the sheet has more than 10 cells in "
                                                                          "extra columns")]  # fmt: skip
