"""Published measurements of presses, for judging the overprint model: Debian's icc-profiles-free, *.ti3.

Five coated presses (the prior was chosen on them), one supercalendered, two uncoated, one newsprint (judged only).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from archive.colour.difference import delta_e_2000
from archive.colour.overprint import ink_set_data
from archive.colour.overprint_design import eleven, sixteen, twenty_five
from archive.colour.overprint_fit import fit_overprint

FOLDER = Path("/usr/share/color/icc")
COATED = ("FOGRA39L", "FOGRA28L", "TR003", "TR005", "TR006")
PRESSES = (*COATED, "FOGRA40L", "FOGRA29L", "FOGRA30L", "TR002")
DESIGNS: dict[str, Callable[[], np.ndarray]] = {"eleven": eleven, "sixteen": sixteen, "twenty-five": twenty_five}
PAIRS = {"CM": (0, 1), "MY": (1, 2), "CY": (0, 2), "MK": (1, 3)}


def _between(text: str, first: str, last: str) -> str:
    return text.split(first + "\n", 1)[1].split("\n" + last, 1)[0]


@lru_cache(maxsize=16)
def press(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Return tints (n, 4), percent of cyan, magenta, yellow and black, and Lab (n, 3)."""
    path = next(FOLDER.glob(f"**/{name}.ti3"))
    text = path.read_text(encoding="latin-1").replace("\r", "")
    names = _between(text, "BEGIN_DATA_FORMAT", "END_DATA_FORMAT").split()
    rows = [line.split() for line in _between(text, "BEGIN_DATA", "END_DATA").strip().splitlines()]
    columns = [[float(row[names.index(each)]) for row in rows] for each in names if each.startswith(("CMYK_", "LAB_"))]
    assert [each for each in names if each.startswith(("CMYK_", "LAB_"))] == [
        *("CMYK_C", "CMYK_M", "CMYK_Y", "CMYK_K"),
        *("LAB_L", "LAB_A", "LAB_B"),
    ]
    table = np.array(columns).T
    return table[:, :4], table[:, 4:]


@lru_cache(maxsize=128)
def nodes(name: str, inks: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Return the nodes that hold these inks alone, tints (n, m) and Lab; doubles averaged."""
    tints, lab = press(name)
    others = [ink for ink in range(4) if ink not in inks]
    alone = (tints[:, others] == 0).all(axis=1)
    every, place = np.unique(tints[alone][:, list(inks)], axis=0, return_inverse=True)
    return every, np.array([lab[alone][place == row].mean(axis=0) for row in range(len(every))])


def nearest_nodes(tints: np.ndarray, design: np.ndarray) -> list[int]:
    """Return the rows of the nodes nearest to a design's patches, each once."""
    return sorted({int(np.argmin(np.abs(tints - patch).sum(axis=1))) for patch in design})


@dataclass(frozen=True, slots=True)
class Judged:
    """One press and set of inks, fitted on some nodes: the true misses of all others, and the radius claimed."""

    press: str
    inks: str
    noise: float
    misses: np.ndarray
    radius: np.ndarray

    @property
    def covered(self) -> np.ndarray:
        return self.misses <= self.radius


def judge(name: str, inks: tuple[int, ...], rows: list[int], noise: float, *, label: str = "", seed: int = 0) -> Judged:
    """Return how a model fitted on some nodes, read with noise, does on the others, which are true."""
    tints, lab = nodes(name, inks)
    rest = np.setdiff1d(np.arange(len(tints)), rows)
    random = np.random.default_rng([seed, PRESSES.index(name), *inks, len(rows)])
    read = lab[rows] + noise * random.normal(size=(len(rows), 3))
    said = fit_overprint(ink_set_data(tints[rows], read, noise)).predict(tints[rest])
    return Judged(name, label, noise, delta_e_2000(said.lab, lab[rest]), said.radius)


def judge_pair(name: str, pair: str, design: np.ndarray, noise: float, *, seed: int = 0) -> Judged:
    """Return how a strip's design does on a pair of a press, at the nearest nodes it holds."""
    tints, _ = nodes(name, PAIRS[pair])
    return judge(name, PAIRS[pair], nearest_nodes(tints, design), noise, label=pair, seed=seed)


def mean_miss(judged: list[Judged]) -> float:
    """Return the mean over presses and pairs of each one's mean miss."""
    return float(np.mean([each.misses.mean() for each in judged]))


def percentile(judged: list[Judged], share: float) -> float:
    return float(np.percentile(np.concatenate([each.misses for each in judged]), share))


def coverage(judged: list[Judged]) -> float:
    """Return the share of all held-out patches that lie within their radius."""
    return float(np.concatenate([each.covered for each in judged]).mean())


def width(judged: list[Judged]) -> float:
    """Return the mean radius over the mean miss."""
    radius = np.concatenate([each.radius for each in judged]).mean()
    return float(radius / np.concatenate([each.misses for each in judged]).mean())
