"""The nearest ten of a hundred thousand palettes, against trying all with the library's solver, in one run.

    python tests/bench/bench_palettes.py                  a hundred thousand palettes of each kind, about four minutes
    python tests/bench/bench_palettes.py --count 20000    fewer

Palettes of pictures: tints and overprints of two of the demo's inks on one of its papers, as the press simulator
prints them, a third of them blended with each other as in photographs, off by what a camera is off. Palettes at random
have nothing in common, which is the hardest. All are relative to paper, of 1 to 12 colours. The yardstick is OpenCV's
solver on every palette with colours' distances known; the first answers of both are settled by linear programmes.
"""

from __future__ import annotations

import argparse
import time

import cv2
import numpy as np
from timing import machine

from archive.colour.difference import delta_e_2000
from archive.colour.palette_search import PaletteIndex
from archive.colour.spaces import lab_to_xyz, relative_to_paper, xyz_to_lab
from archive.colour.transport import transport_cost
from demo_archive.inks import INK_BODIES
from demo_archive.papers import PAPER_BODIES
from demo_archive.press import true_lab
from demo_archive.values import Layer

TINTS = (0, 20, 45, 70, 100)


def printed_sets():
    """Return the colours, (sets, 24, 3), that two inks on a paper make, relative to it."""
    inks = [name for name, body in INK_BODIES.items() if body.kind in ("transparent", "opaque")]
    sets = []
    for paper in PAPER_BODIES:
        for pair in ((one, other) for one in inks for other in inks if one != other):
            recipes = [
                [Layer(ink, tint, 1) for ink, tint in zip(pair, tints, strict=True) if tint]
                for tints in ((one, other) for one in TINTS for other in TINTS if one or other)
            ]
            labs = np.array([true_lab(recipe, paper) for recipe in recipes])
            sets.append(relative_to_paper(labs, true_lab((), paper)))
    return np.clip(sets, (0, -200, -200), (100, 200, 200))


def of_pictures(count, rng, sets):
    """Return colours, shares and counts of palettes as pictures have them."""
    labs, counts = [], rng.integers(1, 13, count)
    for number in counts:
        own = sets[rng.integers(len(sets))]
        lab = own[rng.choice(len(own), number, replace=False)]
        xyz, part = lab_to_xyz(lab), rng.random((number, 1))
        blended = xyz_to_lab(xyz * part + xyz[rng.permutation(number)] * (1 - part))
        lab = np.where(rng.random((number, 1)) < 0.3, blended, lab)
        lab = lab + rng.normal(0, 1.5, lab.shape) + rng.normal(0, 1.5, 3)
        labs.append(np.clip(lab, (0, -120, -120), (100, 120, 120)))
    return np.concatenate(labs), shares(rng, counts), counts


def at_random(count, rng):
    """Return colours, shares and counts of palettes that have nothing in common."""
    counts = rng.integers(1, 13, count)
    return rng.uniform((10, -60, -60), (95, 60, 60), (counts.sum(), 3)), shares(rng, counts), counts


def shares(rng, counts):
    found = [rng.dirichlet(np.full(count, 0.7)) + 0.003 for count in counts]
    return np.concatenate([each / each.sum() for each in found])


def brute(lab, share, palettes, k):
    """Return the k nearest by solving all: rough ones by OpenCV, then what is within reach in double."""
    labs, room, counts = palettes
    starts = np.cumsum(counts) - counts
    price = delta_e_2000(lab[:, None], labs[None])
    single, give = price.astype(np.float32), share.astype(np.float32)[:, None]
    take = room.astype(np.float32)[:, None]
    rough = np.array(
        [
            cv2.EMD(give, take[start:end], cv2.DIST_USER, cost=np.ascontiguousarray(single[:, start:end]))[0]
            for start, end in zip(starts.tolist(), (starts + counts).tolist(), strict=True)
        ]
    )
    close = np.flatnonzero(rough <= np.partition(rough, k - 1)[k - 1] + 2e-3)
    own = [slice(starts[each], starts[each] + counts[each]) for each in close]
    settled = [transport_cost(price[:, at], share, room[at]) for at in own]
    return [int(close[at]) for at in np.argsort(np.round(settled, 9), kind="stable")[:k]]


def bench(name, palettes, questions, compared):
    began = time.perf_counter()
    index = PaletteIndex.build(*palettes)
    print(f"{name}: {len(index):,} palettes, {len(index.lab):,} colours, made in {time.perf_counter() - began:.1f} s")
    labs, share, counts = questions
    starts = np.cumsum(counts) - counts
    own = [slice(start, start + count) for start, count in zip(starts, counts, strict=True)]
    index.nearest(labs[own[0]], share[own[0]], 10)  # the first one loads the solvers
    taken = []
    for at in own:
        began = time.perf_counter()
        index.nearest(labs[at], share[at], 10)
        taken.append(time.perf_counter() - began)
    p50, p95 = np.percentile(taken, [50, 95]) * 1e3
    print(f"  {len(taken)} questions: median {p50:.0f} ms, 95 % {p95:.0f} ms, worst {max(taken) * 1e3:.0f} ms")
    equal, spent = 0, []
    for at in own[:compared]:
        began = time.perf_counter()
        expected = brute(labs[at], share[at], palettes, 10)
        spent.append(time.perf_counter() - began)
        equal += [near.index for near in index.nearest(labs[at], share[at], 10)] == expected
    ratio = np.median(spent) / np.median(taken[:compared])
    print(f"  equal to trying all: {equal} of {compared}; that takes {np.median(spent):.2f} s, {ratio:.0f} x")


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--questions", type=int, default=200)
    parser.add_argument("--compared", type=int, default=30)
    asked = parser.parse_args()
    print(machine())
    rng, sets = np.random.default_rng(4), printed_sets()
    makers = {"pictures": lambda count: of_pictures(count, rng, sets), "at random": lambda count: at_random(count, rng)}
    for name, make in makers.items():
        bench(name, make(asked.count), make(asked.questions), asked.compared)


if __name__ == "__main__":
    main()
