"""What the docs say holds: commands run, options, links and pictures exist, figures stand in their study's page."""

from __future__ import annotations

import argparse
import doctest
import importlib
import importlib.util
import io
import re
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.screens import start
from colormatch.cli.main import COMMANDS, main
from colormatch.cli.main import command as known_command
from colormatch.library.starter import example
from colormatch.mixing import cautions

ROOT = Path(__file__).parents[1]
README, DEVELOPERS, GUIDE = (ROOT / name for name in ("README.md", "DEVELOPERS.md", "app/guide/guide.md"))
DOCS = {path.name: path.read_text(encoding="utf-8") for path in (README, DEVELOPERS, GUIDE)}
MEASURED = ROOT / "tests/studies/measured"
#: Pages for contributors beside DEVELOPERS.md: one for each study, what could do harm, sources.
PAGES = (*sorted(MEASURED.glob("*.md")), ROOT / "tests/hostile/trust.md", ROOT / "tests/published/sources.md")
TEXTS = {path: path.read_text(encoding="utf-8") for path in (README, DEVELOPERS, GUIDE, *PAGES)}
#: What DEVELOPERS.md may weigh, bytes: a page to read before the first change.
LONGEST = 15_000
#: Where the guide's figures are from, by the words that the paragraph, list or table begins with. The README links its
#: pages; the guide is read in the app, where there are none.
GUIDE_FIGURES = {
    "* **A gray card**": "references",
    "One thing helps more than any card": "references",
    "| swatches of the paint": "swatches",
    "The program can also learn from each repair": "learning",
}
#: What all pictures of the docs may weigh together, bytes.
HEAVIEST = 700_000
#: Options in the docs that are pytest-benchmark's.
OF_OTHERS = {"--benchmark-only", "--benchmark-enable"}
#: Of a study, written without its module.
OF_STUDIES = {"--photos", "--seed"}


def blocks(text: str, *languages: str) -> list[str]:
    """Lines of the fenced blocks of these languages."""
    found = re.findall(r"^```(\w*)\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    return [line for language, block in found if language in languages for line in block.splitlines()]


def inline(text: str) -> list[str]:
    """Code within sentences."""
    return re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE))


def is_command(code: str) -> bool:
    return code.startswith("colormatch ") and "COMMAND" not in code


def commands(text: str) -> list[str]:
    """Every call of our command, in blocks and within sentences."""
    return [code for code in (*blocks(text, "sh"), *inline(text)) if is_command(code)]


def parser_of(command: str) -> argparse.ArgumentParser:
    parser, _ = known_command(command)
    return parser


def how_parsing_ends(parser: argparse.ArgumentParser, arguments: list[str]) -> object:
    """Exit status: 0 where the arguments are understood, or ask for help."""
    try:
        parser.parse_args(arguments)
    except SystemExit as end:
        return end.code
    return 0


def options_of(parser: argparse.ArgumentParser) -> Iterator[str]:
    for action in parser._actions:
        yield from action.option_strings
        if isinstance(action, argparse._SubParsersAction):
            for under in action.choices.values():
                yield from options_of(under)


def headings(text: str) -> set[str]:
    """Anchors of a text's headings, as GitHub and the app's framework make them."""
    lines = re.findall(r"^#+ (.+)$", re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.MULTILINE), re.MULTILINE)
    return {re.sub(r"[^\w -]", "", line.lower()).strip().replace(" ", "-") for line in lines}


# --- commands --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", sorted({command for text in DOCS.values() for command in commands(text)}))
def test_every_command_is_understood(command: str) -> None:
    _, name, *rest = shlex.split(command, comments=True)
    assert how_parsing_ends(parser_of(name), rest) == 0


def test_the_readme_s_commands_run_one_after_the_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLORMATCH_LIBRARY", str(tmp_path / "library"))
    shutil.copy(example().photo, "photo.jpg")
    shutil.copy(example().dried, "dried.jpg")
    shown = [line for line in blocks(DOCS["README.md"], "sh") if is_command(line) and " app" not in line]
    assert len(shown) > len(COMMANDS)
    for line in shown:
        assert main(shlex.split(line, comments=True)[1:]) == 0, f"{line}: {capsys.readouterr().err}"


