"""A short run of the fuzzer, and every input that ever broke something."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

if sys.platform != "linux":
    pytest.skip("the limits on memory and time are Linux's", allow_module_level=True)

from tests.hostile import fuzz as harness
from tests.hostile.fuzz import CRASHERS, attempt, fuzz, kept, targets

TARGETS = targets()
#: Inputs for each target here; run ``python -m tests.hostile.fuzz --seconds 600`` for more.
FEW = 60


@pytest.mark.parametrize("name", TARGETS)
def test_good_input_is_read(name: str) -> None:
    """Else the fuzzer would only ever see refusals."""
    assert [attempt(TARGETS[name].read, seed) for seed in TARGETS[name].seeds].count("read") > 0


@pytest.mark.slow
def test_damaged_input_is_read_or_refused() -> None:
    tallies = fuzz(list(TARGETS), seconds=60, most=FEW, seed=1)
    assert {tally.name: tally.broken for tally in tallies if tally.broken} == {}
    assert {tally.name: tally.tried for tally in tallies} == dict.fromkeys(TARGETS, FEW)


@pytest.mark.parametrize("path", sorted(CRASHERS.glob("*/*")), ids=lambda path: f"{path.parent.name}/{path.name}")
def test_what_once_broke_holds(path: Path) -> None:
    name = next(name for name in TARGETS if path in kept(name))
    assert attempt(TARGETS[name].read, path.read_bytes()) in ("read", "refused")


def _work(_: bytes) -> None:
    while True:
        sum(range(1000))


def test_a_busy_machine_makes_no_find_and_endless_work_does(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(harness, "MOST_SECONDS", 0.2)
    assert attempt(lambda _: time.sleep(0.6), b"") == "read"  # kept waiting, as by other processes
    assert "of processor time" in attempt(_work, b"")
    monkeypatch.setattr(harness, "MOST_CLOCK_SECONDS", 0.3)
    assert attempt(lambda _: time.sleep(5), b"").startswith("took more than")
