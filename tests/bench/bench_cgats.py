"""How long the import of 1,600 patches takes, against reading the numbers by plain split.

Run by hand: python tests/bench/bench_cgats.py
"""

from __future__ import annotations

import contextlib
import io
import itertools
import tempfile
from pathlib import Path

import numpy as np
from timing import machine, medians, row

from archive.cli import main as inkchest
from archive.exchange.cgats import read_cgats

PATCHES = 1600
FIELDS = ["SAMPLE_ID", "CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K", "LAB_L", "LAB_A", "LAB_B"]


def patches() -> str:
    """Return a CGATS file of 1,600 patches of up to four inks, tints in steps of 5 %."""
    rng = np.random.default_rng(1600)
    tints = rng.integers(0, 21, (PATCHES, 4)) * 5 * (rng.random((PATCHES, 4)) < 0.5)
    labs = rng.normal((60, 0, 5), (15, 20, 22), (PATCHES, 3)).clip((10, -80, -80), (94, 80, 90))
    lines = [
        f"{number + 1} "
        + " ".join(str(tint) for tint in tints[number])
        + " "
        + " ".join(f"{v:.3f}" for v in labs[number])
        for number in range(PATCHES)
    ]
    head = ["CGATS.17", 'ORIGINATOR "Quay Attic Printroom"', f"NUMBER_OF_FIELDS {len(FIELDS)}", "BEGIN_DATA_FORMAT"]
    head += [" ".join(FIELDS), "END_DATA_FORMAT", f"NUMBER_OF_SETS {PATCHES}", "BEGIN_DATA"]
    return "\n".join([*head, *lines, "END_DATA", ""])


def by_split(text: str) -> list[list[float]]:
    """Return the numbers, without a look at what they mean."""
    lines = text.split("BEGIN_DATA\n")[1].split("END_DATA")[0].splitlines()
    return [[float(part) for part in line.split()] for line in lines]


def main() -> None:
    """Print the figures."""
    text = patches()
    assert [row_.lab for row_ in read_cgats(text, "press.txt")[0].rows] == [tuple(line[5:]) for line in by_split(text)]
    with tempfile.TemporaryDirectory() as folder:
        desk = Path(folder)
        (desk / "press.txt").write_text(text, encoding="utf-8")
        numbers = itertools.count()

        def run(*words: str) -> None:
            with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
                inkchest(list(words), standalone_mode=False)

        chests = []
        for number in range(6):  # one for each import: a second would find all known
            chest = str(desk / f"chest{number}")
            run("start", chest)
            for ink in ("Ferrywake", "Kilnsong", "Dockrope", "Sootwell"):
                run("--archive", chest, "ink", "add", ink)
            run("--archive", chest, "paper", "add", "Chalkroad 90")
            chests.append(chest)
        inks = ["CMYK_C=Ferrywake", "CMYK_M=Kilnsong", "CMYK_Y=Dockrope", "CMYK_K=Sootwell"]
        named = [part for ink in inks for part in ("--ink", ink)]

        def bring_in() -> None:
            chest = chests[next(numbers)]
            run("--archive", chest, "readings", "import", str(desk / "press.txt"), "--paper", "Chalkroad 90", *named)

        print(machine())
        split, read, imported = medians(lambda: by_split(text), lambda: read_cgats(text, "press.txt"), bring_in)
        row("reading 1,600 patches of CGATS", read, of=split, against="plain split")
        row("readings import, 1,600 patches", imported, 3.0, of=split, against="plain split")


if __name__ == "__main__":
    main()
