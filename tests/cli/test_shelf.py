"""paint, swatch and library: what they print for people and for programs, and how they refuse."""

import json

import pytest

from colormatch.library import Library, SavedRepair
from colormatch.library.export import export_exchange
from colormatch.records import Lab, Paint, Swatch
from tests.library.plain_photos import plain_photo

ADD = [
    *("swatch", "add", "--paint", "umber", "--ratio", "1:3", "--coats", "2"),
    *("--ground", "rail", "--ground-lab", "70,5,20", "--lab", "50,-9,25"),
]


@pytest.fixture
def shelf(run, tmp_path):
    """A library with one paint, and a function that runs a command on it."""

    def call(*arguments):
        return run(*arguments, "--library", tmp_path / "shelf")

    assert call("paint", "add", "Umber", "--price", "9.5").out == "Added the paint Umber.\n"
    return call


def document(done):
    assert done.status == 0, done.err
    return json.loads(done.out)


def test_paints(shelf):
    assert "Umber" in shelf("paint", "list").out
    assert shelf("paint", "edit", "umber", "--name", "Burnt Umber", "--on-hand-ml", "80").status == 0
    (paint,) = document(shelf("paint", "list", "--json"))["paints"]
    assert (paint["name"], paint["price"], paint["on_hand_ml"], paint["swatches"]) == ("Burnt Umber", 9.5, 80, 0)
    removed = document(shelf("paint", "remove", "Burnt Umber", "--json"))
    assert [one["name"] for one in removed["removed"]] == ["Burnt Umber"]
    assert "There is no paint yet" in shelf("paint", "list").out
    assert shelf("library", "undo").out == "Taken back: removed the paint Burnt Umber.\n"
    assert shelf("library", "redo").out == "Done again: removed the paint Burnt Umber.\n"


def test_swatches(shelf, tmp_path):
    (tmp_path / "x.jpg").write_bytes(b"a photo")
    added = document(shelf(*ADD, "--photo", tmp_path / "x.jpg", "--taken", "2025-03-31", "--json"))["added"]
    assert (added["paint"], added["paint_parts"], added["water_parts"], added["a"]) == ("Umber", 1, 3, -9)
    assert (tmp_path / "shelf" / "photos" / (added["photo"] + ".jpg")).read_bytes() == b"a photo"
    assert "1:3" in shelf("swatch", "list").out
    assert document(shelf("swatch", "list", "--paint", "umber", "--json"))["swatches"] == [added]
    changed = document(shelf("swatch", "edit", added["id"], "--ratio", "full", "--lab", "40,9,20", "--json"))["changed"]
    assert (changed["water_parts"], changed["L"], changed["coats"]) == (0, 40, 2)
    assert "Removed swatch 1" in shelf("swatch", "remove", added["id"]).out
    assert document(shelf("swatch", "list", "--json")) == {"swatches": []}


def test_a_swatch_from_an_instrument_on_a_ground_from_one(shelf, tmp_path):
    text = 'CGATS.17\nILLUMINANT "D65"\nBEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n'
    (tmp_path / "x.txt").write_text(text + "rail 70 5 20\nwash 50 9 25\nEND_DATA\n")
    counts = document(shelf("library", "import", tmp_path / "x.txt", "--preview", "--json"))
    assert (counts["grounds"]["new"], counts["flags"]) == (2, [])
    assert document(shelf("ground", "list", "--json"))["grounds"] == []
    assert "Done" in shelf("library", "import", tmp_path / "x.txt").out
    assert document(shelf("library", "import", tmp_path / "x.txt", "--json"))["grounds"]["same"] == 2
    command = ["swatch", "add", "--paint", "Umber", "--ratio", "25%", "--ground", "Rail"]
    done = document(shelf(*command, "--measured", tmp_path / "x.txt", "--sample", "wash", "--json"))
    assert (done["added"]["ground_L"], done["added"]["L"]) == (70, 50)
    done = shelf(*command, "--measured", tmp_path / "x.txt")
    assert (done.status, done.err) == (1, "The file has 2 samples. Name one of: rail, wash.\n")


