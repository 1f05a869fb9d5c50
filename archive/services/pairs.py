"""What a set of inks can do: the colour of tints nobody printed, how well each is known, and what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np
from sqlalchemy.orm import Session

from archive.colour.difference import R95
from archive.colour.overprint import Predicted
from archive.colour.overprint_design import eleven, one_ink_ramp
from archive.colour.spaces import Floats
from archive.errors import InputError
from archive.exchange.text import decode_text
from archive.services.ink_models import model_of, patches_of
from archive.services.profile import read_profile
from archive.services.recipe_list import list_recipes

STEPS = (0.0, 25.0, 50.0, 75.0, 100.0)  # of the tint grid that is shown


@dataclass(frozen=True, slots=True)
class Prediction:
    """A recipe of the set: its colour, how well that print's colour is known, what a new run may do, and by what."""

    tints: tuple[float, ...]
    lab: tuple[float, float, float]
    uncertainty: float
    reprint: float
    evidence: str


@dataclass(frozen=True, slots=True)
class PairCard:
    """What is known of a pair on a paper: a grid of its tints, what was printed, and what is missing."""

    inks: tuple[str, ...]
    paper: str
    screen: str | None
    patches: int
    n: float
    grid: tuple[Prediction, ...]
    works: int
    missing: tuple[tuple[float, ...], ...]


def predict(
    session: Session, inks: Sequence[str], paper: str, tints: Sequence[Sequence[float]], *, screen: str | None = None
) -> list[Prediction]:
    """Return what recipes of an ink set give, a prediction a row of tints.

    Parameters
    ----------
    tints : rows of percent, one for each ink in printing order

    Raises
    ------
    NotFoundError
        Too little of the set is measured; an ink or the paper is not there.
    InputError
        The tints are none, or not one for each ink.
    """
    patches = patches_of(session, inks, paper, screen=screen)
    return _predictions(session, model_of(patches).predict(_table(tints, len(patches.inks))), tints)


def _table(tints: Sequence[Sequence[float]], inks: int) -> Floats:
    for row in tints:
        if len(row) != inks:
            raise InputError(
                "{given} tints for {inks} inks",
                given=len(row),
                inks=inks,
                where="tints " + ", ".join(f"{tint:g}" for tint in row),
                mend="Give one tint for each ink, in printing order: 40,60",
            )
    return np.asarray(tints, dtype=np.float64).reshape(-1, inks)


def _predictions(session: Session, found: Predicted, tints: Sequence[Sequence[float]]) -> list[Prediction]:
    profile = read_profile(session)
    known = np.hypot(found.sd, float(profile["place_sd"]))
    again = np.hypot(known, float(profile["day_sd"]))
    return [
        Prediction(
            tuple(float(tint) for tint in row),
            (float(lab[0]), float(lab[1]), float(lab[2])),
            float(R95 * known[number]),
            float(R95 * again[number]),
            found.evidence[number].replace(" ", "_"),
        )
        for number, (row, lab) in enumerate(zip(tints, found.lab, strict=True))
    ]


def read_tints(path: Path) -> list[tuple[float, ...]]:
    """Return the rows of a file of tints: a line a recipe, one tint for each ink, no header.

    Raises
    ------
    InputError
        A line holds something that is no number; all such lines are told by their number.
    """
    if not path.is_file():
        raise InputError("no such file", where=str(path), mend="Check its name")
    rows = []
    for number, line in enumerate(decode_text(path.read_bytes(), path.name).text.splitlines(), start=1):
        if not line.strip():
            continue
        try:
            rows.append(tuple(float(cell) for cell in line.replace(";", ",").split(",")))
        except ValueError as exc:
            raise InputError(
                "{line} are no tints", line=line, where=f"{path.name}, line {number}", mend="Write it as 40,60"
            ) from exc
    return rows


def show_pair(session: Session, inks: Sequence[str], paper: str, *, screen: str | None = None) -> PairCard:
    """Return what is known of one or two inks on a paper.

    Raises
    ------
    NotFoundError
        Too little of the set is measured.
    InputError
        More than two inks.
    """
    if len(inks) > 2:
        raise InputError("a pair is one or two inks", where="--inks", mend="Ask for single recipes: `pair predict`")
    patches = patches_of(session, inks, paper, screen=screen)
    model = model_of(patches)
    rows: list[tuple[float, ...]] = [(a,) for a in STEPS] if len(inks) == 1 else list(product(STEPS, STEPS))
    design = one_ink_ramp() if len(inks) == 1 else eleven()
    apart = np.abs(design[:, None, :] - patches.tints[None, :, :]).max(axis=2).min(axis=1)
    sets = [
        each for each in list_recipes(session, paper=paper) if each.inks == patches.inks and each.paper == patches.paper
    ]
    return PairCard(
        patches.inks,
        patches.paper,
        patches.screen,
        patches.swatches,
        model.n,
        tuple(_predictions(session, model.predict(np.array(rows)), rows)),
        sum(each.works for each in sets),
        tuple(tuple(float(tint) for tint in row) for row, far in zip(design, apart, strict=True) if far > 5.0),
    )
