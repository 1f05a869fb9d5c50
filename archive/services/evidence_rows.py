"""What can answer a question for a colour, as values: rows of arrays, and the recipes that they belong to."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.catalogue.identity import first_day

KINDS = ("proven", "worked_out", "seen", "told", "guess")
PROVEN, SEEN, TOLD = 0, 2, 3
NEVER = 2**31 - 1
FEW = 5000  # ids in one query
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
InkSet = tuple[tuple[str, int | None], ...]


@dataclass(frozen=True, slots=True)
class LayerFacts:
    """One layer of a recipe by name; what was told may leave the tint open, or the ink in doubt."""

    ink: str
    kind: str  # the ink's kind; "unknown" for an ink that no house ink is called
    tint_low: float | None
    tint_high: float | None
    print_pass: int | None
    is_sure: bool


@dataclass(frozen=True, slots=True)
class RecipeFacts:
    """A way of making colours: paper, layers, and for what was told the variant that it belongs to."""

    recipe_id: int | None
    paper: str | None
    screen: str | None
    layers: tuple[LayerFacts, ...]
    order_known: bool = True
    words: str = ""
    variant_id: int | None = None

    @property
    def inks(self) -> tuple[str, ...]:
        """Return the inks in printing order."""
        return tuple(layer.ink for layer in self.layers)

    @property
    def ink_set(self) -> InkSet:
        """Return inks and passes in printing order: what a pass plan depends on."""
        return tuple((layer.ink, layer.print_pass) for layer in self.layers)


@dataclass(frozen=True, slots=True)
class Source:
    """Where a colour comes from: a swatch, a picture's palette, or an ink's looks."""

    swatch_id: int | None = None
    picture_id: int | None = None
    ink_id: int | None = None


@dataclass(frozen=True)
class Evidence:
    """Colours as rows of arrays of the same length, and the recipes that they belong to.

    Attributes
    ----------
    lab : (n, 3) ndarray of float64, absolute, D50
    recipe : (n,) ndarray of int64
        Row in `recipes`.
    kind : (n,) ndarray of int64
        Row in `KINDS`.
    known_sd, reprint_sd : (n,) ndarray of float64
        Standard deviations an axis: how well the colour of the print is known, and what a new run may do.
    day : (n,) ndarray of int64
        When it was measured or taken, as a day number; 0 when unknown.
    origins, machines : tuple of str or None
        Whose print it is when not ours, and the machine it was printed on when that is known; empty: nobody asks.
    other_machine_sd : float
        What another machine than that adds to `reprint_sd`.
    """

    lab: Floats
    recipe: Ints
    kind: Ints
    known_sd: Floats
    reprint_sd: Floats
    aged: NDArray[np.bool_]
    day: Ints
    uids: tuple[str, ...]
    sources: tuple[Source, ...]
    recipes: tuple[RecipeFacts, ...]
    whites: dict[str, tuple[float, float, float]]
    left_out: tuple[tuple[str, str], ...] = ()
    paper_of_screen: str | None = None
    screen_white: tuple[float, float, float] = (92.0, 0.0, 5.0)
    screen_white_is_measured: bool = False
    ages_on: Ints = field(default_factory=lambda: np.empty(0, dtype=np.int64))  # day numbers; `NEVER` when it does not
    origins: tuple[str | None, ...] = ()
    machines: tuple[str | None, ...] = ()
    other_machine_sd: float = 0.0


@dataclass
class Rows:
    """Rows of evidence while they are gathered."""

    lab: list[Any] = field(default_factory=list)
    recipe: list[int] = field(default_factory=list)
    kind: list[int] = field(default_factory=list)
    known_sd: list[float] = field(default_factory=list)
    reprint_sd: list[float] = field(default_factory=list)
    aged: list[bool] = field(default_factory=list)
    day: list[int] = field(default_factory=list)
    uid: list[str] = field(default_factory=list)
    source: list[Source] = field(default_factory=list)
    ages_on: list[int] = field(default_factory=list)
    origin: list[str | None] = field(default_factory=list)
    machine: list[str | None] = field(default_factory=list)


def batched(ids: Sequence[int]) -> Iterator[Sequence[int]]:
    """Yield ids in pieces that a query takes."""
    for at in range(0, len(ids), FEW):
        yield ids[at : at + FEW]


@lru_cache(maxsize=1 << 16)  # a million swatches were measured on some hundreds of days
def day_number(text: str) -> int:
    """Return the number of a day, or of the first day of a month or year."""
    return first_day(text).toordinal()