def test_every_option_exists() -> None:
    known = OF_OTHERS | OF_STUDIES | {option for name in COMMANDS for option in options_of(parser_of(name))}
    named = {
        option
        for text in DOCS.values()
        for code in inline(text)
        if not code.startswith(("python", "pytest"))
        for option in re.findall(r"(?<![\w-])--[a-z][a-z-]+", code)
    }
    assert named <= known


def test_the_readme_lists_the_commands_of_the_program(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["--help"])
    listed = re.findall(r"^  (\w+) {2,}(.+)$", capsys.readouterr().out.split("\ncommands:\n")[1], re.MULTILINE)
    assert re.findall(r"^\| `(\w+)` \| (.+) \|$", DOCS["README.md"], re.MULTILINE) == listed


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: path.name)
def test_every_module_and_test_that_is_to_be_run_exists(path: Path) -> None:
    text = TEXTS[path]
    for module in re.findall(r"python -m (tests[\w.]+)", text):
        spec = importlib.util.find_spec(module)
        assert spec is not None, module
        assert '__name__ == "__main__"' in Path(str(spec.origin)).read_text(encoding="utf-8"), module
    for test in re.findall(r"pytest (?:-\w+ )*(tests/[\w./]+)", text):
        assert (ROOT / test).exists(), test


def test_the_notebook_example_runs() -> None:
    source = "\n".join(blocks(DOCS["README.md"], "pycon"))
    example_of_the_readme = doctest.DocTestParser().get_doctest(source + "\n", {}, "README.md", str(README), 0)
    assert len(example_of_the_readme.examples) > 5
    told = io.StringIO()
    assert doctest.DocTestRunner().run(example_of_the_readme, out=told.write).failed == 0, told.getvalue()


# --- links and pictures ----------------------------------------------------------------------------------------------


def targets(text: str) -> list[str]:
    """What links and pictures point at."""
    return re.findall(r"\]\(([^)\s]+)\)", text) + re.findall(r'src="([^"]+)"', text)


@pytest.mark.parametrize("page", TEXTS, ids=lambda path: path.name)
def test_every_link_and_picture_resolves(page: Path) -> None:
    for target in targets(TEXTS[page]):
        path, _, anchor = target.partition("#")
        file = page.parent / path if path else page
        assert file.exists(), target
        if anchor:
            assert anchor in headings(file.read_text(encoding="utf-8")), target


def test_pictures_are_used_light_and_there_at_both_widths() -> None:
    pictures = set(GUIDE.parent.glob("*.webp"))
    assert sum(path.stat().st_size for path in pictures) < HEAVIEST
    named = {(page.parent / target).resolve() for page, text in TEXTS.items() for target in targets(text)}
    for picture in pictures:
        wide, phone = (picture.with_name(re.sub(r"-\w+(?=\.)", kind, picture.name)) for kind in ("-wide", "-phone"))
        assert {wide, phone} <= pictures
        assert wide in named or phone in named, picture.name


@pytest.mark.parametrize("name", DOCS)
def test_every_picture_is_told_in_words(name: str) -> None:
    words = re.findall(r"!\[([^]]*)\]", DOCS[name]) + re.findall(r'<img [^>]*alt="([^"]*)"', DOCS[name])
    assert len(words) == len(re.findall(r"!\[|<img ", DOCS[name]))
    assert all(len(one) > 10 for one in words)


# --- what is said ----------------------------------------------------------------------------------------------------


def figures(text: str) -> set[str]:
    """Measured values, and pairs of them: 1.22 / 2.95 is another figure than 2.95 / 1.22."""
    plain = text.replace("*", "")
    return set(re.findall(r"\d+\.\d\d\b", plain)) | set(re.findall(r"\d+\.\d\d / \d+\.\d\d\b", plain))


def with_figures(text: str) -> list[str]:
    """Paragraphs, lists and tables that quote one, a table with the paragraph that introduces it."""
    return [block for block in re.split(r"\n\n(?!\|)", text) if figures(block)]


def measured(page: str) -> str:
    return TEXTS[MEASURED / f"{page}.md"]


