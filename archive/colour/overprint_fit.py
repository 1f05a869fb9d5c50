"""Fitting the overprint model: the likeliest mixture of halftones, then what it leaves as a smooth leeway.

First the parameters that agree best with both the patches and what is believed of inks (Levenberg–Marquardt). Then
the leeway's amplitude, lengths and roughness that make the patches likeliest, and the parameters again under it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from archive.colour.overprint import SAME_TINT, InkSetData, OverprintModel, seen_primaries
from archive.colour.overprint_curves import CurveBasis
from archive.colour.overprint_gaussian import Leeway, Linear, likely_parameters, linearise, weigh_patches
from archive.colour.overprint_metric import metric_roots
from archive.colour.overprint_mix import Mixer, to_lab
from archive.colour.spaces import BRIGHTEST, Floats, lab_to_xyz

USUAL = Leeway(0.4, (0.5,), 0.06)


@dataclass(frozen=True, slots=True)
class FitPrior:
    """What is believed before a patch is read, apart from the curves; chosen on coated presses (see the bench).

    `solid_sd`: how far a printed primary may be from its reading, Lab units an axis. `unseen_sd`: how far an overprint
    never printed may be from the product of its solids, dE00 an axis. `misfit`: what the mixture leaves while it is
    sought, Lab units an axis. `leeway` and the spreads (natural logarithm) say what the leeway is usually like;
    `unusual_cost` is how much likelier (natural logarithm) curves of more than usual freedom must make the patches.
    """

    solid_sd: float = 1.5
    unseen_sd: float = 6.5
    misfit: float = 0.3
    leeway: Leeway = USUAL
    amplitude_spread: float = 0.8
    length_spread: float = 0.5
    roughness_spread: float = 0.35
    freedom_spread: float = 1.0
    unusual_cost: float = 6.0


PRIOR = FitPrior()

DULL_PAPER = 90.0  # L*, the darkest paper that the prior was chosen on
DULL_DOUBT = 0.033  # dE00 an axis for each L* below it [own choice, after seeing newsprint]
_DARKEST = 1e-3  # XYZ: a paper that is black divides by no less
_ROUNDS = 12  # of Levenberg–Marquardt; it mostly ends after 5
_GAIN = 1e-4  # of the cost: a round that gains less is the last
_FACTORS = ((0.25, 0.5, 2.0, 4.0), (0.65, 1.5))  # by which the leeway is tried, coarse then fine


def fit_overprint(data: InkSetData, prior: FitPrior = PRIOR) -> OverprintModel:
    """Return the model that agrees best with the patches.

    Parameters
    ----------
    data : InkSetData
        See `ink_set_data`.
    prior : FitPrior
        What is believed beforehand.
    """
    share = data.tints / 100
    mixer = _mixer(data, prior)
    leeway = replace(prior.leeway, lengths=prior.leeway.lengths * data.inks)
    parameters = mixer.mean
    for factors in _FACTORS:
        scale = np.hypot(data.noise, prior.misfit)
        parameters = _likeliest(mixer, parameters, leeway.freedom, share, data.lab, scale)
        linear = linearise(mixer, parameters, share, data.lab, data.noise)
        leeway = _likeliest_leeway(linear, leeway, prior, factors)
        parameters = likely_parameters(mixer, linear, weigh_patches(linear, leeway), leeway)
    beyond = DULL_DOUBT * max(0.0, DULL_PAPER - float(mixer.primaries[0, 0]))
    return OverprintModel.condition(data, mixer, parameters, leeway, beyond)


def _mixer(data: InkSetData, prior: FitPrior) -> Mixer:
    """Return the mixture as it is believed from the primaries: printed ones as read, others the product of solids."""
    primaries = product_of_solids(data)
    sd = np.full_like(primaries, prior.solid_sd)
    unseen = ~seen_primaries(data)
    scale = np.einsum("pii->pi", metric_roots(primaries[unseen]))
    sd[unseen] = prior.unseen_sd / scale
    return Mixer(data.inks, primaries, sd, CurveBasis())


def product_of_solids(data: InkSetData) -> Floats:
    """Return Lab (2**m, 3) of paper, solids and overprints: as read, or else the product of the solids.

    Each solid counts as a filter over the paper: XYZ of the paper times each solid's share of it.
    """
    seen = seen_primaries(data)
    read = np.zeros((len(seen), 3))
    for place in np.flatnonzero(seen):
        wanted = 100.0 * (place >> np.arange(data.inks) & 1)
        read[place] = data.lab[np.abs(data.tints - wanted).max(axis=1) <= SAME_TINT].mean(axis=0)
    paper = np.maximum(lab_to_xyz(read[0]), _DARKEST)
    for place in np.flatnonzero(~seen):
        over = [lab_to_xyz(read[1 << ink]) / paper for ink in range(data.inks) if place >> ink & 1]
        read[place] = to_lab(np.minimum(paper * np.prod(over, axis=0), BRIGHTEST))
    return read


def _likeliest(mixer: Mixer, start: Floats, freedom: float, share: Floats, lab: Floats, scale: Floats) -> Floats:
    """Return the parameters of least cost: misses in units of `scale` (n,), and distance from what is believed."""
    cost_of = _Cost(mixer, mixer.sd(freedom), share, lab, scale)
    parameters, damping = start, 1e-2
    misses = cost_of(parameters)
    for _ in range(_ROUNDS):
        slopes = cost_of.slopes(parameters)
        gradient = slopes.T @ misses[: len(slopes)] + misses[len(slopes) :] / cost_of.sd
        steepness = (slopes**2).sum(axis=0)
        cost = misses @ misses
        while damping < 1e3:
            step = _damped_step(slopes, (1 + damping) / cost_of.sd**2 + damping * steepness, gradient)
            tried = cost_of(parameters - step)
            if tried @ tried < cost:
                break
            damping *= 5
        else:
            return parameters
        parameters, misses, damping = parameters - step, tried, max(damping / 5, 1e-6)
        if cost - misses @ misses < _GAIN * cost:
            break
    return parameters


@dataclass(frozen=True, slots=True)
class _Cost:
    """What a fit makes small: the patches' misses, then the parameters' distance from what is believed."""

    mixer: Mixer
    sd: Floats
    share: Floats
    lab: Floats
    scale: Floats

    def __call__(self, parameters: Floats) -> Floats:
        misses = (self.mixer.lab(parameters, self.share) - self.lab) / self.scale[:, None]
        return np.concatenate([misses.ravel(), (parameters - self.mixer.mean) / self.sd])

    def slopes(self, parameters: Floats) -> Floats:
        """Return the derivatives of the patches' misses by the parameters."""
        by_patch = self.mixer.slopes(parameters, self.share)[1] / self.scale[:, None, None]
        return np.asarray(by_patch.reshape(-1, len(self.sd)))


