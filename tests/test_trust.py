"""What the program never does: run something that came as data, or talk to anybody but this machine."""

from __future__ import annotations

import ast
import importlib.metadata
import os
import re
import socket
import subprocess
import sys
import time
import tomllib
import urllib.request
from pathlib import Path
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
SOURCES = sorted(path for room in ("colormatch", "app") for path in (ROOT / room).rglob("*.py"))

#: Modules that run what they read, or start other programs.
FORBIDDEN_MODULES = {"pickle", "marshal", "shelve", "dill", "joblib", "yaml", "code", "codeop", "ctypes", "subprocess"}
#: The same of built-in functions, and of others by their last name.
FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__", "system", "popen"}
#: Modules that speak to a network. The phone link asks which address this machine has, and sends nothing.
NETWORK_MODULES = {"urllib.request", "http.client", "socket", "ssl", "smtplib", "ftplib", "requests", "httpx"}
MAY_USE_SOCKETS = {"app/server/phone.py", "colormatch/cli/app.py"}


def imported(tree: ast.AST) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return names


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_nothing_is_run_that_came_as_data(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not imported(tree) & FORBIDDEN_MODULES
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "id", None) or getattr(node.func, "attr", "")
        # re.compile compiles a pattern.
        assert name not in FORBIDDEN_CALLS or ast.unparse(node.func) == "re.compile", ast.unparse(node)
        if name == "load" and ast.unparse(node.func) == "np.load":
            assert "allow_pickle=False" in ast.unparse(node)


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_only_the_server_and_the_phone_link_know_the_network(path: Path) -> None:
    used = imported(ast.parse(path.read_text(encoding="utf-8"))) & NETWORK_MODULES
    assert not used or path.relative_to(ROOT).as_posix() in MAY_USE_SOCKETS


#: Refuses and tells every connection that leaves this machine, every look-up of a name and every program started, from
#: the interpreter's own events (PEP 578): no library gets by unseen.
_ALONE = """
import ipaddress, os, sys

def refuse(what):
    os.write(2, f"REFUSED: {what}\\n".encode())
    raise PermissionError(what)

def alone(event, arguments):
    if event in ("socket.getaddrinfo", "socket.gethostbyname") and arguments[0] not in (None, "127.0.0.1"):
        refuse(f"to look up {arguments[0]}")
    if event in ("socket.connect", "socket.sendto"):
        address = arguments[1]
        if isinstance(address, tuple) and not ipaddress.ip_address(address[0]).is_loopback:
            refuse(f"to talk to {address}")
    if event in ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn"):
        refuse(f"to start {arguments[0]}")

sys.addaudithook(alone)
"""


def line_of(code: str) -> list[str]:
    return [sys.executable, "-c", f"{_ALONE}\n{code}"]


