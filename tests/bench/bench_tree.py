"""How fast the tree of swatches is, against trying all with colour-science, in one run on one machine.

    python tests/bench/bench_tree.py                              a million swatches, about two minutes
    python tests/bench/bench_tree.py --verify 2000                also compare so many answers, six minutes more
    python tests/bench/bench_tree.py --count 10000000 --bound 0   ten million; takes 6 GB

The wanted colours are a fixed mix: half near stored colours, a fifth near neutral, and a tenth each dark, of hues from
240 to 310 degrees, and outside all that is stored. It decides every figure, so each group is also told by itself.
"""

from __future__ import annotations

import argparse
import importlib
import os
import platform
import subprocess
import sys
import tempfile
import time
import warnings
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from archive.colour import tree_kernel
from archive.colour.nearest import SwatchIndex
from archive.colour.tree import SwatchTree

ROOT = Path(__file__).resolve().parents[2]
SHARES = {"near stored": 0.5, "near neutral": 0.2, "dark": 0.1, "blue": 0.1, "outside": 0.1}
BLOCK = 8192
FIRST_QUESTION = """
import sys
from archive.colour.tree import SwatchTree
print(SwatchTree.open(sys.argv[1]).nearest_keys((50, 20, 10), 10).row[0])
"""


def seconds(act, *, times=1):
    """Return the median time of an act."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        act()
        taken.append(time.perf_counter() - began)
    return float(np.median(taken))


def machine():
    """Return the processor's name, as far as the system tells it."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text().splitlines() if info.exists() else []
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return f"{names[0] if names else platform.processor()}, {os.cpu_count()} cores, {platform.system()}"


def told(name, taken):
    """Print the median, the 99 % point and the greatest of some times in seconds."""
    times = np.array(taken) * 1e6
    p50, p99 = np.percentile(times, [50, 99])
    print(f"  {name:<42} median {p50:8.0f} us   p99 {p99:8.0f} us   most {times.max():8.0f} us", flush=True)
    return float(p50) / 1e6


def each(act, colours):
    """Return how long each of some questions took, the least of three, so that other programs count less."""
    act(colours[0])
    return [min(seconds(lambda colour=colour: act(colour)) for _ in range(3)) for colour in colours]