def _damped_step(slopes: Floats, diagonal: Floats, gradient: Floats) -> Floats:
    """Return the solution of (slopesᵀ slopes + diagonal) step = gradient.

    There are fewer patches than parameters: by Woodbury's identity the system to solve is one of the patches.
    """
    scaled = slopes / diagonal
    first = gradient / diagonal
    inner = scaled @ slopes.T + np.eye(len(slopes))
    return np.asarray(first - scaled.T @ np.linalg.solve(inner, slopes @ first))


def _likeliest_leeway(linear: Linear, start: Leeway, prior: FitPrior, factors: tuple[float, ...]) -> Leeway:
    """Return the leeway that makes the patches likeliest, changing one number at a time."""
    best, most = start, _belief(linear, start, prior)
    for _ in range(2):
        for name in ("freedom", "amplitude", "roughness", "lengths"):
            for tried in _variants(best, name, factors):
                belief = _belief(linear, tried, prior)
                if belief > most:
                    best, most = tried, belief
    return best


def _variants(around: Leeway, name: str, factors: tuple[float, ...]) -> list[Leeway]:
    """Return the leeway with one number multiplied by each factor; curves are never less free than usual."""
    if name == "lengths":
        near = [factor for factor in factors if 0.5 <= factor <= 2.0]
        return [_with_length(around, ink, factor) for ink in range(len(around.lengths)) for factor in near]
    value = getattr(around, name)
    least = 1.0 if name == "freedom" else 0.0
    tried = {max(value * factor, least) for factor in factors} - {value}
    return [replace(around, **{name: each}) for each in sorted(tried)]


def _with_length(around: Leeway, ink: int, factor: float) -> Leeway:
    changed = (length * (factor if at == ink else 1.0) for at, length in enumerate(around.lengths))
    return replace(around, lengths=tuple(changed))


def _belief(linear: Linear, leeway: Leeway, prior: FitPrior) -> float:
    """Return the log of how likely the patches and the leeway itself are, but for a constant."""
    usual = prior.leeway
    off = [
        np.log(leeway.amplitude / usual.amplitude) / prior.amplitude_spread,
        np.log(leeway.roughness / usual.roughness) / prior.roughness_spread,
        np.log(leeway.freedom / usual.freedom) / prior.freedom_spread,
        *(np.log(np.array(leeway.lengths) / usual.lengths[0]) / prior.length_spread),
    ]
    unusual = prior.unusual_cost if leeway.freedom > usual.freedom else 0.0
    return weigh_patches(linear, leeway).evidence - 0.5 * float(np.dot(off, off)) - unusual
