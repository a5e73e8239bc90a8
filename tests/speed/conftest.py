"""One table for all benchmarks: median time, how it stands to its peer in the same run, peak memory, and CPU time.

The least time of the processor tells two versions apart on a machine that others use too; wall time does not.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

#: Where the kernel tells this process's memory; elsewhere no memory is shown.
_STATUS, _RESET = Path("/proc/self/status"), Path("/proc/self/clear_refs")


def _resident(name: str) -> int:
    return int(_STATUS.read_text().split(f"{name}:")[1].split()[0]) * 1024


def peak_bytes(work: Callable[[], Any]) -> int | None:
    """How far one call raises this process's resident memory at its peak; None where the system doesn't tell."""
    if sys.platform != "linux":
        return None
    _RESET.write_text("5")  # the peak begins anew, see proc(5)
    before = _resident("VmRSS")
    work()
    return max(0, _resident("VmHWM") - before)


@pytest.fixture
def measure(benchmark: Any) -> Callable[..., Any]:
    """Time a call and take its peak memory.

    ``peer`` marks what a user would otherwise take: the others of its group are stated as multiples of it.
    """

    def run(work: Callable[[], Any], *, rounds: int = 5, peer: bool = False, goal: str = "") -> Any:
        benchmark.extra_info.update(peer=peer, goal=goal)
        cpu = []

        def counted() -> Any:
            before = sum(os.times()[:4])  # user and system time, of this process and of those it has waited for
            result = work()
            cpu.append(sum(os.times()[:4]) - before)
            return result

        result = benchmark.pedantic(counted, rounds=rounds, warmup_rounds=1)
        benchmark.extra_info["least CPU, s"] = min(cpu)
        benchmark.extra_info["peak"] = peak_bytes(work)
        return result

    return run


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    session = getattr(config, "_benchmarksession", None)
    if session is None or not session.benchmarks:
        return
    groups: dict[str, list[Any]] = {}
    for one in session.benchmarks:
        if one.stats.rounds:
            groups.setdefault(one.group or one.fullname.split("::")[0], []).append(one)
    write = terminalreporter.write_line
    terminalreporter.section("median of each, beside its peer in this run")
    for group, members in groups.items():
        peers = [one.stats.median for one in members if one.extra_info.get("peer")]
        write(f"{group}")
        for one in members:
            info = one.extra_info
            beside = f"{one.stats.median / peers[0]:6.2f} x peer" if peers else ""
            peak = f"{info['peak'] / 2**20:7.0f} MB" if info.get("peak") is not None else ""
            goal = f"goal {info['goal']}" if info.get("goal") else ""
            more = ", ".join(f"{key} {value:.3g}" for key, value in info.items() if key not in ("peer", "goal", "peak"))
            write(f"    {one.name:<52}{1000 * one.stats.median:11.2f} ms  {beside:<14}{peak:<12}{goal} {more}".rstrip())
