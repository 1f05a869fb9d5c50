"""Halftones as Neugebauer and Yule–Nielsen saw them: bare and printed bits of paper, mixed by area.

The parameters of a set of inks are standard normal numbers in one vector: the Yule–Nielsen factor, the tone curves
(`overprint_curves`) and the colours of the primaries: bare paper, solids and their overprints. `Mixer` turns them
into Lab, and gives the slopes by the written-out derivatives: a fit then takes milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.overprint_curves import KNOTS, CurveBasis
from archive.colour.spaces import D50_WHITE, LAB_EPSILON, LAB_KAPPA, Floats

LEAST_SHARE = 0.1  # 1/n, the Yule–Nielsen factor's reciprocal: n up to 10
FACTOR_MEAN, FACTOR_SD = -0.5, 1.5  # of its logit: n of 2.3, 1.3 to 6 within one deviation
_DARKEST = 1e-5  # XYZ: powers want something above nothing


def demichel_weights(coverage: ArrayLike) -> Floats:
    """Return the share of paper that each combination of inks takes when dots fall at random.

    Parameters
    ----------
    coverage : (..., m) array_like
        Share of the paper each ink covers, 0-1.

    Returns
    -------
    (..., 2**m) ndarray of float64; bit i of the place says that ink i is there, so 0 is bare paper

    Source: Demichel's equations, as in Neugebauer 1937.
    """
    share = np.asarray(coverage, dtype=np.float64)
    weights = np.ones((*share.shape[:-1], 1))
    for ink in range(share.shape[-1]):
        on = share[..., ink : ink + 1]
        weights = np.concatenate([weights * (1 - on), weights * on], axis=-1)
    return weights


def yule_nielsen(weights: ArrayLike, primaries: ArrayLike, n: float) -> Floats:
    """Return the mixed XYZ, or reflectance, of primaries that take up the given shares of the paper.

    Parameters
    ----------
    weights : (..., p) array_like
        Shares, summing to 1.
    primaries : (p, k) array_like
        XYZ or reflectance, >= 0.
    n : float
        Yule–Nielsen factor, >= 1; 1 is Neugebauer's plain mixture.

    Returns
    -------
    (..., k) ndarray of float64

    Source: Yule & Nielsen 1951; Viggiano 1985 for spectra.
    """
    mixed = np.asarray(weights, dtype=np.float64) @ np.asarray(primaries, dtype=np.float64) ** (1 / n)
    return np.asarray(np.maximum(mixed, 0.0) ** n)


def to_lab(xyz: Floats) -> Floats:
    """Return Lab under D50 of values known to be sound: `xyz_to_lab` without its checks."""
    share = xyz / D50_WHITE
    f = np.where(share > LAB_EPSILON, np.cbrt(share), (LAB_KAPPA * share + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


_F_TO_LAB = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])  # ISO/CIE 11664-4
_LAB_TO_F = np.linalg.inv(_F_TO_LAB)


def _lab_slope(xyz: Floats) -> Floats:
    """Return dLab/dXYZ, (..., 3 of Lab, 3 of XYZ)."""
    share = xyz / D50_WHITE
    slope = np.where(share > LAB_EPSILON, np.cbrt(np.maximum(share, LAB_EPSILON)) ** -2 / 3, LAB_KAPPA / 116)
    return np.asarray(_F_TO_LAB * (slope / D50_WHITE)[..., None, :])


def to_xyz(lab: Floats) -> Floats:
    """Return XYZ of Lab under D50, never quite nothing: `lab_to_xyz` without its checks."""
    return _xyz_of(lab)[0]


def _xyz_of(lab: Floats) -> tuple[Floats, Floats]:
    """Return XYZ of Lab and dXYZ/dLab, (..., 3 of XYZ, 3 of Lab)."""
    f_y = (lab[..., 0] + 16) / 116
    f = np.stack([f_y + lab[..., 1] / 500, f_y, f_y - lab[..., 2] / 200], axis=-1)
    cube = f**3
    curved = cube > LAB_EPSILON
    xyz = np.where(curved, cube, (116 * f - 16) / LAB_KAPPA) * D50_WHITE
    slope = np.where(curved, 3 * f * f, 116 / LAB_KAPPA) * D50_WHITE
    return np.maximum(xyz, _DARKEST), slope[..., :, None] * _LAB_TO_F


@dataclass(frozen=True, slots=True)
class Mixer:
    """The forward model of `inks` inks: parameters and tints to Lab.

    `primaries` (2**inks, 3) are the Lab values the primaries are believed to have, `primary_sd` (2**inks, 3) how
    far off they may be.
    """

    inks: int
    primaries: Floats
    primary_sd: Floats
    basis: CurveBasis

    @property
    def count(self) -> int:
        """How many parameters there are."""
        return int(1 + self.inks * (len(KNOTS) * 7 + 1) + 3 * 2**self.inks)

    @property
    def mean(self) -> Floats:
        """The parameters' expected values."""
        return np.concatenate([[FACTOR_MEAN], np.zeros(self.count - 1)])

    @property
    def curves(self) -> slice:
        """Where the tone curves' numbers are among the parameters."""
        return slice(1, 1 + self.inks * (len(KNOTS) * 7 + 1))

    @property
    def lost(self) -> slice:
        """Where the numbers of lost dots are among the curves'."""
        return slice(1, 1 + self.inks)

    @property
    def is_curve(self) -> NDArray[np.bool_]:
        """Which parameters are the tone curves'."""
        of_curves = np.zeros(self.count, dtype=bool)
        of_curves[self.curves] = True
        return of_curves

    def sd(self, freedom: float) -> Floats:
        """Return the parameters' standard deviations when tone curves are so many times freer than usual.

        An ink set whose curves are unusual is likelier to lose its smallest dots: that part grows by the square.
        """
        spread = np.where(self.is_curve, freedom, 1.0)
        spread[0], spread[self.lost] = FACTOR_SD, freedom**2
        return spread

    def split(self, parameters: Floats) -> tuple[float, Floats, Floats, Floats, Floats, Floats]:
        """Return 1/n, and the numbers of lost dots, shared, channels', between-inks' curves and of primaries."""
        m, k = self.inks, len(KNOTS)
        power = LEAST_SHARE + (1 - LEAST_SHARE) / (1 + np.exp(-parameters[0]))
        places = np.cumsum([m, m * k, 3 * m * k, 3 * m * k])
        lost, shared, channel, between, primary = np.split(parameters[1:], places)
        return (
            float(power),
            lost,
            shared.reshape(m, k),
            channel.reshape(m, k, 3),
            between.reshape(m, k, 3),
            primary.reshape(-1, 3),
        )

    def prepare(self, parameters: Floats) -> Mixture:
        """Return the mixture under one set of parameters, worked out as far as tints do not matter."""
        power, lost, shared, channel, between, primary = self.split(parameters)
        basis = self.basis
        own = (basis.usual + shared @ basis.shared.T)[:, :, None] + basis.channel @ channel
        xyz, _ = _xyz_of(self.primaries + self.primary_sd * primary)
        return Mixture(basis, power, lost, np.concatenate([own, basis.between @ between], axis=2), xyz**power)

    def lab(self, parameters: Floats, share: Floats) -> Floats:
        """Return Lab (n, 3) of tints given as shares (n, inks)."""
        mixture = self.prepare(parameters)
        return mixture.lab_at(mixture.coverage(share))

    def slopes(self, parameters: Floats, share: Floats) -> tuple[Floats, Floats, Floats]:
        """Return Lab (n, 3), its derivatives by the parameters (n, 3, count) and the coverage (n, inks, 3)."""
        power, *_, primary = self.split(parameters)
        covered = self.prepare(parameters).coverage(share)
        xyz, by_lab = _xyz_of(self.primaries + self.primary_sd * primary)
        bent = xyz**power
        weights = demichel_weights(np.moveaxis(covered, 1, -1))
        mixed = np.maximum(np.einsum("ncp,pc->nc", weights, bent), 1e-9)
        out = mixed ** (1 / power)
        to_mix = _lab_slope(out) * (out / (power * mixed))[:, None, :]
        power_slope = np.einsum("ncp,pc->nc", weights, bent * np.log(xyz))
        by_power = np.einsum("nac,nc->na", to_mix, power_slope - mixed * np.log(mixed) / power)
        along = (power - LEAST_SHARE) * (1 - power) / (1 - LEAST_SHARE)
        by_primary = np.einsum(
            "nac,ncp,pcd,pd->napd", to_mix, weights, (power * bent / xyz)[:, :, None] * by_lab, self.primary_sd
        )
        n = len(share)
        parts = [(by_power * along)[:, :, None], *self._curve_slopes(share, covered, bent, to_mix)]
        return to_lab(out), np.concatenate([*parts, by_primary.reshape(n, 3, -1)], axis=2), covered

    def _curve_slopes(self, share: Floats, covered: Floats, bent: Floats, to_mix: Floats) -> list[Floats]:
        """Return dLab by the numbers of lost dots, shared, channels' and between-inks' curves, each (n, 3, ...)."""
        others = covered_by_others(share)
        parts: tuple[list[Floats], ...] = ([], [], [], [])
        for ink in range(self.inks):
            with_ink, without = covered.copy(), covered.copy()
            with_ink[:, ink], without[:, ink] = 1.0, 0.0
            by_coverage = to_mix * (_mix(with_ink, bent) - _mix(without, bent))[:, None, :]
            weights = self.basis.weights(share[:, ink])
            by_shared = by_coverage.sum(axis=2)[:, :, None]
            parts[0].append(-by_shared * self.basis.lost(share[:, ink])[:, None, None])
            parts[1].append(by_shared * (weights @ self.basis.shared)[:, None, :])
            extra = others[:, ink, None] * (weights @ self.basis.between)
            for place, scaled in ((2, weights @ self.basis.channel), (3, extra)):
                slope = by_coverage[:, :, None, :] * scaled[:, None, :, None]
                parts[place].append(slope.reshape(len(share), 3, -1))
        return [np.concatenate(part, axis=2) for part in parts]


