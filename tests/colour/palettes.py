"""Palettes for the tests of their search: of prints with few inks, and at random; and a yardstick."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np

Floats = np.ndarray


@dataclass(frozen=True)
class Palettes:
    """Colours (m, 3), shares (m,) and counts (n,) of n palettes, one after the other."""

    lab: Floats
    share: Floats
    count: Floats

    def one(self, number: int) -> tuple[Floats, Floats]:
        """Return a palette's colours and shares."""
        start = int(self.count[:number].sum())
        own = slice(start, start + int(self.count[number]))
        return self.lab[own], self.share[own]


def _shares(rng: np.random.Generator, counts: Floats) -> Floats:
    found = [rng.dirichlet(np.full(count, 0.7)) + 0.003 for count in counts]
    return np.concatenate([share / share.sum() for share in found])


def printed(count: int, rng: np.random.Generator) -> Palettes:
    """Return palettes of prints: tints of two of eight inks and what they make together, seen by a camera."""
    solids = rng.uniform((25, -60, -60), (85, 60, 70), (8, 3))
    counts = rng.integers(1, 13, count)
    labs = []
    for number in counts:
        one, other = solids[rng.choice(8, 2, replace=False)]
        tint = rng.choice([0.0, 0.25, 0.5, 0.75, 1.0], (number, 2))
        paper = np.array([100.0, 0, 0])
        # densities add, roughly: an overprint is darker than both
        lab = paper + tint[:, :1] * (one - paper) + tint[:, 1:] * (other - paper)
        lab[:, 0] = np.clip(lab[:, 0], 12, 100)
        labs.append(np.clip(lab + rng.normal(0, 1.5, lab.shape), (0, -100, -100), (100, 100, 100)))
    return Palettes(np.concatenate(labs), _shares(rng, counts), counts)


def at_random(count: int, rng: np.random.Generator) -> Palettes:
    """Return palettes that have nothing in common, which is the hardest."""
    counts = rng.integers(1, 13, count)
    return Palettes(rng.uniform((0, -90, -90), (100, 90, 90), (counts.sum(), 3)), _shares(rng, counts), counts)


def ciede2000(one: Floats, other: Floats) -> Floats:
    """Return colour-science's CIEDE2000."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from colour.difference import delta_E_CIE2000
    return np.asarray(delta_E_CIE2000(one, other))


def solved(wanted: tuple[Floats, Floats], palettes: Palettes, which: Floats) -> Floats:
    """Return the earth mover's distances as the linear programmes that define them (Rubner et al. 2000)."""
    from scipy.optimize import linprog
    from scipy.sparse import block_diag, csr_matrix

    found: list[float] = []
    for some in np.array_split(which, -(-len(which) // 16)):
        costs, blocks, amounts = [], [], []
        for number in some:
            lab, share = palettes.one(int(number))
            m, n = len(wanted[1]), len(share)
            give, take = np.kron(np.eye(m), np.ones(n)), np.kron(np.ones(m), np.eye(n))
            costs.append(ciede2000(wanted[0][:, None], lab[None]).ravel())
            blocks.append(csr_matrix(np.concatenate([give, take[:-1]])))
            amounts.append(np.concatenate([wanted[1], share[:-1]]))
        answer = linprog(np.concatenate(costs), A_eq=block_diag(blocks), b_eq=np.concatenate(amounts)).x
        ends = np.cumsum([len(cost) for cost in costs])[:-1]
        found += [float(cost @ part) for cost, part in zip(costs, np.split(answer, ends), strict=True)]
    return np.array(found)
