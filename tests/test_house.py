"""The rules of the house: style, types, layers, sizes, one OpenCV, and a light start."""

import ast
import importlib.metadata
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCES = sorted(path for room in ("colormatch", "app", "tests") for path in (ROOT / room).rglob("*.py"))
#: Lines of a file that can be read in one sitting; our choice.
MOST_LINES = 400
#: Files that are longer, and why they are not two.
LONGER = {
    "tests/hostile/fuzz.py": "one program: the readers with their seeds, how input is damaged, and the run",
    "tests/storage/faults.py": "one program: each way to break a library, with the check of what is left",
    "tests/hostile/test_exchange.py": "one list of hostile folders and zip files, each with its refusal",
}


@pytest.mark.parametrize(
    "command",
    [
        ["ruff", "check", "."],
        ["ruff", "format", "--check", "."],
        ["mypy"],
        ["lint_imports"],
    ],
    ids=lambda command: " ".join(command[:2]),
)
def test_static_checks(command: list[str]) -> None:
    program = [sys.executable, "-m", *command]
    if command == ["lint_imports"]:
        program = [str(Path(sys.executable).with_name("lint-imports"))]
    done = subprocess.run(program, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_every_module_says_what_it_is() -> None:
    texts = {path: path.read_text(encoding="utf-8") for path in SOURCES}
    assert [path for path, text in texts.items() if text.strip() and not ast.get_docstring(ast.parse(text))] == []


def test_every_file_can_be_read_in_one_sitting() -> None:
    long = [path for path in SOURCES if path.read_text(encoding="utf-8").count("\n") > MOST_LINES]
    assert {path.relative_to(ROOT).as_posix() for path in long} == set(LONGER)


def test_every_flag_is_raised_in_one_place() -> None:
    """So that its sentence has one author, and nobody has to look for the others."""
    from colormatch.records import FlagCode

    raised = [
        node.args[0].attr
        for path in SOURCES
        if path.is_relative_to(ROOT / "colormatch")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Flag"
        if node.args and isinstance(node.args[0], ast.Attribute)
    ]
    assert sorted(raised) == sorted(FlagCode.__members__)


def test_nothing_compares_the_code_of_a_flag_with_a_bare_string() -> None:
    bare = [
        f"{path}:{node.lineno}"
        for path in SOURCES
        if not path.is_relative_to(ROOT / "tests")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Compare) and isinstance(node.left, ast.Attribute) and node.left.attr == "code"
        if any(isinstance(leaf, ast.Constant) and isinstance(leaf.value, str) for leaf in ast.walk(node))
    ]
    assert bare == []


def test_one_version() -> None:
    import colormatch

    stated = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    assert colormatch.__version__ == stated


def test_exactly_one_opencv() -> None:
    """opencv-python and its headless sister write the same folder and break each other."""
    names = {dist.metadata["Name"].lower() for dist in importlib.metadata.distributions()}
    assert {name for name in names if name.startswith("opencv-")} == {"opencv-python"}


def modules_after(code: str) -> set[str]:
    script = f"import sys\n{code}\nprint(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=ROOT)
    return set(done.stdout.splitlines()[-1].split())


def test_help_imports_nothing_heavy() -> None:
    code = "from colormatch.cli.main import main\ntry:\n    main(['--help'])\nexcept SystemExit:\n    pass"
    heavy = {"numpy", "cv2", "scipy", "colour", "skimage", "streamlit", "PIL"}
    assert not (modules_after(code) - modules_after("")) & heavy


def test_reading_and_matching_never_import_colour_science_or_streamlit() -> None:
    code = "from colormatch.cli.main import main\nmain(['match', '--target', '62,9,25', '--over', '74,6,20'])"
    loaded = modules_after(f"import os, tempfile\nos.environ['COLORMATCH_LIBRARY'] = tempfile.mkdtemp()\n{code}")
    assert not loaded & {"colour", "streamlit"}


#: Turns of phrase that the program's texts avoid, each beside what to write instead.
AVOIDED = {
    r"(?<![Tt]here )\bis no\b(?! longer)": "is not a",
    r"(?<![Tt]here )\bis none\b": "is impossible, is not one of",
    r"\bcan't be\b": "is impossible, is unreadable, failed",
    r"\bbeyond all\b": "is too large",
    r"\bany more\b": "no longer",
    r"\bonce more\b": "again",
    r"\b(?:told apart|worked out)\b": "distinguished, calculated",
    r"\b(?:surer|surely)\b": "more reliable, for certain",
}


def shown_texts(path: Path) -> list[tuple[int, str]]:
    """Line and words of each text of a module that is not a docstring; {} stands for what an f-string fills in."""
    texts, inside = [], set[ast.AST]()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):  # an f-string comes before its parts
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            inside.add(node.value)
        elif isinstance(node, ast.JoinedStr):
            inside |= set(node.values)
            parts = (part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)
            texts.append((node.lineno, "".join(map(str, parts))))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in inside:
            texts.append((node.lineno, node.value))
    return texts


def test_texts_avoid_clumsy_turns() -> None:
    modules = [path for path in SOURCES if not path.is_relative_to(ROOT / "tests")]
    texts = [(path, line, text) for path in modules for line, text in shown_texts(path)]
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "app/guide/guide.md"):
        texts += [(page, line, text) for line, text in enumerate(page.read_text("utf-8").splitlines(), 1)]
    clumsy = [
        f"{path.relative_to(ROOT)}:{line}: {found[0]} (write: {better})"
        for path, line, text in texts
        for turn, better in AVOIDED.items()
        if (found := re.search(turn, text))
    ]
    assert clumsy == []
