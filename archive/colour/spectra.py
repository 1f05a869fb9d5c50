"""From reflectance spectra to colour, by the weights of ASTM E308."""

from __future__ import annotations

import warnings
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.spaces import Floats, xyz_to_lab
from archive.errors import ColourError

STEPS_NM = (1.0, 5.0, 10.0, 20.0)  # the steps that ASTM E308-15 has weights for
VISIBLE_NM = (400.0, 700.0)  # what a spectrum must cover at least [common practice of handheld instruments]
BRIGHTEST = 2.0  # reflectance factor; brightened papers and fluorescent inks pass one [own choice]
_ROUNDING = 0.01  # reflectance factor an instrument's dark offset may leave below zero [own choice]


def reflectance_to_lab(reflectance: ArrayLike, start_nm: float, step_nm: float, *, percent: bool = False) -> Floats:
    """Return L*a*b* under D50 for the 2 degree observer.

    Parameters
    ----------
    reflectance : (..., n) array_like
        Reflectance factors, 1 = perfect diffuser, one a wavelength on the last axis. Up to 2 passes.
    start_nm, step_nm : float
        First wavelength and step; steps of 1, 5, 10 or 20 nm, from 400 nm or less to 700 nm or more.
    percent : bool
        The numbers are percent of the perfect diffuser.

    Returns
    -------
    (..., 3) ndarray of float64; the perfect diffuser becomes 100, 0, 0

    Raises
    ------
    ColourError
        Numbers are missing or on the wrong scale, or the wavelengths are none that ASTM E308 weighs.

    Source: ASTM E308-15 as colour-science computes it (360-780 nm; what a spectrum lacks at the ends is taken
    to equal its end values).
    """
    spectra = check_reflectance(reflectance, percent=percent)
    weights = weights_d50(float(start_nm), float(step_nm), spectra.shape[-1])
    return xyz_to_lab(spectra @ weights, weights.sum(axis=0))


def check_reflectance(reflectance: ArrayLike, *, percent: bool = False) -> Floats:
    """Return the reflectance factors as float64, 1 = perfect diffuser, when their scale is right.

    Parameters
    ----------
    reflectance : (..., n) array_like
    percent : bool
        The numbers are percent.

    Returns
    -------
    (..., n) ndarray of float64

    Raises
    ------
    ColourError
        Numbers are missing, infinite, negative or beyond twice the perfect diffuser.
    """
    try:
        spectra = np.asarray(reflectance, dtype=np.float64)
    except (TypeError, ValueError) as exc:
        raise ColourError("a spectrum must be numbers", mend="Give one number a wavelength.") from exc
    if spectra.ndim == 0 or not np.isfinite(spectra).all():
        raise ColourError("a spectrum has gaps", mend="Give one finite number a wavelength.")
    if percent:
        spectra = spectra / 100
    low, high = (float(spectra.min()), float(spectra.max())) if spectra.size else (0.0, 0.0)
    if high > BRIGHTEST:
        raise ColourError(
            "reflectance goes up to {high}, but the perfect diffuser has 1",
            high=high,
            mend="Say that the numbers are percent, or divide them by 100.",
        )
    if low < -_ROUNDING:
        raise ColourError("reflectance of {low} is below zero", low=low, mend="Measure this patch again.")
    return spectra


@lru_cache(maxsize=32)
def weights_d50(start_nm: float, step_nm: float, count: int) -> Floats:
    """Return what each wavelength adds to XYZ under D50 for the 2 degree observer.

    Parameters
    ----------
    start_nm, step_nm : float
    count : int
        How many wavelengths.

    Returns
    -------
    (count, 3) ndarray of float64, read-only; the columns sum to the XYZ of the perfect diffuser

    Raises
    ------
    ColourError
        The wavelengths are none that ASTM E308 weighs.
    """
    _check_wavelengths(start_nm, step_nm, count)
    weights = np.empty((count, 3))
    with warnings.catch_warnings():
        # It tells of Matplotlib, which nothing here needs, and of cutting to 360-780 nm, as the standard asks.
        warnings.simplefilter("ignore")
        import colour

        shape = colour.SpectralShape(start_nm, start_nm + step_nm * (count - 1), step_nm)
        observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
        d50 = colour.SDS_ILLUMINANTS["D50"]
        # The method is linear: one unit spectrum a wavelength gives its weight, with all its end rules.
        for at, unit in enumerate(np.eye(count)):
            spectrum = colour.SpectralDistribution(unit, shape)
            weights[at] = colour.sd_to_XYZ(spectrum, observer, d50, method="ASTM E308") / 100
    weights.setflags(write=False)
    return weights


def _check_wavelengths(start_nm: float, step_nm: float, count: int) -> None:
    """Raise unless ASTM E308 has weights for the wavelengths and they cover what the eye sees."""
    if step_nm not in STEPS_NM:
        raise ColourError(
            "a spectrum in steps of {step} nm has no published weights",
            step=step_nm,
            mend="Export it in steps of 1, 5, 10 or 20 nm.",
        )
    end_nm = start_nm + step_nm * (count - 1)
    if start_nm > VISIBLE_NM[0] or end_nm < VISIBLE_NM[1]:
        raise ColourError(
            "a spectrum from {start} to {end} nm leaves out light that the eye sees",
            start=start_nm,
            end=end_nm,
            mend="Export 400 to 700 nm at least.",
        )
    if start_nm % min(step_nm, 10.0):
        raise ColourError(
            "a spectrum in steps of {step} nm cannot start at {start} nm",
            step=step_nm,
            start=start_nm,
            mend="Start at a whole ten, as the published weights do.",
        )