def test_swatches_are_searched_filtered_and_sorted_by_nearness(shelf):
    shelf("paint", "add", "Ochre")
    shelf(*ADD)
    shelf(*ADD, "--lab", "61,9,25", "--ratio", "full")
    shelf(*ADD, "--paint", "ochre", "--lab", "62,9,25", "--ground", "door", "--notes", "by the window")

    def numbers(*options):
        return [one["id"] for one in document(shelf("swatch", "list", *options, "--json"))["swatches"]]

    assert numbers() == [1, 2, 3]
    assert numbers("--near", "62,9,25") == [3, 2, 1]
    assert numbers("--near", "62,9,25", "--paint", "UMBER") == [2, 1]
    assert numbers("--ground", "RAIL", "--ratio", "1:3") == [1]
    assert numbers("--search", "window") == [3]
    assert numbers("--sort", "name") == [3, 2, 1]
    assert document(shelf("swatch", "list", "--near", "62,9,25", "--json"))["swatches"][0]["delta_e"] == 0
    assert "ΔE00" in shelf("paint", "list", "--near", "62,9,25").out
    paints = document(shelf("paint", "list", "--near", "62,9,25", "--json"))["paints"]
    assert [paint["name"] for paint in paints] == ["Ochre", "Umber"]
    assert shelf("swatch", "list", "--search", "nothing").out == "None of the 3 swatches fits.\n"


def test_the_same_swatch_twice_is_told(shelf):
    assert document(shelf(*ADD, "--json"))["flags"] == []
    again = shelf(*ADD)
    assert "Number 1 is identical" in again.out
    assert [flag["code"] for flag in document(shelf(*ADD, "--json"))["flags"]] == ["same-swatch"]


def test_a_swatch_that_shows_nothing_is_told_when_it_is_added_and_changed(shelf):
    nothing = ["--lab", "70,5,20"]
    assert "has the color of its ground; check that the right spot was read." in shelf(*ADD, *nothing).out
    assert [flag["code"] for flag in document(shelf(*ADD, *nothing, "--json"))["flags"]] == ["no-trace", "same-swatch"]
    assert document(shelf("swatch", "edit", "1", "--ratio", "1:9", "--json"))["flags"] == []  # too thin to tell
    changed = shelf("swatch", "edit", "2", "--ratio", "full")
    assert changed.out.startswith("Changed swatch 2")
    assert "has the color of its ground" in changed.out
    verified = shelf("library", "verify")
    assert verified.status == 0
    assert "The swatch full of Umber on rail has the color of its ground" in verified.out
    assert len(document(shelf("library", "verify", "--json"))["remarks"]) == 1


@pytest.mark.parametrize(
    ("command", "key", "options", "change", "field"),
    [
        ("ground", "grounds", ["--lab", "70,5,20", "--state", "sealed"], ["--uncertainty", "0.5"], "uncertainty"),
        ("chip", "chips", ["--lab", "61,9,25"], ["--lab", "60.5,9,25"], "L"),
        ("card", "cards", ["--kind", "three-step", "--value", "0.89/0.18/0.035"], ["--notes", "bent"], "notes"),
        ("clear", "clear_coats", ["--before", "70,5,20", "--after", "60,8,30"], ["--on", "washed wood"], "on"),
    ],
)
def test_every_kind_is_added_listed_changed_copied_removed_and_brought_back(
    shelf, command, key, options, change, field
):
    def listed():
        return document(shelf(command, "list", "--json"))[key]

    assert f"There is no {key[:-1].replace('_', ' ').replace('chip', 'shop chip')} yet" in shelf(command, "list").out
    added = document(shelf(command, "add", "The One", *options, "--json"))["added"]
    assert listed() == [added]
    assert "The One" in shelf(command, "list").out
    changed = document(shelf(command, "edit", "the one", *change, "--json"))["changed"]
    assert changed != added
    assert str(changed[field]) == change[1].split(",")[0]
    copy = document(shelf(command, "copy", "The One", "--json"))["added"]
    assert copy["id"] != added["id"]
    assert shelf(command, "edit", copy["id"], "--name", "Another").status == 0
    assert [one["name"] for one in listed()] == ["The One", "Another"]
    assert shelf(command, "remove", "the  one", "another").status == 0
    assert listed() == []
    assert shelf("library", "undo").status == 0
    assert len(listed()) == 2


def test_a_photo_of_the_tin(shelf, tmp_path):
    (tmp_path / "tin.jpg").write_bytes(b"a tin")
    changed = document(shelf("paint", "edit", "Umber", "--photo", tmp_path / "tin.jpg", "--json"))["changed"]
    assert (tmp_path / "shelf" / "photos" / (changed["photo"] + ".jpg")).read_bytes() == b"a tin"
    assert document(shelf("paint", "edit", "Umber", "--photo", "none", "--json"))["changed"]["photo"] == ""


def test_clear_coats_of_one_name_are_chosen_by_number(shelf):
    for before in ("70,5,20", "40,5,20"):
        shelf("clear", "add", "Shellac", "--before", before, "--after", "30,8,30")
    assert "2 clear coats have the name shellac. Give the number: 1, 2." in shelf("clear", "remove", "shellac").err
    assert shelf("clear", "remove", "2").status == 0


