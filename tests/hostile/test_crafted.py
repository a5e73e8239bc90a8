"""A saved library from a stranger is data: nothing is read, written or run outside the library, and all goes on."""

import hashlib
import shutil
import signal
import sqlite3
import sys
from contextlib import closing, contextmanager

import pytest

from colormatch.cli.main import main
from colormatch.errors import LibraryDamaged, LibraryError
from colormatch.library import Library, schema
from colormatch.library.rescue import restore, trust_warning
from colormatch.library.verify import verify
from colormatch.records import Lab, Paint, Swatch
from tests.hostile import crafted, crafted_rows
from tests.hostile.sent import ATTACKS, SCRIPT, SECRET, make, sound

#: How long one attack may hold up a restore or a command before it counts as endless, seconds; they take a moment.
ENDLESS_SECONDS = 120
#: What is noted while somebody watches.
_watched: dict[str, list[str]] = {}


def _audit(event, arguments):
    if _watched and event in ("open", "os.rename", "os.remove", "os.system", "os.exec", "subprocess.Popen"):
        for seen in _watched.values():
            seen.append(f"{event} {arguments[0]!r}")


sys.addaudithook(_audit)


@contextmanager
def watched():
    """What Python opens, moves, removes or starts meanwhile (PEP 578)."""
    _watched["now"] = seen = []
    try:
        yield seen
    finally:
        _watched.clear()


@contextmanager
def ending():
    def ring(*_):
        raise TimeoutError("it never ends")

    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(ENDLESS_SECONDS)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


@pytest.fixture(scope="module")
def theirs(tmp_path_factory):
    return sound(tmp_path_factory.mktemp("theirs") / "library")


@pytest.fixture
def mine(tmp_path):
    library = Library.open(tmp_path / "mine")
    library.add_all([Paint("Mine"), Swatch("Mine", 1, 3, 2, "rail", Lab(70, 5, 20), Lab(50, 9, 25))], "set up")
    return library


def _tree(folder):
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def _refused(library, sent):
    """What is said where the file is refused; nothing where it is restored."""
    try:
        restore(library.folder, sent)
    except LibraryError as error:
        return str(error)
    return ""


def _commands(library, out):
    """Every command that reads or writes a library, as a person would use it next; their status."""
    where = ("--library", str(library.folder))
    return {
        words[1] if words[0] == "library" else " ".join(words[:2]): main([*words, *where])
        for words in (
            ("paint", "list"),
            ("swatch", "list"),
            ("paint", "add", "Next"),
            ("library", "verify"),
            ("library", "backup"),
            ("library", "backup", "--out", str(out / "next.zip")),
            ("library", "export", str(out / "next"), "--repairs", "--photos"),
            ("library", "undo"),
            ("library", "undo"),
            ("library", "redo"),
            ("library", "import"),
        )
    }


