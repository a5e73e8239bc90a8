"""Exchange folders, zip files and instruments' files made to harm: refused whole, in a sentence, nothing imported."""

import contextlib
import json
import os
import random
import stat
import subprocess
import sys
import zipfile

import pytest

from colormatch.errors import ExchangeError
from colormatch.instrument.measurements import read_measurements
from colormatch.library import Library, SavedRepair, archive, limits
from colormatch.library.exchange import read_exchange
from colormatch.library.export import export_exchange
from colormatch.library.merge import import_exchange
from colormatch.records import Lab, Paint, Swatch
from tests.library.plain_photos import plain_photo

PAINTS = "name,price\nUmber,9\n"
HEAD = "paint,paint_parts,water_parts,coats,ground,ground_L,ground_a,ground_b,L,a,b"
ROW = "Umber,1,3,2,rail,70,5,20,50,9,25"


@pytest.fixture
def library(tmp_path):
    library = Library.open(tmp_path / "library")
    library.add(Paint("Mine"))
    return library


def refuses(library, source, match):
    """The import is refused with that text, and the library is untouched."""
    before = library.database.read_bytes(), sorted(library.folder.rglob("*"))
    with pytest.raises(ExchangeError, match=match) as caught:
        import_exchange(library, source)
    assert (library.database.read_bytes(), sorted(library.folder.rglob("*"))) == before
    assert len(str(caught.value)) < 600
    return caught.value


# --- sheets ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "column", "row"),
    [
        (2, "L", ROW.replace("50,9", "150,9")),
        (2, "a", ROW.replace("50,9", "50,x")),
        (2, "a", ROW.replace("50,9", "50,nan")),
        (2, "a", ROW.replace("50,9", "50,1_0")),
        (2, "b", ROW.replace(",25", ',"2,5"')),
        (2, "b", ROW.replace(",25", ",")),
        (2, "paint_parts", ROW.replace("Umber,1", "Umber,0")),
        (2, "", ROW.replace("Umber,1", "Umber,1e-200")),  # too thin only together with its water
        (2, "water_parts", ROW.replace("1,3", "1,-3")),
        (2, "coats", ROW.replace("3,2", "3,2.5")),
        (2, "coats", ROW.replace("3,2", "3,0")),
        (2, "coats", ROW.replace("3,2", "3," + "9" * 40)),
        (2, "paint", ROW.replace("Umber", "Sienna")),
        (2, "paint", ROW.replace("Umber", "")),
        (2, "ground", ROW.replace("rail", "x" * 300)),
        (2, "ground", ROW.replace("rail", "\x1b[2J")),
        (2, "", ROW + ",1"),
        (2, "", ROW.rpartition(",")[0]),
        (4, "L", f"{ROW.replace('rail', chr(34) + 'pi' + chr(10) + 'ne' + chr(34))}\n{ROW.replace('50,9', '-1,9')}"),
    ],
)
def test_a_bad_row_is_told_with_file_line_and_column(library, tmp_path, line, column, row):
    source = tmp_path / "in"
    source.mkdir()
    (source / "paints.csv").write_text(PAINTS)
    (source / "swatches.csv").write_text(f"{HEAD}\n{row}\n")
    error = refuses(library, source, "swatches.csv, line")
    assert (error.facts["file"], error.facts["line"], error.facts["column"]) == ("swatches.csv", line, column)