@pytest.mark.parametrize(
    "command",
    [
        ["paint", "list"],
        ["swatch", "remove", "1"],
        ["ground", "edit", "x", "--notes", "y"],
        ["match", "--target", "62,9,25", "--over", "74,6,20"],
        ["mix", "--paint", "x", "--ratio", "1:3", "--area", "40cm2"],
        ["library", "export", "out.zip"],
        ["library", "backup"],
        ["library", "verify"],
        ["library", "undo"],
    ],
    ids=" ".join,
)
def test_a_mistyped_library_is_not_made(run, tmp_path, monkeypatch, command):
    done = run(*command, "--library", tmp_path / "typo")
    assert (done.status, done.out) == (1, "")
    assert done.err.startswith(f"There is no library in {tmp_path / 'typo'}. Check the name, or make one there")
    assert not (tmp_path / "typo").exists()
    if command[0] not in ("match", "mix"):  # these lend the example's shelf to whoever has none yet
        monkeypatch.setenv("COLORMATCH_LIBRARY", str(tmp_path / "typo"))
        assert run(*command).err.startswith("There is no library in")
        assert not (tmp_path / "typo").exists()


def test_a_library_that_is_made_is_told(run, tmp_path):
    other = ["--library", tmp_path / "other"]
    assert run("paint", "add", "Umber", *other).err == f"Made a new library in {tmp_path / 'other'}.\n"
    assert run("paint", "add", "Ochre", *other).err == ""
    assert "Made a new library" in run("library", "import", "--library", tmp_path / "third").err


@pytest.mark.parametrize(
    ("command", "status", "says"),
    [
        (["paint", "add", "UM BER"], 1, "You already have the paint Umber; UM BER differs only in capitals, spaces"),
        (["ground", "add", "x"], 2, "--lab --measured is required"),
        (["ground", "add", "x", "--lab", "70,5,20", "--uncertainty", "-1"], 2, "no valid uncertainty"),
        (["chip", "edit", "x", "--lab", "70,5,20"], 1, "The library has no shop chip named x."),
        (["card", "add", "x", "--kind", "grey"], 2, "invalid choice: 'grey'"),
        (["card", "add", "x", "--kind", "gray", "--value", "much"], 2, "not a value of a gray card"),
        (["clear", "add", "x", "--before", "70,5,20"], 2, "--after"),
        (["clear", "remove", "3"], 1, "The library has no clear coat named 3."),
        (["swatch", "list", "--near", "red"], 2, "not three numbers"),
        (["swatch", "list", "--paint", "x"], 1, "no paint named x"),
        (["swatch", "copy", "99"], 1, "no swatch number 99"),
        (["paint", "add", "Umber"], 1, "already a paint named Umber. Choose another name"),
        (["paint", "add", " "], 2, "needs a name"),
        (["paint", "add", "x", "--price", "-1"], 2, "price of x is -1"),
        (["paint", "add", "x", "--price", "much"], 2, "'much' is not a valid price"),
        (["paint", "edit", "Sienna", "--price", "1"], 1, "no paint named Sienna"),
        (["paint"], 2, "list|add|edit|copy|remove"),
        ([*ADD[:3], "Sienna", *ADD[4:]], 1, "no paint named Sienna"),
        ([*ADD, "--ratio", "x"], 2, "not a ratio of paint to water"),
        ([*ADD, "--coats", "0"], 2, "0 coats of a swatch of Umber are impossible"),
        ([*ADD, "--coats", "1001"], 2, "whole number from 1 to 1000"),
        ([*ADD, "--lab", "500,0,0"], 2, "not a CIELAB color"),
        ([*ADD, "--photo", "nowhere.jpg"], 1, "The file nowhere.jpg doesn't exist"),
        ([*ADD, "--taken", "yesterday"], 2, "not a date"),
        ([*ADD[:8], "--ground", "unknown", "--lab", "1,1,1"], 1, "ground unknown is not known yet"),
        (["swatch", "edit", "99", "--coats", "1"], 1, "no swatch number 99"),
        (["swatch", "remove", "99"], 1, "no swatch number 99"),
        (["library", "import", "nowhere"], 1, "nothing at nowhere"),
        (["library", "restore", "nowhere"], 1, "no backup at nowhere"),
    ],
)
def test_refusals_are_a_sentence_and_a_remedy(shelf, command, status, says):
    before = document(shelf("paint", "list", "--json"))
    done = shelf(*command)
    assert (done.status, done.out) == (status, "")
    assert says in done.err
    assert "Traceback" not in done.err
    assert document(shelf("paint", "list", "--json")) == before


