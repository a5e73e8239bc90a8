"""The lock: ``python .ci/lock.py`` in an environment that has pip and packaging writes ``.ci/requirements.lock`` anew.

pip chooses the versions, from the index that it is set up for; the hashes are those of every wheel of the release, so
that the lock serves other machines and later Pythons too. No address is written into it.
"""

import json
import subprocess
import sys
import tomllib
import urllib.request
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name, parse_wheel_filename
from packaging.version import Version

ROOT = Path(__file__).parents[1]
INDEX = "https://pypi.org/simple"
LOCK = Path(__file__).with_name("requirements.lock")


def wanted() -> list[str]:
    """What the build, the program, its tests and the browser's need."""
    held = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    extras = held["project"]["optional-dependencies"]
    # An installation that follows the sources (pip install -e) asks hatchling for editables.
    return [
        *held["build-system"]["requires"],
        "editables",
        *held["project"]["dependencies"],
        *extras["test"],
        *extras["browser"],
    ]


def resolved() -> dict[str, tuple[str, str]]:
    """All that pip would install: name, version, and the hash of the file that is for this machine."""
    command = [sys.executable, "-m", "pip", "install", "--dry-run", "--ignore-installed", "--quiet", "--report", "-"]
    report = json.loads(subprocess.run([*command, *wanted()], capture_output=True, check=True).stdout)
    return {
        canonicalize_name(one["metadata"]["name"]): (
            one["metadata"]["version"],
            one["download_info"]["archive_info"]["hashes"]["sha256"],
        )
        for one in report["install"]
    }


def hashes(name: str, version: str) -> list[str]:
    """SHA-256 of every wheel of a release, from the index's list of its files (PEP 691)."""
    asked = urllib.request.Request(f"{INDEX}/{name}/", headers={"Accept": "application/vnd.pypi.simple.v1+json"})
    with urllib.request.urlopen(asked, timeout=60) as answer:
        files = json.load(answer)["files"]
    wheels = (file for file in files if file["filename"].endswith(".whl"))
    return sorted(
        file["hashes"]["sha256"] for file in wheels if parse_wheel_filename(file["filename"])[1] == Version(version)
    )


def main() -> None:
    markers = {canonicalize_name(r.name): str(r.marker) for r in map(Requirement, wanted()) if r.marker}
    lines = ["# Written by .ci/lock.py: pip install --require-hashes -r .ci/requirements.lock"]
    for name, (version, here) in sorted(resolved().items()):
        marker = f" ; {markers[name]}" if name in markers else ""
        lines.append(f"{name}=={version}{marker} \\")
        listed = hashes(name, version)
        if here not in listed:
            raise SystemExit(f"{name} {version}: the file that pip chose is not among those of the index")
        lines.append(" \\\n".join(f"    --hash=sha256:{digest}" for digest in listed))
    LOCK.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
