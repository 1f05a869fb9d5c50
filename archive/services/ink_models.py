"""What a set of inks gives on a paper: its measured patches gathered from the archive, and the model fitted to them.

An ink set is ordered, first printed first; its model is fitted to the patches of one paper and one screen. Patches of
several machines, days or fillings stand side by side: what they differ by is in the model's doubt.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Ink, Layer, Paper, Recipe, Swatch
from archive.colour.difference import sd_per_axis
from archive.colour.overprint import MOST_INKS, OverprintModel, ink_set_data
from archive.colour.overprint_fit import fit_overprint
from archive.colour.spaces import Floats
from archive.errors import ColourError, InputError, NotFoundError
from archive.services.lookup import find_record
from archive.services.profile import read_profile

_MEASURED = ("instrument", "camera")


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class InkSetPatches:
    """The measured patches of an ink set on a paper, one a recipe: tints (n, m), mean Lab (n, 3), its noise (n,).

    `swatches` is how many swatches they are the means of.
    """

    inks: tuple[str, ...]
    paper: str
    screen: str | None
    tints: Floats
    lab: Floats
    noise: Floats
    swatches: int


def patches_of(session: Session, inks: Sequence[str], paper: str, *, screen: str | None = None) -> InkSetPatches:
    """Return the measured patches of an ink set: bare paper, each ink alone, and any of them over each other.

    Parameters
    ----------
    inks : sequence of str
        One to four, in printing order.
    screen : "FM" or "AM", optional
        Else the one most of the patches have.

    Raises
    ------
    NotFoundError, ConflictError
        An ink or the paper is not there, or several could be meant.
    InputError
        An ink is named twice, there are too many, or one of them has no colour that can be mixed.
    """
    rows = [find_record(session, "ink", name) for name in inks]
    _refuse_inks(rows)
    paper_row: Paper = find_record(session, "paper", paper)
    place = {row.id: number for number, row in enumerate(rows)}
    recipes = _recipes(session, paper_row, place)
    chosen = screen or _usual_screen(recipes)
    fitting = {recipe: tints for recipe, (tints, found) in recipes.items() if not any(tints) or found in (chosen, None)}
    query = (
        select(Swatch)
        .where(
            Swatch.recipe_id.in_(fitting),
            Swatch.binned_at.is_(None),
            Swatch.lab_l.is_not(None),
            Swatch.method.in_(_MEASURED),
            Swatch.out_of_range.is_(False),
        )
        .order_by(Swatch.id)
    )
    noise = _noise(session)
    by_tints: dict[tuple[float, ...], list[Swatch]] = defaultdict(list)
    for swatch in session.scalars(query):
        by_tints[fitting[swatch.recipe_id or 0]].append(swatch)
    means = [_mean(swatches, noise) for swatches in by_tints.values()]
    return InkSetPatches(
        tuple(row.name for row in rows),
        paper_row.name,
        chosen,
        np.array(list(by_tints), dtype=np.float64).reshape(-1, len(rows)),
        np.array([lab for lab, _ in means], dtype=np.float64).reshape(-1, 3),
        np.array([off for _, off in means], dtype=np.float64),
        sum(len(swatches) for swatches in by_tints.values()),
    )


def _mean(swatches: Sequence[Swatch], noise: Callable[[Swatch], float]) -> tuple[Floats, float]:
    """Return the mean colour of swatches of one recipe, and how far off the mean may be, an axis.

    Runs differ from day to day; what they differ by is divided among them as the readings' own noise is.
    """
    labs = np.array([(swatch.lab_l, swatch.lab_a, swatch.lab_b) for swatch in swatches], dtype=np.float64)
    read = float(np.mean([noise(swatch) ** 2 for swatch in swatches]))
    apart = float(labs.var(axis=0, ddof=1).mean()) if len(labs) > 1 else 0.0
    return labs.mean(axis=0), float(np.sqrt(max(read, apart) / len(labs)))


def _refuse_inks(rows: Sequence[Ink]) -> None:
    if not 1 <= len(rows) <= MOST_INKS or len({row.id for row in rows}) != len(rows):
        raise InputError("an ink set is one to four different inks", where="--inks", mend="Name each once, in order")
    for row in rows:
        if row.kind in ("metallic", "fluorescent"):
            raise InputError(
                "{name} is {kind}: it is found by name and never mixed",
                name=row.name,
                kind=row.kind,
                where="--inks",
                mend="Ask for prints that hold it: `inkchest find --ink`",
            )


def _recipes(session: Session, paper: Paper, place: dict[int, int]) -> dict[int, tuple[tuple[float, ...], str | None]]:
    """Return tints and screen of every exact recipe on a paper whose inks are of the set and in its order."""
    heads = dict(
        session.execute(
            select(Recipe.id, Recipe.screen).where(
                Recipe.paper_id == paper.id, Recipe.key.is_not(None), Recipe.binned_at.is_(None)
            )
        ).all()
    )
    layers: dict[int, list[tuple[int | None, float | None]]] = defaultdict(list)
    query = select(Layer.recipe_id, Layer.ink_id, Layer.tint_low).order_by(Layer.recipe_id, Layer.position)
    for recipe_id, ink_id, tint in session.execute(query.where(Layer.recipe_id.in_(heads))):
        layers[recipe_id].append((ink_id, tint))
    found = {}
    for recipe_id, screen in heads.items():
        own = layers[recipe_id]
        order = [place.get(ink_id or 0, -1) for ink_id, _ in own]
        if -1 in order or order != sorted(set(order)):
            continue
        tints = [0.0] * len(place)
        for number, (_, tint) in zip(order, own, strict=True):
            tints[number] = float(tint or 0.0)
        found[recipe_id] = (tuple(tints), screen)
    return found


def _usual_screen(recipes: dict[int, tuple[tuple[float, ...], str | None]]) -> str | None:
    counts = Counter(screen for tints, screen in recipes.values() if any(tints) and screen is not None)
    return min(counts, key=lambda screen: (-counts[screen], screen)) if counts else None


def _noise(session: Session) -> Callable[[Swatch], float]:
    profile = read_profile(session)
    instrument, camera = float(profile["reading_instrument"]), float(profile["reading_picture"])

    def of(swatch: Swatch) -> float:
        if swatch.method == "camera":
            reading = sd_per_axis(swatch.claim) if swatch.claim is not None else camera
        else:
            reading = instrument
        return float(np.hypot(reading, sd_per_axis(swatch.spread or 0.0)) / max(swatch.n or 1, 1) ** 0.5)

    return of


def model_of(patches: InkSetPatches) -> OverprintModel:
    """Return the model fitted to an ink set's patches.

    Raises
    ------
    NotFoundError
        Bare paper or an ink's solid was never measured on that paper: with what to print.
    """
    try:
        return fit_overprint(ink_set_data(patches.tints, patches.lab, patches.noise))
    except ColourError as error:
        raise NotFoundError(
            "too little is measured of {inks} on {paper}: {why}",
            inks=" and ".join(patches.inks),
            paper=patches.paper,
            why=error.what,
            mend="Print and measure one strip of eleven patches: `inkchest strip make`",
        ) from error