@pytest.mark.parametrize(
    "arguments",
    [
        ("demo", "--out", "{out}"),
        ("match", "--target", "62,9,25", "--over", "74,6,20"),
        ("paint", "add", "Umber"),
    ],
    ids=lambda arguments: arguments[0],
)
def test_the_commands_talk_to_nobody_and_start_nothing(arguments: tuple[str, ...], tmp_path: Path) -> None:
    words = [word.format(out=tmp_path / "out") for word in arguments]
    done = subprocess.run(
        line_of(f"from colormatch.cli.main import main; sys.exit(main({words!r}))"),
        cwd=ROOT, env={**os.environ, "COLORMATCH_LIBRARY": str(tmp_path / "library")},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "REFUSED" not in done.stderr


def test_nor_does_the_app(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {**os.environ, "COLORMATCH_LIBRARY": str(tmp_path / "library")}
    log = tmp_path / "log"
    with log.open("wb") as out, subprocess.Popen(
        line_of(f"from app.server.start import serve; serve({port})"), cwd=ROOT, env=environment, stdout=out, stderr=out
    ) as server:  # fmt: skip
        try:
            deadline = time.monotonic() + 60
            while time.monotonic() < deadline and server.poll() is None:
                try:
                    with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5) as page:
                        assert page.status == 200
                    break
                except OSError:
                    continue
            assert server.poll() is None
        finally:
            server.terminate()
            server.wait(timeout=20)
    assert "REFUSED" not in log.read_text()


@pytest.mark.parametrize(
    ("code", "told"),
    [
        ("import socket; socket.socket().connect(('192.0.2.1', 80))", "to talk to ('192.0.2.1', 80)"),
        ("import socket; socket.getaddrinfo('foreign.example', 80)", "to look up foreign.example"),
        ("import subprocess; subprocess.run(['true'])", "to start true"),
    ],
)
def test_that_watch_sees(code: str, told: str) -> None:
    done = subprocess.run(line_of(code), capture_output=True, text=True, check=False)
    assert f"REFUSED: {told}" in done.stderr


def requirements() -> list[Requirement]:
    """What the program needs to run."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return [Requirement(line) for line in project["dependencies"]]


def project() -> dict[str, Any]:
    held: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    return held


def at_run_time() -> list[str]:
    """Every distribution that comes with an installation without extras, as the installed ones state their needs."""
    found: set[str] = set()
    names = [needed.name for needed in requirements()]
    while names:
        name = canonicalize_name(names.pop())
        if name in found:
            continue
        found.add(name)
        needs = (Requirement(line) for line in importlib.metadata.requires(name) or ())
        names += [one.name for one in needs if one.marker is None or one.marker.evaluate({"extra": ""})]
    return sorted(found)


def bundled(name: str) -> set[str]:
    """Shared libraries that a wheel brings along: where Linux wheels keep them, and LibRaw beside its module."""
    files = importlib.metadata.files(name) or []
    names = {file.name for file in files if ".libs/" in str(file) or file.name.startswith("libraw")}
    # libQt5Core-9088e21b.so.5.15.19, libxcb-icccm-9453e4f7.so.4.0.0, libpcre2-16-bca4e6b3.so.0.7.1
    return {re.split(r"-|\.so", one)[0] for one in names if ".so" in one}


@pytest.mark.parametrize("needed", requirements(), ids=lambda needed: needed.name)
def test_every_package_it_stands_on_is_bounded(needed: Requirement) -> None:
    operators = {part.operator for part in needed.specifier}
    assert {">=", "<"} <= operators, f"{needed} has no lowest or no highest version"
    assert needed.specifier.contains(importlib.metadata.version(needed.name))


def test_every_package_is_listed_with_its_license_and_what_it_bundles() -> None:
    packages, libraries = (ROOT / "app/guide/licenses.md").read_text(encoding="utf-8").split("## Libraries inside")
    listed = set(re.findall(r"^\| ([\w.-]+) \| \w", packages, re.MULTILINE)) - {"package"}
    assert listed == set(at_run_time())
    known = {
        file
        for row in re.findall(r"^\| [^|]+ \| ([^|]+) \|", libraries, re.MULTILINE)
        for file in re.split(r", | ", row)
    }
    for name in listed:
        assert bundled(name) <= known, name


def locked() -> list[str]:
    """Lines of the lock, each with its hashes."""
    text = (ROOT / ".ci/requirements.lock").read_text(encoding="utf-8").replace("\\\n", "")
    return [line for line in text.splitlines() if not line.startswith("#")]


def test_the_lock_holds_what_the_project_asks_for_and_nothing_but_names_versions_and_hashes() -> None:
    line = re.compile(r"([\w.-]+)==([\w.]+)( ; [^-]+?)?(\s+--hash=sha256:[0-9a-f]{64})+\s*")
    found = [line.fullmatch(one) for one in locked()]
    assert all(found)
    versions = {one[1]: one[2] for one in found if one}
    extras = project()["project"]["optional-dependencies"]
    asked = map(Requirement, [*project()["build-system"]["requires"], *extras["test"], *extras["browser"]])
    for needed in [*requirements(), *asked]:
        assert needed.specifier.contains(versions[canonicalize_name(needed.name)]), needed
    assert set(at_run_time()) <= set(versions)


def test_the_program_reads_heic_without_an_encoder() -> None:
    assert "pillow-heif" not in at_run_time()
    for path in SOURCES:
        assert "pillow_heif" not in imported(ast.parse(path.read_text(encoding="utf-8"))), path