def test_figures_of_the_readme_stand_in_the_pages_that_it_links_beside_them() -> None:
    quoting = with_figures(DOCS["README.md"].split("## How sure it is")[1].split("\n## ")[0])
    assert len(quoting) >= 3
    for block in quoting:
        pages = re.findall(r"\(tests/studies/measured/(\w+)\.md\)", block)
        assert figures(block) <= figures("\n".join(map(measured, pages))), block


def test_figures_of_the_guide_stand_in_the_pages_of_their_studies() -> None:
    told = []
    for words, page in GUIDE_FIGURES.items():
        (block,) = (one for one in with_figures(DOCS["guide.md"]) if f"\n{words}" in f"\n{one}")
        assert figures(block) <= figures(measured(page)), block
        told.append(block)
    assert told == with_figures(DOCS["guide.md"])


def test_rows_of_the_readme_are_rows_of_the_study() -> None:
    rows = re.findall(r"^\| ([^|`]+) \| (\d[^|]+) \| (\d[^|]+) \|$", DOCS["README.md"], re.MULTILINE)
    assert len(rows) >= 4
    for name, color, difference in rows:
        assert re.search(rf"^\| {re.escape(name)} \| {re.escape(color)} \|[^|]*\| {re.escape(difference)} \|",
                         measured("references"), re.MULTILINE), name  # fmt: skip


def test_rows_of_the_guide_are_rows_of_the_study() -> None:
    rows = re.findall(r"^\| (\w+: )(.+) (\| \d.+ \|)$", DOCS["guide.md"], re.MULTILINE)
    assert len(rows) >= 7
    study = {row.replace(" and ", ", ") for row in measured("swatches").splitlines()}
    for _, swatches, values in rows:
        assert f"| {swatches} {values}".replace(" and ", ", ") in study, swatches


@pytest.mark.parametrize("path", sorted(MEASURED.glob("*.md")), ids=lambda path: path.stem)
def test_every_page_of_figures_begins_with_its_command_its_date_and_what_was_real(path: Path) -> None:
    title, first = TEXTS[path].split("\n\n")[:2]
    assert re.fullmatch(r"# .+", title)
    begins = re.match(r"`(?:python -m )?(?:(tests[\w.]+)|pytest (?:-\w+ )*(tests/[\w./]+))[^`]*`", first)
    assert begins, "the first words of a page are the command that prints its figures, in backquotes"
    module, test = begins.groups()
    assert importlib.util.find_spec(module) if module else (ROOT / test).exists()
    assert re.search(r"\d+ \w+ 20\d\d, (simulated|real)\b", first), "then the date, then simulated or real"


def test_the_developers_page_is_short() -> None:
    assert len(DEVELOPERS.read_bytes()) <= LONGEST


def test_the_guide_says_what_the_app_says() -> None:
    for sentence in start._HOW:
        assert f"* {sentence}" in DOCS["guide.md"]
    told = {words for name, words in vars(cautions).items() if name.isupper() and isinstance(words, str)}
    assert len(told) > 4
    for sentence in told:
        assert sentence in DOCS["guide.md"]


# --- the house as it stands ------------------------------------------------------------------------------------------


def rooms() -> str:
    """The table of rooms."""
    return DOCS["DEVELOPERS.md"].split("## The flow, and the rooms")[1].split("\n## ")[0]


def test_every_file_and_folder_that_is_named_exists() -> None:
    named = re.compile(r"(\.?[\w-]+/)*[\w.-]+\.(py|css|js|svg|md|toml)|(\.?[\w-]+/)+[\w-]*")
    for text in TEXTS.values():
        for code in inline(text):
            if named.fullmatch(code):
                assert any((base / code).exists() for base in (ROOT, ROOT / "colormatch", GUIDE.parent)), code


def test_every_room_is_in_the_table() -> None:
    stands = [
        path for path in (ROOT / "colormatch").iterdir() if not path.name.startswith("_") and path.suffix in ("", ".py")
    ]
    stands += [path for path in (ROOT / "app").iterdir() if path.is_dir() and not path.name.startswith("_")]
    for path in stands:
        name = path.relative_to(ROOT).as_posix() + "/" * path.is_dir()
        assert f"`{name}`" in rooms(), name