def test_export_import_undo(shelf, run, tmp_path):
    shelf(*ADD)
    assert "1 paint, 1 swatch" in shelf("library", "export", tmp_path / "out.zip").out
    other = ["--library", tmp_path / "other"]
    Library.open(tmp_path / "other")
    preview = document(run("library", "import", tmp_path / "out.zip", "--preview", "--json", *other))
    assert (preview["paints"]["new"], preview["swatches"]["new"]) == (1, 1)
    assert document(run("paint", "list", "--json", *other))["paints"] == []
    assert "undo" in run("library", "import", tmp_path / "out.zip", *other).out
    assert Library.open(tmp_path / "other").shelf() == Library.open(tmp_path / "shelf").shelf()
    assert run("library", "export", tmp_path / "out.zip", *other).status == 1


def test_only_what_is_ticked_goes_out_and_the_rest_is_told(shelf, tmp_path):
    library = Library.open(tmp_path / "shelf")
    photo = library.photos.add(plain_photo(), "x.jpg")
    library.save_repair(SavedRepair("table", "{}", photos=(photo,)))
    both = document(shelf("library", "export", tmp_path / "all", "--repairs", "--photos", "--json"))
    assert (both["repairs"], both["photos"]) == (1, 1)
    assert (tmp_path / "all" / "photos" / f"{photo}.jpg").is_file()
    told = shelf("library", "export", tmp_path / "shared").out
    assert "Not included: 1 repair" in told
    assert "--repairs" in told
    assert not (tmp_path / "shared" / "repairs").exists()
    assert list((tmp_path / "shared" / "photos").iterdir()) == []


def test_conflicts_are_told_and_decided(shelf, tmp_path):
    shelf(*ADD)
    theirs = Library.open(tmp_path / "theirs")
    swatch = Swatch("Umber", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(44, 9, 25))
    theirs.add_all([Paint("Umber", price=3), swatch], "theirs")
    export_exchange(theirs, tmp_path / "in")
    counts = document(shelf("library", "import", tmp_path / "in", "--json"))
    assert (counts["paints"]["conflict"], counts["swatches"]["conflict"]) == (1, 1)
    assert [(one["what"], one["fields"]) for one in counts["differing"]] == [
        ("paint Umber", ["price"]),
        ("swatch of Umber, 1:3, 2 coats on rail", ["lab", "measured"]),
    ]
    assert "conflict: paint Umber (price)" in shelf("library", "import", tmp_path / "in", "--preview").out
    assert document(shelf("swatch", "list", "--json"))["swatches"][0]["L"] == 50
    shelf("library", "import", tmp_path / "in", "--conflicts", "theirs")
    assert document(shelf("swatch", "list", "--json"))["swatches"][0]["L"] == 44


def test_a_single_sheet_is_imported(shelf, tmp_path):
    (tmp_path / "my paints.csv").write_text("name,maker\nOchre,the shop\n")
    assert document(shelf("library", "import", tmp_path / "my paints.csv", "--json"))["paints"]["new"] == 1
    (tmp_path / "x.csv").write_text("a,b\n1,2\n")
    assert "x.csv is not a sheet of paints" in shelf("library", "import", tmp_path / "x.csv").err


def test_the_starter_is_imported_without_a_name(shelf):
    done = shelf("library", "import")
    assert "simulated" in done.out
    assert len(document(shelf("paint", "list", "--json"))["paints"]) > 5


def test_backup_damage_restore(shelf, tmp_path):
    shelf(*ADD)
    assert "All is well: 2 records and 0 photos" in shelf("library", "verify").out
    saved = document(shelf("library", "backup", "--json"))["backup"]
    assert saved in [one["path"] for one in document(shelf("library", "backup", "--list", "--json"))["backups"]]
    assert shelf("library", "backup", "--out", tmp_path / "all.zip").status == 0
    (tmp_path / "shelf" / "library.sqlite3").write_bytes(b"damaged " * 1000)
    done = shelf("swatch", "list")
    assert done.status == 1
    assert "damaged" in done.err
    assert "colormatch library restore" in done.err
    assert "1 paint, 1 swatch" in shelf("library", "restore").out
    assert "1 paint, 1 swatch" in shelf("library", "restore", tmp_path / "all.zip").out


def test_verify_fails_where_a_photo_is_gone(shelf, tmp_path):
    (tmp_path / "x.jpg").write_bytes(b"a photo")
    shelf(*ADD, "--photo", tmp_path / "x.jpg")
    next((tmp_path / "shelf" / "photos").iterdir()).unlink()
    done = shelf("library", "verify", "--json")
    assert done.status == 1
    assert json.loads(done.out)["sound"] is False