def brute_force():
    """Return colour-science's CIEDE2000, imported without what it says of Matplotlib."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from colour.difference import delta_E_CIE2000
    return delta_E_CIE2000


def by_trying_all(formula, wanted, lab):
    delta_e = formula(wanted, lab)
    rows = np.argpartition(delta_e, 10)[:10]
    return rows[np.argsort(delta_e[rows])]


def bench_bound(helpers, checks):
    began, done, violations = time.perf_counter(), 0, 0
    rng = np.random.default_rng(99)
    stored = helpers.printed_colours(4000, rng)
    while done < checks:
        for group in SHARES:
            for wanted in helpers.queries(group, 5, stored, rng):
                boxes = helpers.boxes_about(wanted, 5000, rng)
                least = helpers.least_differences(wanted, boxes, helpers.points_in(boxes, rng))
                violations += int((tree_kernel.bounds(wanted, boxes) > least).sum())
                done += len(boxes)
    taken = time.perf_counter() - began
    print(f"bound: {violations} violations in {done:,} boxes, the least of 7 points each, {taken:.0f} s")


def bench_filters(tree, colours, pairs):
    print("with filters, a tail and dead rows (near stored)")
    rng = np.random.default_rng(5)
    classes = np.arange(tree.class_count)
    for name, allowed in {
        "ten ink sets of 400": np.isin(classes // 20, rng.choice(pairs, 10, replace=False)),
        "one ink set of 400": classes // 20 == 7,
        "one class of 8,000": classes == 151,
        "no class that is there": np.zeros(tree.class_count, bool),
    }.items():
        told(f"nearest 10, {name}", each(lambda c, a=allowed: tree.nearest(c, 10, a), colours))
    told("nearest 10 recipes, to the step's end", each(lambda c: tree.nearest_keys(c, 10), colours))
    found = tree.nearest_keys(colours[0], 10).key
    told("count of 10 recipes within 12", each(lambda c: tree.count_within(c, 12, found), colours))
    told("all within 3", each(lambda c: tree.within(c, 3), colours))
    lab = tree.parts[0].lab
    some = rng.integers(len(lab), size=20_000)
    tail = lab[some], np.arange(20_000), np.zeros(20_000, int)
    print(f"  adding a tail of 20,000: {seconds(lambda: tree.with_tail(*tail), times=3) * 1e3:.1f} ms")
    grown = tree.with_tail(*tail).without(some)
    told("nearest 10, with the tail and as many dead", each(lambda c: grown.nearest(c, 10), colours))


def bench_process(path):
    print("a whole process: start, open the file, first question")
    command = [sys.executable, "-c", FIRST_QUESTION, str(path)]

    def ask(**more):
        subprocess.run(command, cwd=ROOT, env={**os.environ, **more}, check=True, stdout=subprocess.DEVNULL)

    with tempfile.TemporaryDirectory() as empty:
        print(f"  with nothing compiled yet: {seconds(lambda: ask(NUMBA_CACHE_DIR=empty)):.2f} s")
        print(f"  with compiled code kept:   {seconds(lambda: ask(NUMBA_CACHE_DIR=empty), times=5):.2f} s")


def bench_numpy(lab, colours):
    print("the same search in plain numpy, for comparison (near stored)")
    index = SwatchIndex(lab)
    told("nearest 10", each(lambda c: index.nearest(c, 10), colours))


def bench_verify(tree, lab, mixed, formula):
    began, same, tied, other = time.perf_counter(), 0, 0, []
    for wanted in mixed:
        # In blocks that stay in the processor's cache: the same numbers, sooner.
        theirs = np.concatenate([formula(wanted, lab[at : at + BLOCK]) for at in range(0, len(lab), BLOCK)])
        rows = np.argpartition(theirs, 10)[:10]
        rows = rows[np.lexsort((rows, theirs[rows]))]
        near = tree.nearest(wanted, 10)
        off = max(np.abs(near.delta_e - theirs[rows]).max(), np.abs(theirs[near.index] - theirs[rows]).max())
        if off > 1e-9:
            other.append(f"{wanted.tolist()} is {off} off")
        elif np.array_equal(near.index, rows):
            same += 1
        else:
            tied += 1
    print(f"{len(mixed)} answers against colour-science, all differences within 1e-9 but of the last kind:")
    print(f"  {same} with equal rows, {tied} with rows that tie, {len(other)} other; {seconds_since(began)}")
    for line in other[:10]:
        print(" ", line)


def seconds_since(began):
    return f"{time.perf_counter() - began:.0f} s"


def mix(helpers, count, lab, rng):
    """Return the wanted colours of the fixed mix, group by group."""
    return {group: helpers.queries(group, round(count * share), lab, rng) for group, share in SHARES.items()}


def swatches(helpers, count, pairs):
    """Return printed colours that scatter as instruments do, eight to a recipe, in twenty classes an ink set."""
    rng = np.random.default_rng(0)
    lab = helpers.printed_colours(count, rng, pairs)
    lab += rng.normal(0, 0.3, lab.shape)
    np.clip(lab, (0, -200, -200), (115, 200, 200), out=lab)
    row = np.arange(count)
    return lab, row // 8, row // (count // pairs) * 20 + rng.integers(0, 20, count)


def bench_nearest(helpers, tree, lab, formula):
    colours = mix(helpers, 1000, lab, np.random.default_rng(1))
    mixed = np.vstack(list(colours.values()))
    print("nearest 10")
    for group in SHARES:
        told(group, each(lambda c: tree.nearest(c, 10), helpers.queries(group, 1000, lab, np.random.default_rng(2))))
    median = told("the mix", each(lambda c: tree.nearest(c, 10), mixed))
    for threads in (1, 2):
        taken = seconds(lambda n=threads: tree.nearest_batch(mixed, 10, threads=n), times=3)
        print(f"  a batch of {len(mixed)} by {threads} threads: {taken * 1e3:.0f} ms")
    taken = seconds(lambda: by_trying_all(formula, mixed[0], lab), times=5 if len(lab) < 5_000_000 else 1)
    print(f"  trying all with colour-science: {taken:.3f} s, {taken / median:,.0f} times the mix's median")
    return colours["near stored"][:200]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=1_000_000, help="a multiple of 400")
    parser.add_argument("--bound", type=int, default=8_000_000, help="how many boxes to try the bound on")
    parser.add_argument("--verify", type=int, default=0, help="how many answers to compare with colour-science")
    asked = parser.parse_args()
    sys.path.append(str(ROOT / "tests" / "colour"))
    helpers = importlib.import_module("test_tree")
    formula, pairs = brute_force(), 400

    print(f"{datetime.now(UTC):%Y-%m-%d %H:%M} UTC, {machine()}")
    print(f"Python {platform.python_version()}, numpy {np.__version__}; {asked.count:,} swatches")
    if asked.bound:
        bench_bound(helpers, asked.bound)
    lab, keys, classes = swatches(helpers, asked.count, pairs)
    SwatchTree.build(lab[:100], keys[:100], classes[:100])  # so that no compiling is timed
    began = time.perf_counter()
    tree = SwatchTree.build(lab, keys, classes)
    print(f"build: {time.perf_counter() - began:.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "index"
        print(f"save: {seconds(lambda: tree.save(path, {'generation': 1})):.2f} s", end=", ")
        print(f"{path.stat().st_size / len(lab):.1f} bytes a swatch")
        del tree
        bench_process(path)
        tree = SwatchTree.open(path)
        colours = bench_nearest(helpers, tree, lab, formula)
        bench_filters(tree, colours, pairs)
        if asked.count < 5_000_000:
            bench_numpy(lab, colours[:50])
        if asked.verify:
            mixed = np.vstack(list(mix(helpers, asked.verify, lab, np.random.default_rng(3)).values()))
            bench_verify(tree, lab, mixed, formula)
    if sys.platform != "win32":
        import resource

        print(f"most memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.1f} GB")


if __name__ == "__main__":
    main()
