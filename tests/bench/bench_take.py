"""How long `sitting take` takes for photographs of 24 megapixels, against their full decode by Pillow.

A print with the colour card beside it, rendered by the stand of the tests with a phone's noise; one frame alone, then
ten frames with two read at a time and with one. The last figure is the whole process for one frame on a small archive.

Run by hand: PYTHONPATH=. python tests/bench/bench_take.py
"""

from __future__ import annotations

import contextlib
import io
import itertools
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from PIL import Image
from timing import RUNS, machine, medians, row

from archive.cli import main as inkchest
from archive.services import sitting_take
from tests.studio.storeroom import CARD_MM, PHONE, Stand, random_print, written

STAND = Stand(size=(6000, 4000), px_per_mm=9.75, lens=replace(PHONE, full_well=2000.0))
FRAMES = 10
MOST_TIMES = 6.0
MOST_MB = 1000.0


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        desk = Path(folder)
        frame = open_sitting(desk)
        numbers = itertools.count()

        def another() -> str:
            file = desk / f"{next(numbers)}.jpg"
            file.write_bytes(frame + str(file).encode())  # a tail makes it another file
            return str(file)

        def archive() -> Path:
            return Path(shutil.copytree(desk / "chest", desk / f"chest {next(numbers)}"))

        def decode() -> None:
            with Image.open(io.BytesIO(frame)) as opened:
                opened.load()

        def ten(at_once: int) -> float:
            chest, files = archive(), [another() for _ in range(FRAMES)]
            return timed(lambda: take(chest, files), at_once)

        print(machine())
        print(f"a JPEG of 24 megapixels, {len(frame) / 1e6:.1f} MB")
        ready = iter([(archive(), another()) for _ in range(RUNS + 1)])  # nothing in it that the frame could be like
        decoded, taken = medians(decode, lambda: take((one := next(ready))[0], [one[1]]))
        row("sitting take, one frame, in process", taken, MOST_TIMES * decoded, of=decoded, against="Pillow's decode")
        together, singly = ten(2), ten(1)
        row(f"{FRAMES} like frames, two at a time, each", together / FRAMES, of=decoded, against="Pillow's decode")
        row(f"{FRAMES} like frames, one at a time, each", singly / FRAMES, of=decoded, against="Pillow's decode")
        print(f"two at a time take {together / singly:.2f} of the time")
        for count in (1, 4):
            whole_process(archive(), [another() for _ in range(count)], decoded)


_PROCESS = """
import sys
from pathlib import Path
from archive.cli import main
main(sys.argv[1:], standalone_mode=False)
lines = Path("/proc/self/status").read_text().splitlines()
print(next(line.split()[1] for line in lines if line.startswith("VmHWM")), file=sys.stderr)
"""


def whole_process(chest: Path, files: list[str], decoded: float) -> None:
    command = [sys.executable, "-c", _PROCESS, "--archive", str(chest), "sitting", "take", *files]
    began = time.perf_counter()
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    seconds = time.perf_counter() - began
    row(f"the whole process, {len(files)} frames", seconds, of=decoded, against="Pillow's decode")
    peak = int(done.stderr.split()[-1]) / 1000
    print(f"its memory at most {peak:.0f} MB, {MOST_MB:.0f} wanted")


def open_sitting(desk: Path) -> bytes:
    """Start an archive with a sitting and return a frame's file."""
    white = written(desk / "white.jpg", STAND.white())
    card = written(desk / "card.jpg", STAND.card().jpeg)
    run("start", str(desk / "chest"))
    size = "x".join(f"{side:.1f}" for side in CARD_MM)
    chest = ("--archive", str(desk / "chest"))
    run(*chest, "sitting", "open", "--white", str(white), "--card", str(card), "--card-mm", size)
    return written(desk / "frame.jpg", STAND.sheet(random_print(0)).jpeg, taken="2025-03-14 10:00:00").read_bytes()


def take(chest: Path, files: list[str]) -> None:
    run("--archive", str(chest), "sitting", "take", *files)


def run(*words: str) -> None:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        inkchest(list(words), standalone_mode=False)


def timed(do: Callable[[], Any], at_once: int) -> float:
    before, sitting_take.AT_ONCE = sitting_take.AT_ONCE, at_once
    began = time.perf_counter()
    do()
    sitting_take.AT_ONCE = before
    return time.perf_counter() - began


if __name__ == "__main__":
    main()
