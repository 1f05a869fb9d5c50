"""The same inks on another machine, at another density or speed, from another filling: one check patch narrows it.

Everything with ink may have shifted, partly together and partly each tint by itself; bare paper has not. A check patch
tells of the common part everywhere and of the rest near its own tints.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.difference import R95
from archive.colour.overprint import (
    LEAST_NOISE,
    SAME_TINT,
    Evidence,
    OverprintModel,
    Predicted,
    check_tints,
    surface,
)
from archive.colour.overprint_metric import metric_roots
from archive.colour.spaces import Floats, check_lab
from archive.errors import ColourError

OTHER_STATE = 6.0 / R95  # dE00 an axis: run to run 3 to 6 [common practice], the upper end as a 95 % radius
_TOGETHER = 0.3  # share of the variance that all tints have in common [best of the tried, between press tables]
_REACH = 0.5  # tint shares over which the rest stays alike [the same]


@dataclass(frozen=True, slots=True)
class ShiftedModel:
    """A model with the state it was printed in changed, and the check patches read since.

    `spread` is how far a solid may have shifted, dE00 an axis; `tints` (k, m), `lab` (k, 3) and `noise` (Lab units an
    axis) are the check patches, none at first. Made by `shifted`.
    """

    model: OverprintModel
    spread: float
    tints: Floats
    lab: Floats
    noise: float

    def predict(self, tints: ArrayLike) -> Predicted:
        """Return colour, doubt and evidence in the new state; only a check patch is proven there.

        Parameters
        ----------
        tints : (n, m) array_like
            Percent of the file.

        Raises
        ------
        ColourError
            See `OverprintModel.predict`.
        """
        table = check_tints(tints, self.model.inks)
        before = self.model.predict(table)
        own = self._alike(table, table, diagonal=True)
        if not len(self.tints):
            return self._answer(table, before, np.zeros_like(before.lab), own)
        there = self.model.predict(self.tints)
        roots = metric_roots(there.lab)
        seen = np.einsum("nac,nc->na", roots, self.lab - there.lab)
        noise = self.noise**2 * np.einsum("nac,nac->n", roots, roots) / 3
        known = self._alike(self.tints, self.tints) + np.diag(there.sd**2 + noise)
        across = self._alike(table, self.tints)
        told = np.linalg.solve(known, across.T).T
        return self._answer(table, before, told @ seen, own - np.einsum("nk,nk->n", told, across))

    def _answer(self, table: Floats, before: Predicted, shift: Floats, left: Floats) -> Predicted:
        lab = before.lab + np.linalg.solve(metric_roots(before.lab), shift[:, :, None])[:, :, 0]
        sd = np.sqrt(before.sd**2 + np.maximum(left, 0.0))
        apart = np.abs(table[:, None, :] - self.tints[None]).max(axis=2).min(axis=1, initial=100.0)
        evidence: tuple[Evidence, ...] = tuple(
            "proven" if near <= SAME_TINT else "guess" if word == "guess" else "worked out"
            for near, word in zip(apart, before.evidence, strict=True)
        )
        return Predicted(surface(lab), sd, evidence)

    def _alike(self, first: Floats, second: Floats, *, diagonal: bool = False) -> Floats:
        """Return the covariances of the shift, (n, k), or its variances, (n,)."""
        one = np.sqrt(1 - np.prod(1 - first / 100, axis=1))
        if diagonal:
            return np.asarray(self.spread**2 * one * one)
        other = np.sqrt(1 - np.prod(1 - second / 100, axis=1))
        apart = ((first[:, None, :] - second[None, :, :]) ** 2).sum(axis=2) / 1e4
        near = _TOGETHER + (1 - _TOGETHER) * np.exp(-0.5 * apart / _REACH**2)
        return np.asarray(self.spread**2 * np.outer(one, other) * near)


def shifted(
    model: OverprintModel,
    *,
    spread: float = OTHER_STATE,
    check_patches: tuple[ArrayLike, ArrayLike] | None = None,
    noise: float = LEAST_NOISE,
) -> ShiftedModel:
    """Return the model for another machine, density, speed or filling.

    Parameters
    ----------
    model : OverprintModel
    spread : float
        How far a solid may have shifted, dE00 an axis.
    check_patches : tints (k, m) and lab (k, 3)
        What was read in the new state; nothing yet, unless said.
    noise : float
        Standard deviation of those readings, Lab units an axis.

    Raises
    ------
    ColourError
        The patches do not pair, or a spread or noise is negative; else see `check_tints` and `check_lab`.
    """
    if not (spread >= 0 and noise >= 0):
        raise ColourError("a shift's spread and a reading's noise must be zero or more")
    tints, lab = check_patches if check_patches is not None else (np.empty((0, model.inks)), np.empty((0, 3)))
    table, colours = check_tints(tints, model.inks), check_lab(lab)
    if colours.shape != (len(table), 3):
        raise ColourError(
            "{tints} check patches do not pair with colours of shape {lab}",
            tints=len(table),
            lab=colours.shape,
            mend="Give one colour a patch.",
        )
    return ShiftedModel(model, spread, table, colours, max(noise, LEAST_NOISE))
