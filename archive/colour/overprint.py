"""What a set of inks gives at tints nobody has printed: one to four inks over one paper, in one order and screen.

The model is fitted to the patches of a strip (`overprint_fit`) and gives for any tints a colour, how well it is
known, and whether it was printed, is worked out between printed ones, or rests on an overprint never printed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.difference import R95
from archive.colour.overprint_curves import CurveBasis
from archive.colour.overprint_gaussian import Leeway, Linear, Solved, likely_parameters, linearise, weigh_patches
from archive.colour.overprint_metric import metric_roots
from archive.colour.overprint_mix import Mixer, Mixture
from archive.colour.spaces import LIGHTEST, WIDEST, Floats, check_lab
from archive.errors import ColourError

Evidence = Literal["proven", "worked out", "guess"]

MOST_INKS = 4
LEAST_NOISE = 0.05  # Lab units an axis: no reading is better [own choice]
SAME_TINT = 0.05  # percent: nearer tints are the same patch
_BLOCK = 2048  # recipes at a time: the working arrays then stay small
_VERSION = 1  # of the plain form; the curves' prior belongs to it


@dataclass(frozen=True, slots=True)
class InkSetData:
    """The patches of a set of inks on one paper.

    `tints` (n, m), percent of the file, an ink a column in printing order; `lab` (n, 3); `noise` (n,) standard
    deviation of each reading, Lab units an axis. Made by `ink_set_data`.
    """

    tints: Floats
    lab: Floats
    noise: Floats

    @property
    def inks(self) -> int:
        """How many inks."""
        return int(self.tints.shape[1])


def ink_set_data(tints: ArrayLike, lab: ArrayLike, noise: ArrayLike = LEAST_NOISE) -> InkSetData:
    """Return the patches of a set of inks, checked.

    Parameters
    ----------
    tints : (n, m) array_like
        Percent of the file, 0-100, one to four inks; bare paper and each ink's solid among them. A patch read
        twice may be given twice.
    lab : (n, 3) array_like
        Absolute, D50.
    noise : float or (n,) array_like
        Standard deviation of a reading, Lab units an axis; at least 0.05 is believed.

    Raises
    ------
    ColourError
        Shapes do not pair, tints leave 0-100, or the paper or a solid is missing; else see `check_lab`.
    """
    table, colours = check_tints(tints), check_lab(lab)
    if colours.shape != (len(table), 3):
        raise ColourError(
            "{tints} recipes do not pair with colours of shape {lab}",
            tints=len(table),
            lab=colours.shape,
            mend="Give one colour a recipe.",
        )
    spread = np.broadcast_to(np.asarray(noise, dtype=np.float64), len(table))
    if not (np.isfinite(spread).all() and (spread >= 0).all()):
        raise ColourError("the noise of a reading must be zero or more", mend="Give 0.5 if it is unknown.")
    data = InkSetData(table, colours, np.maximum(spread, LEAST_NOISE))
    seen = seen_primaries(data)
    if not seen[0]:
        raise ColourError("bare paper is missing among the patches", mend="Read a spot without ink beside them.")
    for ink in range(data.inks):
        if not seen[1 << ink]:
            raise ColourError(
                "the solid of ink {number} is missing among the patches",
                number=ink + 1,
                mend="Print and read its solid, alone on the paper.",
            )
    return data


def check_tints(tints: ArrayLike, inks: int | None = None) -> Floats:
    """Return tints as float64 when they are percent, one row a recipe.

    Parameters
    ----------
    tints : (n, m) array_like
        0-100.
    inks : int
        How many columns are wanted; one to four, unless said.

    Raises
    ------
    ColourError
        They are no table, of too few or too many inks, missing, or beyond 0-100.
    """
    try:
        table = np.asarray(tints, dtype=np.float64)
    except (TypeError, ValueError) as exc:
        raise ColourError("tints must be numbers", mend="Give one number an ink.") from exc
    wanted = (inks,) if inks is not None else tuple(range(1, MOST_INKS + 1))
    if table.ndim != 2 or table.shape[1] not in wanted:
        raise ColourError(
            "tints of shape {shape} are not one row a recipe of {inks} inks",
            shape=table.shape,
            inks=inks if inks is not None else f"1 to {MOST_INKS}",
            mend="Give one tint for each ink of the set, in printing order.",
        )
    if not np.isfinite(table).all() or (table.size and (table.min() < 0 or table.max() > 100)):
        raise ColourError("tints must lie between 0 and 100 percent", mend="Give them as in the file: 100 is solid.")
    return table


def seen_primaries(data: InkSetData) -> NDArray[np.bool_]:
    """Return which combinations of solids were printed, (2**m,); bit i of the place says that ink i is there."""
    solid = (data.tints >= 100 - SAME_TINT).astype(int) @ (1 << np.arange(data.inks))
    bare = (data.tints <= SAME_TINT).astype(int) @ (1 << np.arange(data.inks))
    every = 2**data.inks - 1
    seen = np.zeros(every + 1, dtype=bool)
    seen[solid[solid + bare == every]] = True
    return seen


@dataclass(frozen=True, slots=True)
class Predicted:
    """What a model says of some recipes.

    `lab` (n, 3) absolute, D50; `sd` (n,) how far off it may be, one standard deviation, dE00 an axis; `evidence`
    (n,) "proven", "worked out" or "guess".
    """

    lab: Floats
    sd: Floats
    evidence: tuple[Evidence, ...]

    @property
    def radius(self) -> Floats:
        """The 95 % radius, dE00, (n,)."""
        return np.asarray(R95 * self.sd)


@dataclass(frozen=True, slots=True)
class OverprintModel:
    """A fitted set of inks; made by `fit_overprint` or `from_plain`.

    `mixer` and `parameters` are the mixture of halftones, `leeway` is how far the inks leave it, `beyond` (dE00 an
    axis) a doubt that no patch tells of. `linear` and `solved` are worked out from them and the patches; `step` is what
    the patches still add to the parameters, `mixture` the one with it.
    """

    data: InkSetData
    mixer: Mixer
    parameters: Floats
    leeway: Leeway
    beyond: float
    linear: Linear
    solved: Solved
    step: Floats
    mixture: Mixture

    @classmethod
    def condition(
        cls, data: InkSetData, mixer: Mixer, parameters: Floats, leeway: Leeway, beyond: float
    ) -> OverprintModel:
        """Return the model with the patches taken in, around given parameters and under a given leeway."""
        linear = linearise(mixer, parameters, data.tints / 100, data.lab, data.noise)
        solved = weigh_patches(linear, leeway)
        step = likely_parameters(mixer, linear, solved, leeway) - parameters
        mixture = mixer.prepare(parameters + step)
        return cls(data, mixer, parameters, leeway, beyond, linear, solved, step, mixture)

    @property
    def inks(self) -> int:
        """How many inks."""
        return self.data.inks

    @property
    def n(self) -> float:
        """The Yule–Nielsen factor."""
        return 1 / self.mixer.split(self.parameters)[0]

    def lab_of(self, tints: ArrayLike) -> Floats:
        """Return the colours alone, fast.

        Parameters
        ----------
        tints : (n, m) array_like
            Percent of the file.

        Returns
        -------
        (n, 3) ndarray of float64, absolute, D50

        Raises
        ------
        ColourError
            See `check_tints`.
        """
        share = check_tints(tints, self.inks) / 100
        blocks = [self._lab(share[at : at + _BLOCK]) for at in range(0, len(share), _BLOCK)]
        return np.concatenate(blocks) if blocks else np.empty((0, 3))

    def _lab(self, share: Floats) -> Floats:
        coverage = self.mixture.coverage(share)
        base = self.mixture.lab_at(coverage)
        alike = self.leeway.alike(coverage.mean(axis=2), self.linear.coverage)
        return surface(base + _unscaled(base, alike @ self.solved.weights.reshape(-1, 3)))

    def coverage(self, tints: ArrayLike) -> Floats:
        """Return the share of the paper that each ink covers as the three channels see it, (n, m, 3), 0-1."""
        return self.mixture.coverage(check_tints(tints, self.inks) / 100)

    def predict(self, tints: ArrayLike) -> Predicted:
        """Return colour, doubt and evidence.

        Parameters
        ----------
        tints : (n, m) array_like
            Percent of the file.

        Raises
        ------
        ColourError
            See `check_tints`.
        """
        table = check_tints(tints, self.inks)
        blocks = [self._sd(table[at : at + _BLOCK] / 100) for at in range(0, len(table), _BLOCK)]
        return Predicted(self.lab_of(table), np.concatenate(blocks) if blocks else np.empty(0), self.evidence(table))

    def _sd(self, share: Floats) -> Floats:
        """Return the standard deviations, dE00 an axis."""
        from scipy.linalg import solve_triangular

        base, slopes, coverage = self.mixer.slopes(self.parameters, share)
        n, patches = len(share), len(self.data.tints)
        spread = self.mixer.sd(self.leeway.freedom)
        influence = (metric_roots(base) @ slopes) * spread
        shared = influence.reshape(3 * n, -1) @ (self.linear.influence * spread).T
        alike = self.leeway.alike(coverage.mean(axis=2), self.linear.coverage)
        shared.reshape(n, 3, patches, 3)[:, np.arange(3), :, np.arange(3)] += alike
        told = solve_triangular(self.solved.root, shared.T, lower=True, check_finite=False)
        before = (influence**2).sum(axis=(1, 2)) + 3 * self.leeway.amplitude**2
        left = before - (told**2).sum(axis=0).reshape(n, 3).sum(axis=1)
        return np.asarray(np.sqrt(np.maximum(left, 0.0) / 3 + self.leeway.roughness**2 + self.beyond**2))

    def evidence(self, tints: ArrayLike) -> tuple[Evidence, ...]:
        """Return for each recipe what the model's word rests on.

        "proven": the patch was read. "worked out": it lies between patches, and every overprint of its inks was
        read. "guess": an overprint of its inks was never printed.
        """
        table = check_tints(tints, self.inks)
        proven = np.zeros(len(table), dtype=bool)
        for patch in np.unique(self.data.tints, axis=0):
            proven |= np.abs(table - patch).max(axis=1) <= SAME_TINT
        needed = (table > SAME_TINT).astype(int) @ (1 << np.arange(self.inks))
        unseen = np.flatnonzero(~seen_primaries(self.data))
        guess = ((needed[:, None] & unseen) == unseen).any(axis=1)
        return tuple("proven" if a else "guess" if b else "worked out" for a, b in zip(proven, guess, strict=True))

    def surprises(self) -> Floats:
        """Return how far each reading lies from what all others say, in standard deviations, (n,).

        About one is usual; a patch read wrongly, or in another's place, stands out.

        Source: Rasmussen & Williams 2006, equations 5.10 to 5.12, for the three axes together.
        """
        n = len(self.data.tints)
        inverse = np.linalg.inv(self.solved.root @ self.solved.root.T).reshape(n, 3, n, 3)
        own = inverse[np.arange(n), :, np.arange(n), :]
        weights = self.solved.weights.reshape(n, 3)
        squared = np.einsum("na,na->n", weights, np.linalg.solve(own, weights[:, :, None])[:, :, 0])
        return np.asarray(np.sqrt(squared / 3))

    def to_plain(self) -> dict[str, Any]:
        """Return plain numbers and lists, for JSON."""
        return {
            "version": _VERSION,
            "tints": self.data.tints.tolist(),
            "lab": self.data.lab.tolist(),
            "noise": self.data.noise.tolist(),
            "primaries": self.mixer.primaries.tolist(),
            "primary_sd": self.mixer.primary_sd.tolist(),
            "parameters": self.parameters.tolist(),
            "amplitude": self.leeway.amplitude,
            "lengths": list(self.leeway.lengths),
            "roughness": self.leeway.roughness,
            "freedom": self.leeway.freedom,
            "beyond": self.beyond,
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> OverprintModel:
        """Return what `to_plain` wrote.

        Raises
        ------
        ColourError
            It was written by another version, or something in it is missing or malformed.
        """
        try:
            if plain["version"] != _VERSION:
                raise ValueError("another version")
            data = ink_set_data(plain["tints"], plain["lab"], plain["noise"])
            primaries = np.asarray(plain["primaries"], dtype=np.float64).reshape(2**data.inks, 3)
            primary_sd = np.asarray(plain["primary_sd"], dtype=np.float64).reshape(2**data.inks, 3)
            mixer = Mixer(data.inks, primaries, primary_sd, CurveBasis())
            parameters = np.asarray(plain["parameters"], dtype=np.float64).reshape(mixer.count)
            lengths = tuple(float(length) for length in plain["lengths"])
            leeway = Leeway(float(plain["amplitude"]), lengths, float(plain["roughness"]), float(plain["freedom"]))
            beyond = float(plain["beyond"])
        except (KeyError, TypeError, ValueError) as exc:
            raise ColourError("what was learnt of a set of inks cannot be read", mend="Fit it anew.") from exc
        return cls.condition(data, mixer, parameters, leeway, beyond)


def _unscaled(lab: Floats, steps: Floats) -> Floats:
    """Return steps given in dE00 an axis as steps in Lab, at the colours."""
    return np.asarray(np.linalg.solve(metric_roots(lab), steps[:, :, None])[:, :, 0])


def surface(lab: Floats) -> Floats:
    """Return the colours cut to what `check_lab` lets pass."""
    return np.clip(lab, (0.0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST))
