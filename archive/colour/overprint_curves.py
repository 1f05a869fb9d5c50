"""The tone curves of inks: how much paper a tint covers, and how freely it may differ from the usual gain.

An ink's coverage at a tint is the tint, the usual gain, a deviation the three channels share, one that each
channel has of its own, and one that comes in as the other inks cover the paper. Each deviation is a bridge: a
smooth random curve tied to nothing at bare paper and at the solid, given by its values at a few knots.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.spaces import Floats

KNOTS: Floats = np.array([0.04, 0.12, 0.25, 0.45, 0.65, 0.85])  # tints as shares, closer where dots are small
KNOTS.setflags(write=False)
SMALL_DOTS = 0.08  # tint as a share, where lost dots are missed most [after 11 printing as 7 and 6 as 2 in screen work]
_JITTER = 1e-6  # keeps a covariance of near neighbours positive definite


@dataclass(frozen=True, slots=True)
class CurvePrior:
    """What is believed of tone curves before a patch is read.

    `gain` is the usual dot gain at 50 %, a share of the paper. The `_sd` are how far a curve may deviate where it
    is freest, one standard deviation, a share of the paper: all channels together, each by itself, what comes in as
    other inks cover the paper, and the loss of the smallest dots. Lengths are in tint shares to the power `warp`,
    which spreads light tints out.

    Source: likeliest for held-out patches of five coated presses in icc-profiles-free, see the bench.
    """

    gain: float = 0.16
    shared_sd: float = 0.019
    channel_sd: float = 0.017
    between_sd: float = 0.011
    lost_sd: float = 0.002
    shared_length: float = 0.34
    channel_length: float = 0.7
    between_length: float = 0.9
    warp: float = 0.93


PRIOR = CurvePrior()


def _kernel(first: Floats, second: Floats, length: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((first[:, None] - second[None, :]) / length) ** 2))


def _bridge(first: Floats, second: Floats, length: float) -> Floats:
    """Return the covariance of a smooth curve that is known to be zero at 0 and 1."""
    ends = np.array([0.0, 1.0])
    tie = _kernel(ends, ends, length) + 1e-9 * np.eye(2)
    across = _kernel(first, ends, length)
    return _kernel(first, second, length) - across @ np.linalg.solve(tie, _kernel(ends, second, length))


class CurveBasis:
    """The curves as linear functions of standard normal numbers, one a knot.

    `shared`, `channel` and `between` (6, 6) turn such numbers into a deviation's values at the knots; `usual` (6,) is
    the usual gain there.

    Parameters
    ----------
    prior : CurvePrior
    """

    def __init__(self, prior: CurvePrior = PRIOR) -> None:
        self.prior = prior
        self._knots = KNOTS**prior.warp
        self._points = np.concatenate([self._knots, [0.0, 1.0]])
        ends, length = self._points[-2:], prior.shared_length
        tie = _kernel(ends, ends, length) + 1e-9 * np.eye(2)
        own = np.linalg.inv(_bridge(self._knots, self._knots, length) + _JITTER * np.eye(len(KNOTS)))
        # A bridge to the knots is a plain kernel to knots and ends, turned by one small matrix.
        self._turn = np.concatenate([own, -np.linalg.solve(tie, _kernel(ends, self._knots, length)) @ own])
        self.shared = prior.shared_sd * self._root(prior.shared_length)
        self.channel = prior.channel_sd * self._root(prior.channel_length)
        self.between = prior.between_sd * self._root(prior.between_length)
        self.usual: Floats = prior.gain * 4 * KNOTS * (1 - KNOTS)

    def _root(self, length: float) -> Floats:
        """Return the root of the knots' covariance, its largest variance one."""
        covariance = _bridge(self._knots, self._knots, length) + _JITTER * np.eye(len(KNOTS))
        return np.asarray(np.linalg.cholesky(covariance / covariance.diagonal().max()))

    def lost(self, share: ArrayLike) -> Floats:
        """Return what a set of inks that loses its smallest dots lacks at the tints, one standard deviation, (n,)."""
        scaled = np.asarray(share, dtype=np.float64) / SMALL_DOTS
        return np.asarray(self.prior.lost_sd * scaled * np.exp(1 - scaled))

    def weights(self, share: ArrayLike) -> Floats:
        """Return how much each knot's value counts at the tints.

        Parameters
        ----------
        share : (n,) array_like
            Tints as shares, 0-1.

        Returns
        -------
        (n, 6) ndarray of float64
        """
        at = np.asarray(share, dtype=np.float64) ** self.prior.warp
        return np.asarray(_kernel(at, self._points, self.prior.shared_length) @ self._turn)