@pytest.mark.parametrize(
    ("content", "match"),
    [
        (b"", "empty"),
        (b"\n\n", "empty"),
        (b"maker\nx\n", "column is missing"),
        (b"name;price\nUmber;9\n", "semicolons"),
        (b"name,name\na,b\n", "twice"),
        (b"name,\nUmber,x\n", "without a name"),
        (b"name\nUmber\nUmber\n", "already in line 2"),
        (b"name\n\xff\xfe\n", "line 2: the text is not UTF-8"),
        ("name\nUmber\n".encode("utf-16"), "not UTF-8"),
        (b"name\nUm\0ber\n", "NUL"),
        (b'name\n"Umber"x\n', "unreadable"),
        (b'name\n"Umber\n', "unreadable"),
        (b"name\n" + b"x" * 10_000_000 + b"\n", "unreadable"),
        (b"name\n" + b"x" * 10_000 + b"\n", "10,000 characters"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "UTF-8"),
        (b"name,state\n" + b",\n" * 10, ""),
        (b"name," + b",".join(b"c%d" % n for n in range(9_000)) + b"\n", ""),
        (b"name," + b",".join(b"c%d" % n for n in range(20_000)) + b"\n", "more than 10,000 columns"),
    ],
)
def test_sheets_that_are_none(library, tmp_path, content, match):
    source = tmp_path / "in"
    source.mkdir()
    (source / "paints.csv").write_bytes(content)
    if match:
        refuses(library, source, match)
    else:  # odd but harmless: read without a row
        assert read_exchange(source).shelf.paints == ()


def test_random_bytes_are_refused_or_read_but_never_escape(library, tmp_path):
    rng = random.Random(5)
    source = tmp_path / "in"
    source.mkdir()
    pieces = [b"name", b",", b"\n", b"\r", b'"', b"Umber", b"\xff", b"\0", b"=", b"'", b"9", b" ", b"\xef\xbb\xbf"]
    for _ in range(500):
        (source / "paints.csv").write_bytes(b"".join(rng.choices(pieces, k=rng.randint(0, 40))))
        with contextlib.suppress(ExchangeError):
            read_exchange(source)


# --- folders ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def exported(library, tmp_path):
    photo = library.photos.add(plain_photo(), "x.jpg")
    library.add(Swatch("Mine", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25), photo=photo))
    export_exchange(library, tmp_path / "out", repairs=True, photos=True)
    return tmp_path / "out"


def test_a_photo_that_was_changed(exported, tmp_path):
    other = Library.open(tmp_path / "other")
    (photo,) = (exported / "photos").iterdir()
    photo.write_bytes(b"another")
    refuses(other, exported, "doesn't match manifest.json")
    (exported / "manifest.json").unlink()
    refuses(other, exported, "damaged or was changed")


@pytest.mark.parametrize(
    ("document", "match"),
    [
        ("{", "unreadable"),
        ("[]", "unreadable"),
        ("[" * 100_000, "unreadable"),
        ('{"version": 99, "files": {}}', "later version"),
        ('{"version": "1", "files": {}}', "format version"),
        ('{"version": 1, "files": {"paints.csv": "0", "gone.jpg": "0"}}', "gone.jpg is missing"),
        ('{"version": 1, "files": {"../library/library.sqlite3": "0"}}', "leads out"),
        ('{"version": 1, "files": {"/etc/hostname": "0"}}', "leads out"),
        ('{"version": 1, "files": {"C:\\\\x": "0"}}', "leads out"),
    ],
)
def test_manifests_made_to_harm(exported, tmp_path, document, match):
    (exported / "manifest.json").write_text(document)
    refuses(Library.open(tmp_path / "other"), exported, match)


@pytest.mark.skipif(os.name != "posix", reason="links need rights on Windows")
def test_links_are_not_followed(exported, tmp_path):
    other = Library.open(tmp_path / "other")
    (tmp_path / "secret").write_text("name\nsecret\n")
    (exported / "paints.csv").unlink()
    (exported / "paints.csv").symlink_to(tmp_path / "secret")
    refuses(other, exported, "link")


def test_folders_with_too_many_files_or_none_of_ours(library, tmp_path, monkeypatch):
    (tmp_path / "in").mkdir()
    refuses(library, tmp_path / "in", "contains none of")
    refuses(library, tmp_path / "nowhere", "nothing at")
    for n in range(5):
        (tmp_path / "in" / f"{n}.jpg").touch()
    monkeypatch.setattr(limits, "MAX_FILES", 3)
    refuses(library, tmp_path / "in", "more than 3 files")


# --- repairs, grounds, chips and cards -------------------------------------------------------------------------------

REPAIR = {"name": "table", "document": "{}", "version": 1, "photos": [], "created": "", "changed": ""}


def repair(**changes):
    return json.dumps({**REPAIR, **changes})


