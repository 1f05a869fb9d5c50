"""How long `inkchest --help` takes, the whole process. Run by hand: python tests/bench/bench_help.py"""

from __future__ import annotations

import subprocess
import sys
from functools import partial

from timing import machine, medians, row

run = partial(subprocess.run, check=True, stdout=subprocess.DEVNULL)


def main() -> None:
    """Print the figures."""
    start = "from archive.cli import main; main(prog_name='inkchest')"
    print(machine())
    nothing, shown, group = medians(
        lambda: run([sys.executable, "-c", "pass"]),
        lambda: run([sys.executable, "-c", start, "--help"]),
        lambda: run([sys.executable, "-c", start, "match", "colour", "--help"]),
    )
    row("inkchest --help", shown, 0.25, of=nothing, against="python -c pass")
    row("inkchest match colour --help", group, of=nothing, against="python -c pass")


if __name__ == "__main__":
    main()
