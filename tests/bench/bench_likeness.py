"""How surely the same copy, a variant and another design are told apart among rendered pairs.

Run by hand: python -m tests.bench.bench_likeness [pairs] [seed]
"""

from __future__ import annotations

import sys
import time
from collections import Counter

from archive.imaging.likeness import compare_sheets
from archive.imaging.sheet_look import look_at
from tests.imaging.sheets import lab_of, pairs

KINDS = ("same copy", "variant", "other design")


def main(count: int = 300, seed: int = 2026) -> None:
    """Print precision and recall of each kind, and the processor time of a look and of a comparison."""
    counts: Counter[tuple[str, str]] = Counter()
    looking = comparing = 0.0
    for pair in pairs(count, seed):
        began = time.process_time()
        one, other = look_at(lab_of(pair.one)), look_at(lab_of(pair.other))
        looked = time.process_time()
        counts[pair.truth, compare_sheets(one, other).kind] += 1
        looking, comparing = looking + looked - began, comparing + time.process_time() - looked
    for kind in KINDS:
        right = counts[kind, kind]
        found = sum(number for (_, told), number in counts.items() if told == kind)
        there = sum(number for (truth, _), number in counts.items() if truth == kind)
        print(f"{kind:14} precision {right / max(found, 1):7.2%}  recall {right / max(there, 1):7.2%}  of {there}")
    print(
        f"a look {looking / count / 2 * 1000:.1f} ms, a comparison {comparing / count * 1000:.1f} ms (processor time)"
    )


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:]))
