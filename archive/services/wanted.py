"""From what a person asks for to a colour on paper."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold
from archive.catalogue.models import Ink, Swatch
from archive.colour.names import find_word, nearest_words
from archive.colour.spaces import on_paper, relative_to_paper
from archive.colour.wanted import apply_steps, parse_wanted
from archive.errors import InputError, NotFoundError
from archive.services.evidence import Evidence, Floats


@dataclass(frozen=True, slots=True)
class Wanted:
    """A wanted colour: absolute Lab, and whether (and on which paper) it was read relative to paper."""

    lab: Floats
    given: str
    relative_to_paper: bool
    paper: str | None
    white: tuple[float, float, float]

    def relative(self, lab: Any) -> NDArray[np.float64]:
        """Return a colour as the eye sees it beside the bare paper, for words."""
        relative = relative_to_paper(lab, self.white)
        relative[..., 0] = np.clip(relative[..., 0], 0.0, 100.0)
        return relative


def read_wanted(session: Session, text: str, evidence: Evidence, *, absolute: bool = False) -> Wanted:
    """Return the wanted colour that the text gives.

    Raises
    ------
    InputError, NotFoundError
        The text is no colour, or no swatch, name or word is called that.
    """
    asked = parse_wanted(text)
    is_relative = asked.is_from_screen and not absolute
    if asked.kind == "swatch":
        lab: Any = _swatch_lab(session, asked.reference)
    elif asked.kind == "word":
        lab, is_relative = _word_lab(session, asked.reference, evidence, absolute=absolute)
    else:
        lab = np.array(asked.lab, dtype=np.float64)
    if is_relative:  # the steps are taken as the eye sees them, on the paper
        lab = on_paper(apply_steps(lab, asked.steps), evidence.screen_white)
    else:
        lab = apply_steps(lab, asked.steps)
    return Wanted(lab, text, is_relative, evidence.paper_of_screen, evidence.screen_white)


def _swatch_lab(session: Session, uid: str) -> Any:
    swatch = session.scalars(select(Swatch).where(Swatch.uid == uid, Swatch.binned_at.is_(None))).first()
    if swatch is None or swatch.lab_l is None:
        raise NotFoundError("no measured swatch {uid}", uid=uid, mend="`inkchest swatch list` shows their uids")
    return np.array([swatch.lab_l, swatch.lab_a, swatch.lab_b], dtype=np.float64)


def _word_lab(session: Session, word: str, evidence: Evidence, *, absolute: bool) -> tuple[Any, bool]:
    """Return Lab for a name the workshop gave, an ink's solid, or a colour word; and whether it is relative."""
    named = session.scalars(
        select(Swatch).where(Swatch.name_key == fold(word), Swatch.binned_at.is_(None), Swatch.lab_l.is_not(None))
    ).first()
    if named is not None:
        return np.array([named.lab_l, named.lab_a, named.lab_b], dtype=np.float64), False
    ink = session.scalars(select(Ink).where(Ink.name_key == fold(word), Ink.binned_at.is_(None))).first()
    solid = None if ink is None else _solid_of(ink, evidence)
    if solid is not None:
        return solid, False
    found = find_word(word)
    if found is None and ink is not None:
        raise _no_solid(ink)
    if found is None:
        near = nearest_words(word)
        raise InputError(
            "{word} is no colour word and no name given here",
            word=repr(word),
            mend=f"Did you mean {', '.join(near)}?" if near else "Give a plainer word, or '#rrggbb'",
        )
    return np.array(found, dtype=np.float64), not absolute


def _no_solid(ink: Ink) -> NotFoundError:
    if ink.kind == "metallic":
        mend = f"See the prints that have it: inkchest find --ink {ink.name!r}"
        return NotFoundError("{ink} is metallic: it is found by name only", ink=ink.name, mend=mend)
    mend = f"Say how it looks: inkchest ink edit {ink.name!r} --looks '#rrggbb'"
    return NotFoundError("the solid of {ink} was neither measured nor told", ink=ink.name, mend=mend)


def _solid_of(ink: Ink, evidence: Evidence) -> Any:
    """Return an ink's solid: measured on the asked paper, on any, or by eye."""
    best: tuple[tuple[int, bool], int] | None = None
    for row in range(len(evidence.uids)):
        recipe = evidence.recipes[evidence.recipe[row]]
        if recipe.inks != (ink.name,) or recipe.layers[0].tint_low != 100:
            continue
        rank = (int(evidence.kind[row]), recipe.paper != evidence.paper_of_screen)
        if best is None or rank < best[0]:
            best = (rank, row)
    return None if best is None else evidence.lab[best[1]].copy()
