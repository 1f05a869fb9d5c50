"""The same inks on another paper: what a model fitted on one says of the other.

A transparent ink is a filter: its XYZ goes with the paper's. An opaque one hides the paper and stays as it is.

Measured on press tables by the ratio of paper whites: within a class of papers (white to yellowish uncoated) 95 % of
two-ink patches come within 3 dE00, across classes (coated to uncoated) within 11.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.difference import R95
from archive.colour.overprint import Evidence, OverprintModel, Predicted, surface
from archive.colour.overprint_mix import to_xyz
from archive.colour.spaces import BRIGHTEST, Floats, check_lab, lab_to_xyz, xyz_to_lab
from archive.errors import ColourError

WITHIN_CLASS = 3.0  # dE00, the 95 % radius a paper of the same class adds
ACROSS_CLASSES = 11.0  # dE00, the same for a paper of another class


def paper_doubt(*, same_class: bool) -> float:
    """Return the standard deviation that another paper adds, dE00 an axis."""
    return (WITHIN_CLASS if same_class else ACROSS_CLASSES) / R95


def on_other_paper(lab: ArrayLike, paper_from: ArrayLike, paper_to: ArrayLike) -> Floats:
    """Return the colours that transparent inks give on another paper.

    Parameters
    ----------
    lab : (..., 3) array_like
        As they look on the first paper; absolute, D50.
    paper_from, paper_to : (3,) array_like
        The bare papers, absolute, D50.

    Returns
    -------
    (..., 3) ndarray of float64, absolute, D50

    Raises
    ------
    ColourError
        See `check_lab`; the first paper is black.
    """
    return xyz_to_lab(lab_to_xyz(lab) * _ratio(check_lab(paper_from), check_lab(paper_to)))


def predict_on_paper(
    model: OverprintModel,
    tints: ArrayLike,
    paper_to: ArrayLike,
    *,
    same_class: bool,
    opaque: Sequence[bool] | None = None,
) -> Predicted:
    """Return what recipes give on another paper: nothing is proven there, and across classes all is a guess.

    Parameters
    ----------
    model : OverprintModel
        Fitted on its own paper.
    tints : (n, m) array_like
        Percent of the file.
    paper_to : (3,) array_like
        The other paper, absolute, D50.
    same_class : bool
        Whether both papers are of one class: both uncoated, both coated.
    opaque : m bools
        Which inks hide the paper; none, unless said.

    Raises
    ------
    ColourError
        See `OverprintModel.predict`; not one word of opacity an ink.
    """
    hides = tuple(opaque) if opaque is not None else (False,) * model.inks
    if len(hides) != model.inks:
        raise ColourError(
            "{given} words on opacity for {inks} inks",
            given=len(hides),
            inks=model.inks,
            mend="Say of each ink whether it hides the paper.",
        )
    here = model.predict(tints)
    # On a much lighter paper a filter may pass more than a sheet can show: such colours end at the scale's end.
    xyz = np.clip(lab_to_xyz(here.lab) * _moved(model, tints, check_lab(paper_to), hides), 0.0, BRIGHTEST)
    lab = surface(xyz_to_lab(xyz))
    sd = np.hypot(here.sd, paper_doubt(same_class=same_class))
    evidence: tuple[Evidence, ...] = tuple(
        "worked out" if same_class and word != "guess" else "guess" for word in here.evidence
    )
    return Predicted(lab, sd, evidence)


def _moved(model: OverprintModel, tints: ArrayLike, paper_to: Floats, hides: tuple[bool, ...]) -> Floats:
    """Return by how much each recipe's XYZ changes, (n, 3): the mixture with its bare primaries moved, over itself."""
    mixture = model.mixture
    ratio = _ratio(model.data.lab[(model.data.tints == 0).all(axis=1)].mean(axis=0), paper_to)
    transparent = [
        not any(hides[ink] and place >> ink & 1 for ink in range(model.inks)) for place in range(len(mixture.bent))
    ]
    moved = np.where(np.array(transparent)[:, None], mixture.bent * ratio**mixture.power, mixture.bent)
    coverage = model.coverage(tints)
    after = replace(mixture, bent=moved).lab_at(coverage)
    return to_xyz(after) / to_xyz(mixture.lab_at(coverage))


def _ratio(paper_from: Floats, paper_to: Floats) -> Floats:
    white = lab_to_xyz(paper_from)
    if white.min() <= 0:
        raise ColourError("a black paper tells nothing of another", mend="Read the bare paper again.")
    return lab_to_xyz(paper_to) / white
