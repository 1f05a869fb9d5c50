"""What a camera gets wrong on one pair of inks, learnt from patches that an instrument measured too.

A card cannot know how two inks mix their spectra. Nine patches of the pair, read by both, show it: the difference is
smooth over the pair's colours, and a Gaussian process with the instrument's known noise follows it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.difference import delta_e_2000
from archive.colour.spaces import LIGHTEST, WIDEST, Floats, check_lab
from archive.errors import ColourError

FEWEST_PATCHES = 9  # four leave twice the error of nine [tried on 91 pairs]
READING_NOISE = 0.5  # Lab units an axis, a handheld instrument on a printed patch [common practice]
_REACHES = (15.0, 30.0, 60.0, 120.0)  # Lab units over which the difference stays alike
_SIZES = (0.25, 0.5, 1.0, 2.0, 4.0)  # Lab units, standard deviation of the part that changes over the pair
_SHIFT = 3.0  # Lab units, standard deviation of the part that is the same everywhere
_VERSION = 1  # of the plain form


@dataclass(frozen=True, slots=True)
class PairResidual:
    """The smooth difference between instrument and corrected camera over one pair's colours.

    camera : (n, 3) corrected Lab of the patches it was learnt from.
    weights : (n, 3) what each patch adds, times its nearness.
    reach, size : length scale and standard deviation of the process, Lab units.
    claim : mean dE00 to be expected on other patches of the pair: that of each patch predicted from the others. The
        instrument's noise in it makes up for inks that change faster than nine patches show.
    """

    camera: tuple[tuple[float, float, float], ...]
    weights: tuple[tuple[float, float, float], ...]
    reach: float
    size: float
    claim: float

    def apply(self, lab: ArrayLike) -> Floats:
        """Return the camera's corrected Lab of this pair's patches with what was learnt added.

        Parameters
        ----------
        lab : (..., 3) array_like
            From `Correction.apply`. Far from what was learnt only the common shift is left.

        Returns
        -------
        (..., 3) ndarray of float64

        Raises
        ------
        ColourError
            See `check_lab`.
        """
        wanted = check_lab(lab)
        near = _likeness(wanted.reshape(-1, 3), np.array(self.camera), self.reach, self.size)
        return _as_surface(wanted + (near @ np.array(self.weights)).reshape(wanted.shape))

    def to_plain(self) -> dict[str, Any]:
        """Return plain numbers and lists, for JSON."""
        return {
            "version": _VERSION,
            "camera": [list(row) for row in self.camera],
            "weights": [list(row) for row in self.weights],
            "reach": self.reach,
            "size": self.size,
            "claim": self.claim,
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> PairResidual:
        """Return what `to_plain` wrote.

        Raises
        ------
        ColourError
            It was written by another version, or something in it is missing or malformed.
        """
        try:
            if plain["version"] != _VERSION:
                raise ValueError("another version")
            camera, weights = _rows(plain["camera"]), _rows(plain["weights"])
            reach, size, claim = (float(plain[name]) for name in ("reach", "size", "claim"))
        except (KeyError, TypeError, ValueError) as exc:
            raise ColourError("what was learnt of a pair cannot be read", mend="Learn it anew.") from exc
        return cls(camera, weights, reach, size, claim)


def learn_pair(camera_lab: ArrayLike, measured_lab: ArrayLike, *, noise: float = READING_NOISE) -> PairResidual:
    """Return what the camera gets wrong on one pair of inks.

    Parameters
    ----------
    camera_lab : (n, 3) array_like
        Corrected Lab of at least nine patches of the pair, spread over its tints.
    measured_lab : (n, 3) array_like
        The same patches by instrument, under D50.
    noise : float
        Standard deviation of a measurement, Lab units an axis.

    Returns
    -------
    PairResidual

    Raises
    ------
    ColourError
        Fewer than nine patches, unlike numbers of them, or noise that is not positive; else see `check_lab`.
    """
    camera, measured = check_lab(camera_lab), check_lab(measured_lab)
    _check(camera, measured, noise)
    miss = measured - camera
    reach, size = max(product(_REACHES, _SIZES), key=lambda pair: _evidence(camera, miss, noise, *pair))
    inverse = np.linalg.inv(_likeness(camera, camera, reach, size) + noise**2 * np.eye(len(camera)))
    weights = inverse @ miss
    left_out = measured - weights / np.diag(inverse)[:, None]  # Rasmussen & Williams 2006, equation 5.12
    claim = float(delta_e_2000(_as_surface(left_out), measured).mean())
    return PairResidual(_rows(camera), _rows(weights), reach, size, claim)


def _check(camera: Floats, measured: Floats, noise: float) -> None:
    if camera.ndim != 2 or camera.shape != measured.shape:
        raise ColourError(
            "{camera} camera readings do not pair with measurements of shape {measured}",
            camera=camera.shape,
            measured=measured.shape,
            mend="Give each patch once on both sides.",
        )
    if len(camera) < FEWEST_PATCHES:
        raise ColourError(
            "{count} patches of the pair were measured, and {fewest} are needed",
            count=len(camera),
            fewest=FEWEST_PATCHES,
            mend="Measure more of them, spread over light and dark tints of both inks.",
        )
    if not noise > 0:
        raise ColourError("an instrument's noise of {noise} is none", noise=noise, mend="Give 0.5 if it is unknown.")


def _likeness(one: Floats, other: Floats, reach: float, size: float) -> Floats:
    """Return (n, m) covariances: what all patches share, and what neighbours share."""
    apart = ((one[:, None, :] - other[None, :, :]) ** 2).sum(axis=-1)
    return np.asarray(_SHIFT**2 + size**2 * np.exp(-0.5 * apart / reach**2))


def _evidence(camera: Floats, miss: Floats, noise: float, reach: float, size: float) -> float:
    """Return the log marginal likelihood, but for a constant. Source: Rasmussen & Williams 2006, equation 2.30."""
    covariance = _likeness(camera, camera, reach, size) + noise**2 * np.eye(len(camera))
    root = np.linalg.cholesky(covariance)
    white = np.linalg.solve(root, miss)
    return float(-0.5 * (white**2).sum() - miss.shape[1] * np.log(np.diag(root)).sum())


def _as_surface(lab: Floats) -> Floats:
    return np.clip(lab, (0.0, -WIDEST, -WIDEST), (LIGHTEST, WIDEST, WIDEST))


def _rows(values: ArrayLike) -> tuple[tuple[float, float, float], ...]:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 2 or array.shape[1] != 3 or not np.isfinite(array).all():
        raise ValueError("rows of three numbers")
    return tuple((float(x), float(y), float(z)) for x, y, z in array)
