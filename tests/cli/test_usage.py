"""Exit statuses of every command: 2 for wrong usage, 1 for what usage can't tell, one line on standard error."""

import unicodedata

import pytest

from colormatch.cli.main import COMMANDS
from colormatch.match.candidates import MOST_COATS_OF_ONE
from colormatch.wash.ratio import format_ratio
from tests.cli.conftest import Done

#: Each command with its actions; those with True are whole without further arguments.
ACTIONS: dict[tuple[str, ...], bool] = {
    ("app",): True,
    ("demo",): True,
    ("read",): False,
    ("match",): False,
    ("check",): False,
    ("strips",): False,
    ("mix",): False,
    **{(kind,): False for kind in ("paint", "swatch", "ground", "chip", "clear", "card", "sheet", "library")},
    **{(kind, "list"): True for kind in ("paint", "swatch", "ground", "chip", "clear", "card")},
    **{
        (kind, action): False
        for kind in ("paint", "swatch", "ground", "chip", "clear", "card")
        for action in ("add", "edit", "copy", "remove")
    },
    ("camera",): False,
    ("camera", "learn"): False,
    ("camera", "list"): True,
    ("camera", "forget"): False,
    ("sheet", "print"): False,
    ("sheet", "read"): False,
    ("library", "export"): False,
    ("library", "restore"): True,
    **{("library", action): True for action in ("import", "backup", "verify", "undo", "redo")},
}
MATCH = ("match", "--target", "62,9,25", "--over", "74,6,20")
MIX = ("mix", "--paint", "Umber", "--ratio", "1:3", "--area", "40cm2")
CHECK = ("check", "wood.jpg", "--sound", "0,0,9,9", "--repair", "20,0,9,9")
SWATCH = (
    *("swatch", "add", "--paint", "Umber", "--ratio", "1:3", "--ground", "rail"),
    *("--ground-lab", "70,5,20", "--lab", "50,9,25"),
)
#: What can't be right, whatever files and library hold.
WRONG = [
    ("app", "--port", "0"),
    ("app", "--port", "many"),
    ("read", "wood.jpg", "--patch", "1,2,3,4"),
    ("read", "wood.jpg", "--patch", "top=0,0,9,0"),
    ("read", "wood.jpg", "--patch", "top=-1,0,9,9"),
    ("read", "wood.jpg", "--card", "somewhere"),
    ("read", "wood.jpg", "--card-kind", "pink"),
    ("match", "wood.jpg"),
    ("match", "--target", "62,9,25"),
    (*MATCH, "wood.jpg"),
    (*MATCH, "--target", "red"),
    (*MATCH, "--coats", "0"),
    (*MATCH, "--coats", str(MOST_COATS_OF_ONE + 1)),
    (*MATCH, "--layers", "3"),
    (*MATCH, "--top", "0"),
    (*MATCH, "--seed", "-1"),
    (*MATCH, "--shift", "nicer=2"),
    (*MATCH, "--smallest", "a pinch"),
    (*MATCH, "--smallest", "2ml", "--batch", "1ml"),
    (*MATCH, "--then", "Umber"),
    (*MATCH, "--then", "Umber,1:x,1"),
    (*MATCH, "--then", f"Umber,1:3,{MOST_COATS_OF_ONE + 1}"),
    (*MATCH, "--target-uncertainty", "-1"),
    (*MATCH, "--over-uncertainty", "much"),
    (*MATCH, "--grain-kept", "2"),
    ("match", "wood.jpg", "--sound", "0,0,9,9", "--damage", "20,0,9,9", "--over-uncertainty", "1"),
    (*MATCH, "--each"),
    (*CHECK, "--second-sound", "0,0,9,9"),
    (*CHECK, "--second", "lamp.jpg"),
    ("strips", "wood.jpg", "--sound", "0,0,9,9", "--strip", "20,0,9,9"),
    (*MIX, "--ratio", "1:x"),
    (*MIX, "--coats", str(MOST_COATS_OF_ONE + 1)),
    (*MIX, "--area", "a hand"),
    (*MIX, "--dries", "soon"),
    ("paint", "add", " "),
    ("paint", "add", "Ochre", "--price", "-1"),
    ("paint", "add", "Ochre", "--price", "nan"),
    (*SWATCH, "--ratio", "0:3"),
    (*SWATCH, "--uncertainty", "-1"),
    (*SWATCH, "--taken", "2025-13-01"),
    (*SWATCH, "--state", "damp"),
    ("swatch", "list", "--ratio", "x"),
    ("ground", "add", "rail", "--lab", "500,0,0"),
    ("chip", "add", "offcut", "--lab", "70,8,24", "--uncertainty", "inf"),
    ("clear", "add", "Shellac", "--before", "70,5,20", "--after", "dark"),
    ("card", "add", "big", "--kind", "pink"),
    ("card", "add", "big", "--kind", "gray", "--value", "18"),
    ("sheet", "print", "--rows", "a,a", "--columns", "full"),
    ("sheet", "print", "--rows", "a", "--columns", "1:x"),
    ("sheet", "read", "sheet.jpg"),
    ("library", "import", "--conflicts", "none"),
    ("nonsense",),
]
#: What is sound by itself, and fails for what is there or is not.
ABSENT = [
    ("read", "wood.jpg", "--patch", "top=0,0,9,9"),
    ("match", "wood.jpg", "--sound", "0,0,9,9", "--damage", "20,0,9,9"),
    (*MATCH, "--paint", "Plum"),
    CHECK,
    (*MIX, "--paint", "Plum"),
    ("paint", "add", "Umber"),
    ("paint", "edit", "Plum", "--notes", "x"),
    ("swatch", "copy", "99"),
    ("clear", "remove", "Shellac"),
    ("paint", "remove", "²"),
    ("library", "import", "nowhere"),
    ("library", "restore", "nowhere"),
]


