"""Timing for the benches: warmed, the median of five, the thing and its yardstick turn about in the same run."""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

RUNS = 5


def machine() -> str:
    """Return the day and the machine that the figures belong to."""
    model = "unknown processor"
    info = Path("/proc/cpuinfo")
    if info.is_file():
        names = [
            line.partition(":")[2].strip() for line in info.read_text().splitlines() if line.startswith("model name")
        ]
        model = names[0] if names else model
    return f"{date.today().isoformat()}, {model}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}"


def medians(*functions: Callable[[], Any]) -> list[float]:
    """Return the median seconds of each function, after one run of each that does not count."""
    for function in functions:
        function()
    taken: list[list[float]] = [[] for _ in functions]
    for _ in range(RUNS):
        for number, function in enumerate(functions):
            began = time.perf_counter()
            function()
            taken[number].append(time.perf_counter() - began)
    return [statistics.median(each) for each in taken]


def row(what: str, seconds: float, target: float | None = None, *, of: float | None = None, against: str = "") -> None:
    """Print one figure: seconds, its target, and how many times its yardstick."""
    goal = "" if target is None else f"  target {_time(target)}: {'met' if seconds <= target else 'MISSED'}"
    ratio = "" if of is None else f"  {seconds / of:.2f} x {against} ({_time(of)})"
    print(f"{what:52} {_time(seconds):>9}{goal}{ratio}")


def _time(seconds: float) -> str:
    return f"{seconds:.2f} s" if seconds >= 1 else f"{seconds * 1000:.1f} ms"