@pytest.mark.parametrize(
    ("content", "match"),
    [
        ("", "not a repair written by this program"),
        ("[]", "not a repair written by this program"),
        ("null", "not a repair written by this program"),
        ("[" * 100_000, "not a repair written by this program"),
        ('{"name": ' + '{"a": ' * 100_000, "not a repair written by this program"),
        ('{"name": "a\0b", "document": "{}"}', "not a repair written by this program"),
        ("{}", "not a repair written by this program"),
        ('{"name": "x"}', "not a repair written by this program"),
        (repair(name=["x"]), "not a repair written by this program"),
        (repair(document={}), "not a repair written by this program"),
        (repair(photos="x"), "photos is unreadable"),
        (repair(photos=7), "not a repair written by this program"),
        (repair(photos=["../library.sqlite3"]), "photos is unreadable"),
        (repair(photos=[["f" * 64]]), "photos is unreadable"),
        (repair(photos=["f" * 64] * 2000), "2,000 photos"),
        (repair(version="1"), "not a repair written by this program"),
        (repair(version=True), "not a repair written by this program"),
        (repair(version=2**40), "version of its document"),
        (repair(created="yesterday"), "not a date and time"),
        (repair(created="0001-01-01"), "not a date and time"),
        (repair(changed="9999-12-31T23:59:59"), "not a date and time"),
        (repair(changed=5), "not a repair written by this program"),
        (repair(name="a\0b"), "isn't text"),
        (repair(name="\x1b[2J"), "isn't text"),
        (repair(name="x" * 30_000), "30,000 characters"),
        (repair(document="{not json"), "not a JSON document"),
        (repair(document="[" * 100_000), "not a JSON document"),
        (repair(document="[" * 60 + "]" * 60), "50 deep"),
        (repair(document='{"note": "a\\u0000b"}'), "isn't text"),
        (repair(document='{"a\\u0000b": 1}'), "isn't text"),
        (repair(document='"\\ud800"'), "isn't text"),
        (repair(document="9" * 10_000), "not a JSON document"),
        (repair(document='"' + "x" * 9 * 2**20 + '"'), "characters"),
        (b"\xff\xfe\x00", "not a repair written by this program"),
    ],
)
def test_repairs_made_to_harm(library, tmp_path, content, match):
    source = tmp_path / "in"
    (source / "repairs").mkdir(parents=True)
    (source / "paints.csv").write_text(PAINTS)
    (source / "repairs" / "00001.json").write_bytes(content if isinstance(content, bytes) else content.encode())
    (source / "repairs" / "00002.json").write_text(repair(name="sound"))
    flags = [flag for flag in import_exchange(library, source).flags if flag.code == "repair-unreadable"]
    assert len(flags) == 1
    assert flags[0].text.startswith("repairs/00001.json")
    assert match in flags[0].text
    assert [one.record.name for one in library.repairs()] == ["sound"]
    assert [one.record.name for one in library.all(Paint)] == ["Mine", "Umber"]


def test_a_repair_file_that_is_too_large(library, tmp_path, monkeypatch):
    monkeypatch.setattr("colormatch.library.exchange.MAX_REPAIR_BYTES", 100)
    source = zipped(tmp_path / "in.zip", [("paints.csv", PAINTS), ("repairs/1.json", repair(name="x" * 200))])
    refuses(library, source, "larger than")


def test_random_repairs_are_refused_or_read_but_never_escape(library, tmp_path):
    rng = random.Random(8)
    source = tmp_path / "in"
    (source / "repairs").mkdir(parents=True)
    (source / "paints.csv").write_text(PAINTS)
    whole = repair(document='{"step": [1, 2.5, "x"]}', created="2025-03-31T12:00:00+00:00").encode()
    for _ in range(500):
        spoiled = bytearray(whole)
        for _ in range(rng.randint(1, 3)):
            spoiled[rng.randrange(len(whole))] = rng.randrange(256)
        (source / "repairs" / "1.json").write_bytes(spoiled)
        with contextlib.suppress(ExchangeError):
            read_exchange(source)


