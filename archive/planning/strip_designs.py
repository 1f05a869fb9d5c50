"""Which patches a strip shows: few enough to print on one sheet, spread so that they teach what the inks do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

from archive.errors import InputError

Tints = tuple[float, ...]

MOST_INKS = 4
_THIRDS: Tints = (25, 50, 75)
_FOUR: Tints = (0, 20, 55, 100)
_FIVE: Tints = (0, 20, 40, 70, 100)
_ROW: Tints = (10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
_LIGHTEST: Tints = (2, 4, 6, 8, 10, 12, 14, 50, 100)
_CLOSING: Tints = (50, 80, 84, 88, 90, 92, 94, 96, 98, 100)
_STEPS: Tints = (0, 15, 30, 45, 60, 80, 100)  # what spread-out patches are chosen from
_DOT_GROWTH = 0.75  # tints look about this power apart: dots grow most in the middle [common practice]


@dataclass(frozen=True, slots=True)
class StripDesign:
    """A choice of patches: for how many inks it is made, and what it teaches."""

    name: str
    fewest_inks: int
    most_inks: int
    teaches: str


DESIGNS = (
    StripDesign("eleven", 2, 2, "what a pair does: paper, solids, overprint, three tints of each ink, one between"),
    StripDesign("sixteen", 2, 2, "a pair in four steps of each ink"),
    StripDesign("twenty-five", 2, 2, "a pair in five steps of each ink"),
    StripDesign("row", 1, MOST_INKS, "each ink alone from 10 to 100 %"),
    StripDesign("lightest", 1, MOST_INKS, "the lightest tint of each ink that holds: 2 to 14 %"),
    StripDesign("closing", 1, MOST_INKS, "the tint of each ink that closes to solid: 80 to 98 %"),
    StripDesign("twenty-seven", 3, 3, "three inks in 27 spread-out patches"),
    StripDesign("sixty-four", 3, MOST_INKS, "three or four inks in 64 spread-out patches"),
    StripDesign("hundred", 4, MOST_INKS, "four inks in 100 spread-out patches"),
)


def design_called(name: str, inks: int) -> StripDesign:
    """Return the design of a name, when it is made for so many inks.

    Raises
    ------
    InputError
        There is no such design, or it is for more or fewer inks.
    """
    found = next((design for design in DESIGNS if design.name == name), None)
    if found is None:
        names = ", ".join(design.name for design in DESIGNS)
        raise InputError("no design {name}", name=name, where="--design", mend=f"Use {names}, or both")
    if not found.fewest_inks <= inks <= found.most_inks:
        fitting = ", ".join(design.name for design in DESIGNS if design.fewest_inks <= inks <= design.most_inks)
        raise InputError(
            "the design {name} is not made for {inks} inks",
            name=name,
            inks=inks,
            where="--design",
            mend=f"For so many use {fitting}" if fitting else f"Name one to {MOST_INKS} inks",
        )
    return found


def design_tints(name: str, inks: int) -> tuple[Tints, ...]:
    """Return the patches of a design, each as one tint an ink in printing order; bare paper comes first.

    Parameters
    ----------
    name : str
        Of `DESIGNS`.
    inks : int

    Raises
    ------
    InputError
        See `design_called`.
    """
    design_called(name, inks)
    made: dict[str, Callable[[], list[Tints]]] = {
        "eleven": _eleven,
        "sixteen": lambda: list(product(_FOUR, repeat=2)),
        "twenty-five": lambda: list(product(_FIVE, repeat=2)),
        "row": lambda: _alone(_ROW, inks),
        "lightest": lambda: _alone(_LIGHTEST, inks),
        "closing": lambda: _alone(_CLOSING, inks),
        "twenty-seven": lambda: _spread_out(inks, 27),
        "sixty-four": lambda: _spread_out(inks, 64),
        "hundred": lambda: _spread_out(inks, 100),
    }
    return tuple(tuple(float(tint) for tint in patch) for patch in made[name]())


def _eleven() -> list[Tints]:
    solids: list[Tints] = [(0, 0), (100, 0), (0, 100), (100, 100)]
    return [*solids, *((tint, 0) for tint in _THIRDS), *((0, tint) for tint in _THIRDS), (50, 50)]


def _alone(steps: Tints, inks: int) -> list[Tints]:
    bare: Tints = (0,) * inks
    return [bare, *((*bare[:ink], tint, *bare[ink + 1 :]) for ink in range(inks) for tint in steps)]


def _spread_out(inks: int, count: int) -> list[Tints]:
    """Return every combination of solids, then each time the recipe that lies farthest from all chosen ones."""
    chosen: list[Tints] = sorted(product((0.0, 100.0), repeat=inks), key=lambda patch: (sum(patch), patch))
    left = [patch for patch in product(_STEPS, repeat=inks) if patch not in chosen]
    near = {patch: min(_apart(patch, other) for other in chosen) for patch in left}
    while len(chosen) < count:
        farthest = max(left, key=lambda patch: (round(near[patch], 9), patch))
        chosen.append(farthest)
        left.remove(farthest)
        for patch in left:
            near[patch] = min(near[patch], _apart(patch, farthest))
    return chosen


def _apart(patch: Tints, other: Tints) -> float:
    pairs = zip(patch, other, strict=True)
    grown = [float((a / 100) ** _DOT_GROWTH - (b / 100) ** _DOT_GROWTH) for a, b in pairs]
    return sum(part * part for part in grown)