@pytest.fixture
def call(run):
    """Runs a command on a library of one paint."""
    assert run("paint", "add", "Umber").status == 0
    return run


def refused(done: Done, status: int) -> None:
    assert (done.status, done.out) == (status, "")
    assert len(done.err.strip().splitlines()) == 1, done.err
    assert done.err.count(".") >= 2  # what happened, what to do
    assert "Traceback" not in done.err
    assert "had an internal error" not in done.err


def test_the_table_holds_every_command() -> None:
    assert {command for command, *_ in ACTIONS} == set(COMMANDS)


@pytest.mark.parametrize("action", [action for action, whole in ACTIONS.items() if not whole], ids=" ".join)
def test_without_what_it_needs(run, action: tuple[str, ...]) -> None:
    refused(run(*action), 2)


@pytest.mark.parametrize("action", ACTIONS, ids=" ".join)
def test_an_unknown_option(run, action: tuple[str, ...]) -> None:
    refused(run(*action, "--nonsense"), 2)


@pytest.mark.parametrize("arguments", WRONG, ids=" ".join)
def test_a_value_that_can_t_be(call, arguments: tuple[str, ...]) -> None:
    refused(call(*arguments), 2)


@pytest.mark.parametrize("arguments", ABSENT, ids=" ".join)
def test_what_is_not_there(call, arguments: tuple[str, ...]) -> None:
    refused(call(*arguments), 1)


def test_as_many_coats_as_the_library_plans(call) -> None:
    assert call(*MIX, "--coats", str(MOST_COATS_OF_ONE)).status == 0
    assert format_ratio(1, 3) in call(*MIX, "--coats", str(MOST_COATS_OF_ONE)).out


def test_names_are_compared_in_one_way_by_every_option(run) -> None:
    """Composed and decomposed letters, capitals and spaces: what is typed need not be what stands on the tin."""
    tin, typed = "Crème Straße", unicodedata.normalize("NFD", "CRÈME strasse")
    for kind, *more in (("paint",), ("ground", "--lab", "70,5,20"), ("chip", "--lab", "70,8,24")):
        assert run(kind, "add", tin, *more).status == 0
    added = run("swatch", "add", "--paint", typed, "--ratio", "1:3", "--ground", typed, "--lab", "50,9,25")
    assert (added.status, added.err) == (0, "")
    assert tin in added.out
    assert (
        run("mix", "--paint", f"{typed}=2", "--ratio", "1:3", "--area", "40cm2", "--density", f"{typed}=1.3").status
        == 0
    )
    assert (
        run("match", "--target", "62,9,25", "--over", "74,6,20", "--paint", typed, "--then", f"{typed},1:3,1").status
        == 0
    )
    assert run("ground", "edit", typed, "--notes", "x").status == 0
    gone = run("read", "nowhere.jpg", "--chip", f"{typed}=1,2,3,4")
    assert "nowhere.jpg" in gone.err  # and not the chip


def test_a_value_with_a_minus_sign_is_told_how_to_be_written(run):
    done = run("mix", "--paint", "Ochre", "--ratio", "-1:3", "--area", "40cm2")
    assert done.status == 2
    assert "--ratio needs a value; one that begins with a minus sign is written --ratio=-1" in done.err


def test_a_card_that_is_not_found_names_the_options(run, tmp_path):
    from PIL import Image

    Image.new("RGB", (640, 480), "#a57a4c").save(tmp_path / "plain.png")
    done = run("read", tmp_path / "plain.png", "--patch", "wood=10,10,50,50")
    assert done.status == 1
    assert "continue without one. (--card x,y,w,h or --card none)" in done.err


def test_a_price_may_have_a_comma(run):
    assert run("paint", "add", "Umber", "--price", "12,50").status == 0
    assert '"price": 12.5' in run("paint", "list", "--json").out
    refused = run("paint", "add", "Sienna", "--price", "cheap")
    assert "'cheap' is not a valid price" in refused.err