def test_a_repair_that_was_changed_after_the_export_is_refused(library, tmp_path):
    library.save_repair(SavedRepair("table", '{"step": 1}'))
    export_exchange(library, tmp_path / "out", repairs=True, photos=True)
    path = tmp_path / "out" / "repairs" / "00001.json"
    path.write_text(path.read_text().replace("step", "STEP"))
    refuses(Library.open(tmp_path / "other"), tmp_path / "out", "doesn't match manifest.json")


@pytest.mark.parametrize("name", ["repairs/../../x.json", "repairs\\x.json", "repairs//x\x07.json", "/repairs/x.json"])
def test_repairs_whose_names_lead_out(library, tmp_path, name):
    refuses(library, zipped(tmp_path / "in.zip", [("paints.csv", PAINTS), (name, repair())]), "leads out")


@pytest.mark.skipif(os.name != "posix", reason="links need rights on Windows")
def test_repairs_behind_links_are_not_followed(library, tmp_path):
    source = tmp_path / "in"
    (source / "repairs").mkdir(parents=True)
    (source / "paints.csv").write_text(PAINTS)
    (tmp_path / "secret.json").write_text(repair())
    (source / "repairs" / "1.json").symlink_to(tmp_path / "secret.json")
    refuses(library, source, "link")
    other = tmp_path / "other"
    other.mkdir()
    (other / "paints.csv").write_text(PAINTS)
    (other / "repairs").symlink_to(source / "repairs")
    assert read_exchange(other).repairs == ()


@pytest.mark.parametrize(
    ("sheet", "text", "column"),
    [
        ("grounds.csv", "name,L,a,b\ndoor,500,0,0\n", "L"),
        ("grounds.csv", "name,L,a,b,state\ndoor,50,0,0,wet\n", "state"),
        ("grounds.csv", "name,L,a,b\ndoor,50,0,0\ndoor,50,0,0\n", "name"),
        ("chips.csv", "name,L,a,b,uncertainty\nred,50,0,0,-1\n", "uncertainty"),
        ("chips.csv", "name,L,a\nred,50,0\n", "b"),
        ("cards.csv", "name,kind\nbig,none\n", "kind"),
        ("cards.csv", "name,kind\n,gray\n", "name"),
        ("cards.csv", "name,kind\nbig,\n", "kind"),
        ("paints.csv", "name,photo\nUmber,../x\n", "photo"),
        ("swatches.csv", f"{HEAD},region\n{ROW},0.5\n", "region"),
        ("swatches.csv", f'{HEAD},region\n{ROW},"0.5,7"\n', "region"),
        ("swatches.csv", f'{HEAD},region\n{ROW},"{"0.5,0.5 " * 300}"\n', "region"),
    ],
)
def test_bad_rows_of_the_further_sheets_and_columns_are_told(library, tmp_path, sheet, text, column):
    source = tmp_path / "in"
    source.mkdir()
    (source / "paints.csv").write_text(PAINTS)
    (source / sheet).write_text(text)
    error = refuses(library, source, sheet)
    assert (error.facts["file"], error.facts["column"]) == (sheet, column)


# --- zip files -------------------------------------------------------------------------------------------------------


def zipped(path, entries, compression=zipfile.ZIP_DEFLATED):
    with zipfile.ZipFile(path, "w", compression) as made:
        for name, content in entries:
            made.writestr(name, content)
    return path


def _link():
    entry = zipfile.ZipInfo("photos/link")
    entry.external_attr = (stat.S_IFLNK | 0o777) << 16
    return entry


@pytest.mark.parametrize(
    ("name", "match"),
    [
        ("../escape.csv", "leads out"),
        ("photos/../../escape.csv", "leads out"),
        ("/etc/escape.csv", "leads out"),
        ("C:/escape.csv", "leads out"),
        ("photos\\escape.csv", "leads out"),
        ("photos/\x07.csv", "leads out"),
        ("x" * 60_000, "60,000 characters"),
        (_link(), "link or a device"),
    ],
    ids=["up", "up inside", "root", "drive", "backslash", "control", "long", "link"],
)
def test_names_that_lead_out(library, tmp_path, name, match):
    refuses(library, zipped(tmp_path / "in.zip", [("paints.csv", PAINTS), (name, b"x")]), match)
    assert not list(tmp_path.rglob("escape*"))


