"""One ink's tints by their spectra, where an instrument gives them: Yule–Nielsen for every wavelength.

From the spectra of bare paper and solid alone, each tint is one number, the share of paper it covers, and the whole
ramp one more, the factor n. n is free up to 10: on a real spot ink over off-white uncoated paper 2 is far too low.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.overprint_mix import demichel_weights, yule_nielsen
from archive.colour.spaces import Floats
from archive.colour.spectra import check_reflectance
from archive.errors import ColourError

MOST_N = 10.0
_TRIED_N = np.concatenate([np.arange(1.0, 4.0, 0.1), np.arange(4.0, MOST_N + 0.01, 0.25)])
_DARKEST = 1e-4  # reflectance factor: roots want something above nothing


@dataclass(frozen=True, slots=True)
class SpectralRamp:
    """One ink's ramp: `paper` and `solid` (k,) reflectance factors, the factor `n`, `coverage` (t,) of its tints."""

    paper: Floats
    solid: Floats
    n: float
    coverage: Floats

    def reflectance(self, coverage: ArrayLike) -> Floats:
        """Return the reflectance factors (..., k) of coverages (...), 0-1."""
        share = np.asarray(coverage, dtype=np.float64)
        return yule_nielsen(demichel_weights(share[..., None]), np.stack([self.paper, self.solid]), self.n)


def fit_ramp(paper: ArrayLike, solid: ArrayLike, tints: ArrayLike, *, n: float | None = None) -> SpectralRamp:
    """Return the ramp whose paper and solid are given and whose tints' coverages are fitted to their spectra.

    Parameters
    ----------
    paper, solid : (k,) array_like
        Reflectance factors, 1 = perfect diffuser.
    tints : (t, k) array_like
        The tints' spectra.
    n : float
        The Yule–Nielsen factor, 1 to 10; the one of least squares, unless given.

    Raises
    ------
    ColourError
        The spectra differ in length, paper and solid are alike, or `n` leaves 1 to 10; else see `check_reflectance`.
    """
    bare, full, ramp = (np.maximum(check_reflectance(each), _DARKEST) for each in (paper, solid, tints))
    if bare.ndim != 1 or full.shape != bare.shape or ramp.ndim != 2 or ramp.shape[1:] != bare.shape:
        raise ColourError("the spectra of a ramp differ in length", mend="Give all on the same wavelengths.")
    if np.allclose(bare, full):
        raise ColourError("paper and solid have the same spectrum", mend="Read the solid again.")
    if n is not None and not 1 <= n <= MOST_N:
        raise ColourError("n must lie between 1 and {most}, not {n}", most=MOST_N, n=n)
    fitted = [_with_n(bare, full, ramp, factor) for factor in ([n] if n is not None else _TRIED_N)]
    misses = [float(((each.reflectance(each.coverage) - ramp) ** 2).sum()) for each in fitted]
    return fitted[int(np.argmin(misses))]


def _with_n(paper: Floats, solid: Floats, ramp: Floats, n: float) -> SpectralRamp:
    """Return the ramp under one n; coverages by least squares on the nth roots, where the mixture is linear."""
    bare, full, seen = paper ** (1 / n), solid ** (1 / n), ramp ** (1 / n)
    toward = full - bare
    coverage = np.clip((seen - bare) @ toward / (toward @ toward), 0.0, 1.0)
    return SpectralRamp(paper, solid, float(n), coverage)