@pytest.mark.skipif(sys.platform == "win32", reason="the alarm is POSIX's")
@pytest.mark.parametrize("name", ATTACKS)
def test_a_crafted_library_does_no_harm(name, theirs, mine, tmp_path, capsys):
    outside, out = tmp_path / "outside", tmp_path / "out"
    outside.mkdir()
    out.mkdir()
    (outside / "secret").write_bytes(SECRET)
    (tmp_path / "theirs").mkdir()
    shutil.copyfile(theirs, tmp_path / "theirs" / "library.sqlite3")
    sent = make(name, tmp_path / "theirs" / "library.sqlite3", outside, tmp_path / "sent.zip")
    before, shelf = _tree(outside), mine.shelf()
    with watched() as seen, ending():
        refused = _refused(mine, sent)
        assert not refused or (len(refused) < 600 and mine.shelf() == shelf)
        statuses = _commands(mine, out)
        # A photo that was left out is still named by its swatch, which the check of everything tells.
        problems = [str(problem) for problem in verify(mine).problems]
        # A photo of the very bytes that the attacker listed is kept in the library, not where they said.
        for content in (SECRET, SCRIPT):
            sha256 = mine.photos.add(content)
            assert mine.photos.path(sha256).parent == mine.photos.folder
        mine.photos.clear_old()
    assert _tree(outside) == before
    assert not [one for one in seen if str(outside) in one or not one.startswith(("open", "os.rename", "os.remove"))]
    assert all("photo" in problem for problem in problems), problems
    assert not problems or "photo" in name or "picture" in name or "bare" in name
    assert statuses.pop("verify") == (1 if problems else 0)
    assert set(statuses.values()) == {0}, (statuses, capsys.readouterr().err)
    for folder in (mine.folder / "backups", out):
        assert not [path for path, content in _tree(folder).items() if SECRET in content and path.name != "next.zip"]
    with closing(sqlite3.connect(mine.database)) as connection:
        assert schema.strangers(connection, len(schema.MIGRATIONS)) == ((), (), ())
        assert connection.execute("SELECT count(*) FROM fit WHERE key = 'key'").fetchone() == (0,)
    for path in mine.photos.folder.iterdir():
        assert hashlib.sha256(path.read_bytes()).hexdigest() == path.name[:64]
        assert path.suffix in ("", ".jpg", ".png")
    assert {path.name for path in tmp_path.iterdir()} == {"mine", "outside", "out", "theirs", sent.name}
    # What the program itself wrote is taken back without a word of doubt.
    assert restore(mine.folder, out / "next.zip").source == out / "next.zip"


def test_there_are_thirty_and_all_are_tried():
    written = sum(module.__dict__[one.replace(" ", "_")] is function for one, function in ATTACKS.items()
                  for module in (crafted, crafted_rows) if one.replace(" ", "_") in module.__dict__)  # fmt: skip
    assert written >= len(ATTACKS) >= 30


@pytest.mark.parametrize(
    "name", ["a trigger that empties the shelf", "swatches that never end", "a further view that never ends"]
)
def test_a_crafted_library_that_is_opened_as_it_is_is_refused_and_its_records_can_be_had(name, theirs, tmp_path):
    folder = tmp_path / "theirs"
    folder.mkdir()
    shutil.copyfile(theirs, folder / "library.sqlite3")
    make(name, folder / "library.sqlite3", tmp_path, tmp_path / "sent.zip")
    with ending():
        with pytest.raises(LibraryDamaged, match=r"never makes.*library restore"):
            Library.open(folder)
        if "never end" not in name or "view" in name:
            taken = restore(tmp_path / "new", folder / "library.sqlite3")
            assert [flag.code for flag in taken.flags] == ["strange-schema"]
            assert Library.open(tmp_path / "new").count(Swatch) == 300


def test_what_is_sound_in_a_spoiled_library_comes_over_and_the_rest_is_told(theirs, mine, tmp_path):
    shutil.copyfile(theirs, tmp_path / "library.sqlite3")
    sent = make("rows that are no records", tmp_path / "library.sqlite3", tmp_path, tmp_path / "sent.zip")
    (flag,) = restore(mine.folder, sent).flags
    assert (flag.code, flag.value) == ("records-left-out", 11)
    assert "swatch: 11" in flag.text
    assert mine.count(Swatch) == 289
    assert [one.record.name for one in mine.repairs()] == ["table"]
    assert mine.next_undo() == "changed the paint Theirs"


def test_a_foreign_file_is_warned_of_and_ones_own_backup_is_not(mine, tmp_path, capsys):
    own = next((mine.folder / "backups").iterdir())
    assert trust_warning(own, mine.folder) == ""
    assert "trust" in trust_warning(tmp_path / "sent.zip", mine.folder)
    shutil.copyfile(own, tmp_path / "sent.sqlite3")
    assert main(["library", "restore", str(tmp_path / "sent.sqlite3"), "--library", str(mine.folder)]) == 0
    assert "sent.sqlite3 replaces your current library" in capsys.readouterr().err