def test_a_nul_byte_in_a_name(library, tmp_path):
    path = zipped(tmp_path / "in.zip", [("paints.csv", PAINTS), ("aXb", b"x")])
    path.write_bytes(path.read_bytes().replace(b"aXb", b"a\0b"))
    refuses(library, path, "leads out")


def test_bombs(library, tmp_path, monkeypatch):
    monkeypatch.setattr(limits, "RATIO_FROM_BYTES", 2**20)
    flat = zipped(tmp_path / "flat.zip", [("paints.csv", PAINTS), ("photos/big", b"\0" * 30_000_000)])
    assert flat.stat().st_size < 100_000
    refuses(library, flat, "would unpack to 30.0 MB, from 29.*kB")
    # The same with a size stated smaller than it is: the reader stops, and the checksum tells.
    lying = tmp_path / "lying.zip"
    lying.write_bytes(flat.read_bytes().replace((30_000_000).to_bytes(4, "little"), (1000).to_bytes(4, "little")))
    with pytest.raises(ExchangeError), archive.opened(lying, frozenset({"paints.csv"})) as source:
        archive.read(source, "photos/big")
    many = [(f"photos/{n}", random.Random(n).randbytes(300)) for n in range(5)]
    path = zipped(tmp_path / "many.zip", [("paints.csv", PAINTS), *many])
    monkeypatch.setattr(limits, "MAX_PHOTOS_BYTES", 1000)
    refuses(library, path, "would unpack to")
    monkeypatch.setattr(limits, "MAX_TEXTS_BYTES", 10)
    refuses(library, zipped(tmp_path / "texts.zip", [("paints.csv", PAINTS)]), "sheets and repairs in texts.zip")
    monkeypatch.setattr(limits, "MAX_FILES", 3)
    refuses(library, path, "more than 3 files")
    monkeypatch.setattr(zipfile, "ZipInfo", None)  # told before the list is taken apart
    monkeypatch.setattr(archive, "_CHUNK", 10)
    monkeypatch.setattr(archive, "_DIRECTORY_ENTRY", 0)
    monkeypatch.setattr(limits, "MAX_NAME", 10)
    refuses(library, path, "more than 3 files")


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_other_zip_files_that_are_not_sound(library, tmp_path):
    path = tmp_path / "in.zip"
    refuses(library, zipped(path, [("paints.csv", PAINTS), ("paints.csv", PAINTS)]), "twice")
    refuses(library, zipped(path, [("paints.csv", PAINTS)], zipfile.ZIP_BZIP2), "unusual compression")
    whole = zipped(path, [("paints.csv", PAINTS)]).read_bytes()
    locked = bytearray(whole)
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        locked[locked.index(mark) + place] |= 1
    path.write_bytes(locked)
    refuses(library, path, "password")
    path.write_bytes(whole[:-20])
    refuses(library, path, "neither a folder nor a whole zip")
    path.write_bytes(b"no zip")
    refuses(library, path, "neither a folder nor a whole zip")


def test_a_zip_with_any_byte_changed_is_refused_or_read_but_never_escapes(exported, tmp_path):
    names = ("paints.csv", "swatches.csv", "manifest.json")
    whole = zipped(tmp_path / "in.zip", [(name, (exported / name).read_bytes()) for name in names]).read_bytes()
    rng = random.Random(3)
    for _ in range(400):
        spoiled = bytearray(whole)
        spoiled[rng.randrange(len(whole))] = rng.randrange(256)
        (tmp_path / "in.zip").write_bytes(spoiled)
        with contextlib.suppress(ExchangeError):
            read_exchange(tmp_path / "in.zip")


# --- instruments' files ----------------------------------------------------------------------------------------------

