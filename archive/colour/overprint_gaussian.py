"""The overprint model as one Gaussian: the mixture made linear, the smooth residual and the reading noise together.

All is in units of CIEDE2000 at each patch (`overprint_metric`), so that a standard deviation means the same for a
light tint and a dark solid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from archive.colour.overprint_metric import metric_roots
from archive.colour.overprint_mix import Mixer
from archive.colour.spaces import Floats

_FLOOR = 1e-5  # dE00 squared, keeps the patches' covariance positive definite
_AXES = np.arange(3)


@dataclass(frozen=True, slots=True)
class Leeway:
    """How far a set of inks may leave the mixture: what the fit finds out beside the mixture itself.

    `amplitude` and `roughness`, dE00 an axis, are what the mixture leaves: smoothly, and from patch to patch. `lengths`
    are how far one must go in each ink's effective coverage for the smooth part to change. `freedom` is how many times
    freer the tone curves are than on the presses the prior was chosen on.
    """

    amplitude: float
    lengths: tuple[float, ...]
    roughness: float
    freedom: float = 1.0

    def alike(self, first: Floats, second: Floats) -> Floats:
        """Return the smooth part's covariances, (n, k), of effective coverages (n, m) and (k, m)."""
        scaled, other = first / np.array(self.lengths), second / np.array(self.lengths)
        apart = (scaled**2).sum(axis=1)[:, None] + (other**2).sum(axis=1) - 2 * scaled @ other.T
        return np.asarray(self.amplitude**2 * np.exp(-0.5 * np.maximum(apart, 0.0)))


@dataclass(frozen=True, slots=True)
class Linear:
    """The mixture around one set of parameters, at patches that were read.

    `roots` (n, 3, 3) turn Lab into dE00, `influence` (3n, count) the parameters into dE00, `coverage` (n, m) is the
    effective one, `rest` (3n,) what the expected parameters leave, `lost` and `curves` (3n, 3n) the covariances that
    lost dots and tone curves of usual freedom bring, `known` (3n, 3n) that of other parameters and reading noise.
    """

    roots: Floats
    influence: Floats
    coverage: Floats
    rest: Floats
    lost: Floats
    curves: Floats
    known: Floats

    def covariance(self, leeway: Leeway) -> Floats:
        """Return the covariance of the patches, (3n, 3n)."""
        n = len(self.coverage)
        total = self.known + leeway.freedom**2 * (self.curves + leeway.freedom**2 * self.lost)
        own = leeway.alike(self.coverage, self.coverage) + leeway.roughness**2 * np.eye(n)
        total.reshape(n, 3, n, 3)[:, _AXES, :, _AXES] += own
        return total


def linearise(mixer: Mixer, parameters: Floats, share: Floats, lab: Floats, noise: Floats) -> Linear:
    """Return the mixture around the parameters.

    Parameters
    ----------
    parameters : (count,) ndarray of float64
    share : (n, m) ndarray of float64
        Tints of the patches, 0-1.
    lab : (n, 3) ndarray of float64
    noise : (n,) ndarray of float64
        Standard deviation of a reading, Lab units an axis.
    """
    base, slopes, coverage = mixer.slopes(parameters, share)
    roots = metric_roots(lab)
    n = len(share)
    influence = np.asarray(roots @ slopes).reshape(3 * n, -1)
    rest = np.einsum("nac,nc->na", roots, lab - base).ravel() + influence @ (parameters - mixer.mean)
    lost, curves = influence[:, mixer.lost], influence[:, mixer.lost.stop : mixer.curves.stop]
    others = influence * np.where(mixer.is_curve, 0.0, mixer.sd(1.0))
    known = others @ others.T + _FLOOR * np.eye(3 * n)
    own = noise[:, None, None] ** 2 * roots @ roots
    place = np.arange(n)
    known.reshape(n, 3, n, 3)[place, :, place, :] += own
    return Linear(roots, influence, coverage.mean(axis=2), rest, lost @ lost.T, curves @ curves.T, known)


@dataclass(frozen=True, slots=True)
class Solved:
    """What the patches say: `root` (3n, 3n), lower, of their covariance, and `weights` (3n,)."""

    root: Floats
    weights: Floats

    @property
    def evidence(self) -> float:
        """The log marginal likelihood, but for a constant.

        Source: Rasmussen & Williams 2006, equation 2.30.
        """
        white = self.root.T @ self.weights
        return float(-0.5 * white @ white - np.log(self.root.diagonal()).sum())


def weigh_patches(linear: Linear, leeway: Leeway) -> Solved:
    """Return the patches' weights under a leeway."""
    from scipy.linalg import solve_triangular

    root: Floats = np.asarray(np.linalg.cholesky(linear.covariance(leeway)), dtype=np.float64)
    white = solve_triangular(root, linear.rest, lower=True, check_finite=False)
    return Solved(root, solve_triangular(root, white, lower=True, trans=1, check_finite=False))


def likely_parameters(mixer: Mixer, linear: Linear, solved: Solved, leeway: Leeway) -> Floats:
    """Return the parameters the Gaussian expects, given the patches."""
    return np.asarray(mixer.mean + mixer.sd(leeway.freedom) ** 2 * (linear.influence.T @ solved.weights))
