"""A thousand frames taken through fifty kills: no frame twice, none lost, groups and places as in one go.

Frames of 640 pixels, so that a run takes minutes. Forty kills fall on a step (a file renamed into place, or a commit),
before or after it is done, ten at a moment; all are drawn from a seed.

Run by hand: PYTHONPATH=. python tests/bench/bench_take_kills.py
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
import time
from pathlib import Path

from archive.catalogue.database import start_archive
from tests.services.test_sitting_kill import STAND, furnish, judge, run

BOXES, PRINTS = 20, 980
STEPS = 5  # of a frame
AT_STEPS, AT_MOMENTS = 40, 10


def main() -> None:
    """Print the figures."""
    prints = int(sys.argv[1]) if len(sys.argv) > 1 else PRINTS
    chance = random.Random("a thousand")
    with tempfile.TemporaryDirectory() as folder:
        desk = Path(folder)
        start_archive(desk / "chest").close()
        furnish(desk / "chest", desk / "photos", prints, STAND, BOXES)
        shutil.copytree(desk / "chest", desk / "whole")
        reach = 2 * (prints + BOXES) // (AT_STEPS + AT_MOMENTS) * STEPS
        kills = [{"step": chance.randint(1, reach), "after": chance.random() < 0.5} for _ in range(AT_STEPS)]
        kills += [{"seconds": chance.uniform(1.0, 8.0)} for _ in range(AT_MOMENTS)]
        chance.shuffle(kills)
        began = time.perf_counter()
        found = run({
            "chest": str(desk / "chest"), "whole": str(desk / "whole"), "source": str(desk / "photos"), "kills": kills
        })  # fmt: skip
    judge(found, prints + BOXES)
    killed = [result for result in found["results"] if result["killed"]]
    left = [len(result["left"]["frames"]) for result in killed]
    print(f"{prints + BOXES} frames, {len(killed)} kills ({time.perf_counter() - began:.0f} s)")
    print(f"frames there after each: {', '.join(map(str, left))}")
    print("no frame twice, none lost, groups and places as in one go")


if __name__ == "__main__":
    main()