ENTITIES = """<?xml version="1.0"?>
<!DOCTYPE lolz [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>
<CxF xmlns="http://colorexchangeformat.com/CxF3-core">&b;</CxF>"""
OUTSIDE = """<?xml version="1.0"?>
<!DOCTYPE x [<!ENTITY secret SYSTEM "file:///etc/hostname">]><x>&secret;</x>"""
CXF = """<?xml version="1.0"?>
<CxF xmlns="http://colorexchangeformat.com/CxF3-core"><Resources><ObjectCollection>
<Object Name="one" Id="1"><ColorValues>
%s
</ColorValues></Object></ObjectCollection></Resources></CxF>"""
LAB = '<ColorCIELab ColorSpecification="c"><L>%s</L><A>1</A><B>2</B></ColorCIELab>'
CGATS = """CGATS.17
NUMBER_OF_FIELDS 4
BEGIN_DATA_FORMAT
SAMPLE_ID LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 1
BEGIN_DATA
%s
END_DATA
"""


@pytest.mark.parametrize(
    ("name", "content", "line", "match"),
    [
        ("x.cxf", ENTITIES, 2, "document type"),
        ("x.cxf", OUTSIDE, 2, "document type"),
        ("x.cxf", "<CxF>", 1, "not valid XML"),
        ("x.cxf", "<other/>", 1, "not CxF3"),
        ("x.cxf", CXF % "", 1, "no sample"),
        ("x.cxf", CXF % (LAB % "x"), 4, "L contains 'x'"),
        ("x.cxf", CXF % (LAB % "nan"), 3, "not a number"),
        ("x.cxf", CXF % (LAB % "300"), 3, "an impossible color"),
        ("x.cxf", CXF % "<ColorCIELab><L>1</L></ColorCIELab>", 3, "lacks A"),
        ("x.cxf", CXF % "<ReflectanceSpectrum>0.1 0.2</ReflectanceSpectrum>", 4, "first wavelength"),
        ("x.cxf", CXF % '<ReflectanceSpectrum StartWL="400">0.1</ReflectanceSpectrum>', 4, "the step"),
        ("x.cxf", "<a>" * 100_000, 1, "not valid XML|nested too deep"),
        ("x.txt", CGATS % "A1 50 1", 8, "3 values for 4 fields"),
        ("x.txt", CGATS % "A1 50 1 x", 8, "LAB_B is 'x'"),
        ("x.txt", CGATS % "A1 50 1 inf", 8, "not a number"),
        ("x.txt", CGATS % "A1 50 1 2\nA2 50 1 2", 10, "states 1 samples but contains 2"),
        ("x.txt", (CGATS % "A1 50 1 2").replace("END_DATA\n", ""), 9, "middle of a table"),
        ("x.txt", CGATS.replace("LAB_", "RGB_") % "A1 50 1 2", 1, "no sample"),
        ("x.txt", "hello", 1, "not CGATS text"),
        ("x.txt", "a\nb\0", 2, "NUL"),
        ("x.txt", "", 1, "not CGATS text"),
    ],
)
def test_instruments_files_made_to_harm(tmp_path, name, content, line, match):
    (tmp_path / name).write_text(content)
    with pytest.raises(ExchangeError, match=match) as caught:
        read_measurements(tmp_path / name)
    assert (caught.value.facts["file"], caught.value.facts["line"]) == (name, line)


@pytest.mark.skipif(sys.platform != "linux", reason="the limit on memory is Linux's")
def test_a_zip_that_unpacks_to_a_gigabyte_is_refused_within_little_memory(tmp_path):
    """In a process of its own that may take 256 MB beyond what it holds once everything is imported."""
    bomb = tmp_path / "in.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("paints.csv", PAINTS)
        with made.open("photos/0.jpg", "w") as out:
            for _ in range(64):
                out.write(bytes(2**24))
    code = f"""
import resource
from pathlib import Path
from colormatch.errors import ExchangeError
from colormatch.library import Library
from colormatch.library.merge import import_exchange
library = Library.open(Path({str(tmp_path / "library")!r}))
held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (held + 2**28, held + 2**28))
try:
    import_exchange(library, Path({str(bomb)!r}))
except ExchangeError as error:
    print(error)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip().endswith(".")