@dataclass(frozen=True, slots=True)
class Mixture:
    """The forward model of one set of parameters.

    `power` is 1/n; `lost` (m,) how many of its standard deviations each ink lacks in small dots; `curves` (m, k, 6) the
    bulge of each tone curve at the knots, for three channels, and then what comes in as other inks cover the paper;
    `bent` (2**m, 3) the primaries' XYZ to that power.
    """

    basis: CurveBasis
    power: float
    lost: Floats
    curves: Floats
    bent: Floats

    def coverage(self, share: Floats) -> Floats:
        """Return the effective coverage, (n, inks, 3 channels), of tints given as shares (n, inks)."""
        others = covered_by_others(share)
        covered = np.empty((*share.shape, 3))
        for ink in range(share.shape[1]):
            bulge = self.basis.weights(share[:, ink]) @ self.curves[ink]
            dots = share[:, ink] - self.lost[ink] * self.basis.lost(share[:, ink])
            covered[:, ink] = dots[:, None] + bulge[:, :3] + others[:, ink, None] * bulge[:, 3:]
        return np.clip(covered, 0.0, 1.0)

    def lab_at(self, covered: Floats) -> Floats:
        """Return Lab (n, 3) of effective coverages (n, inks, 3)."""
        return to_lab(np.maximum(_mix(covered, self.bent), 1e-9) ** (1 / self.power))


def _mix(covered: Floats, bent: Floats) -> Floats:
    """Return the mixture (n, 3) of bent primaries (2**m, 3) at coverages (n, m, 3), folding one ink at a time."""
    left = np.broadcast_to(bent[:, None, :], (len(bent), len(covered), 3))
    for ink in reversed(range(covered.shape[1])):
        half = len(left) // 2
        on = covered[:, ink]
        left = left[:half] + (left[half:] - left[:half]) * on
    return np.asarray(left[0])


def covered_by_others(share: Floats) -> Floats:
    """Return for each ink the share of paper that at least one of the other inks is asked to cover, (n, m)."""
    bare = np.ones_like(share)
    for ink in range(share.shape[1]):
        bare[:, :ink] *= 1 - share[:, ink, None]
        bare[:, ink + 1 :] *= 1 - share[:, ink, None]
    return 1 - bare
