"""Local tone mapping and uneven light, as far as a colour card can tell.

A phone lifts what lies in the dark and holds back what lies in the bright, from place to place. No curve undoes that.
On a card it shows as patches that come out too light among dark neighbours: the miss of each patch, predicted from
all the others, goes with the light around it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from archive.colour.camera import PATCHES, Correction, LocalTone
from archive.colour.spaces import Floats, lab_to_xyz
from archive.errors import Notice

ROWS, COLUMNS = 4, 6  # of the card
LIMITS = (3.0, 8.0)  # dE00 of a card's residual, mean and worst [own choice, start values]
_SURE = 2.5  # standard errors: 32 simulated cards without it stayed within 2.0
_FEWEST_FREE = 8  # patches beyond the causes looked for: from fewer nothing is concluded [own choice]
_FAINT = 0.05  # exponent: below it a tenth of the light is moved at most [tried]
_STRONG = 0.15  # exponent: from here prints are missed by more than 2 dE00 [tried]
_WIDENING = 20.0  # dE00 for an exponent of one: a sheet's surroundings are e times as bright as a card's [tried]
_GRADIENT = 0.10  # of the light, from one end of the card to the other [own choice]


def find_local_tone(predicted: Floats, reference_lab: Floats, kept: NDArray[np.intp]) -> LocalTone:
    """Return what the misses of the kept patches tell of local tone mapping and of uneven light.

    Parameters
    ----------
    predicted : (n, 3) ndarray
        Lab of the kept patches, each predicted from the others.
    reference_lab : (24, 3) ndarray
    kept : (n,) ndarray
        Their places on the card.
    """
    light = lab_to_xyz(reference_lab)[:, 1]
    miss = np.log(np.maximum(lab_to_xyz(predicted)[:, 1], 1e-3) / light[kept])
    y, x = (axis.ravel() for axis in np.mgrid[-0.5 : 0.5 : ROWS * 1j, -0.5 : 0.5 : COLUMNS * 1j])
    causes = np.stack([np.ones(PATCHES), x, y, np.log(light), np.log(_around(light))], axis=1)[kept]
    found, _, rank, _ = np.linalg.lstsq(causes, miss, rcond=None)
    freedom = len(miss) - causes.shape[1]
    if rank < causes.shape[1] or freedom < _FEWEST_FREE:
        return LocalTone(0.0, 0.0, 0.0, "none")
    noise = float(((miss - causes @ found) ** 2).sum()) / freedom
    errors = np.sqrt(np.maximum(np.diag(np.linalg.inv(causes.T @ causes)) * noise, 1e-18))
    sureness = found / errors
    gradient = found[1:3][np.abs(sureness[1:3]) > _SURE]
    return _named(-float(found[4]), -float(sureness[4]), float(np.expm1(np.abs(gradient).max(initial=0.0))))


def _named(strength: float, sureness: float, gradient: float) -> LocalTone:
    is_there = sureness >= _SURE and strength >= _FAINT
    word = "none" if not is_there else "strong" if strength >= _STRONG else "doubtful"
    return LocalTone(strength, sureness, gradient, word)


def _around(light: Floats) -> Floats:
    """Return the mean light of each patch and its neighbours on the card."""
    padded = np.pad(light.reshape(ROWS, COLUMNS), 1)
    there = np.pad(np.ones((ROWS, COLUMNS)), 1)
    steps = [(down, right) for down in range(3) for right in range(3)]
    sums = [sum(grid[d : d + ROWS, r : r + COLUMNS] for d, r in steps) for grid in (padded, there)]
    return np.asarray(sums[0] / sums[1]).ravel()


def widened(claim: float, local: LocalTone) -> float:
    """Return the claim (mean dE00) with what local tone mapping adds on sheets darker or lighter than the card."""
    if local.found == "none":
        return claim
    return float(np.hypot(claim, _WIDENING * local.strength))


def card_doubts(correction: Correction, limits: tuple[float, float] = LIMITS) -> tuple[Notice, ...]:
    """Return what speaks against a card shot, worst first; nothing when it may be trusted.

    Parameters
    ----------
    correction : Correction
    limits : (mean, worst)
        The most dE00 that the card's residual may have.
    """
    residual, local = correction.residual, correction.local
    doubts = []
    if residual.mean > limits[0] or residual.worst > limits[1]:
        doubts.append(
            Notice(
                "card_residual_large",
                "after correction the card is still off by {mean:.1f} on average and {worst:.1f} at patch {patch}: "
                "check edition, covered patches and the light",
                {"mean": residual.mean, "worst": residual.worst, "patch": residual.worst_patch + 1},
            )
        )
    if local.found != "none":
        doubts.append(
            Notice(
                f"local_tone_{local.found}",
                "the camera brightens dark places by themselves (strength {strength:.2f}): "
                "turn off its HDR and scene modes and shoot again",
                {"strength": local.strength},
            )
        )
    if local.gradient > _GRADIENT:
        doubts.append(
            Notice(
                "light_falls_across_card",
                "light changes by {percent:.0f} % across the card: even out the lamps or shoot the white sheet again",
                {"percent": 100 * local.gradient},
            )
        )
    if not correction.is_better and correction.profile_alone is not None:
        doubts.append(
            Notice(
                "correction_makes_it_worse",
                "the correction would make the card worse ({loo:.1f} against {alone:.1f} by the profile alone): "
                "it is not used",
                {"loo": correction.leave_one_out.mean, "alone": correction.profile_alone.mean},
            )
        )
    return tuple(doubts)


def card_is_plausible(correction: Correction, limits: tuple[float, float] = LIMITS) -> bool:
    """Return whether colours may be read with this correction; faint doubts only widen its claim."""
    codes = {doubt.code for doubt in card_doubts(correction, limits)}
    return not codes & {"card_residual_large", "local_tone_strong", "correction_makes_it_worse"}
