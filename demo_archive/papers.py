"""The workshop's four papers as reflectance spectra; invented figures in the range of uncoated stock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_archive.spectra import WAVELENGTHS, Floats


@dataclass(frozen=True, slots=True)
class PaperBody:
    """What a paper does to light and ink.

    reflectance : (36,) ndarray
        Bare sheet over white backing.
    spread : float
        How far light wanders inside compared with the dots, 0 (stays) to 1 (fully mixed).
    thirst : float
        How much ink sinks out of sight, as a share of the film.
    tooth : float
        Strength of the visible fibre, 0-1.
    yellowing : float
        Blue reflectance lost per year.
    """

    name: str
    reflectance: Floats
    spread: float
    thirst: float
    tooth: float
    yellowing: float


def _sheet(top: float, blue_loss: float, fall: float, *humps: tuple[float, float, float]) -> Floats:
    """Return a paper: `top` at the red end, less towards the blue, minus dye humps (centre, width, depth)."""
    nm = WAVELENGTHS
    curve = top - blue_loss / (1 + np.exp((nm - 450) / fall)) - 0.00011 * (730 - nm)
    curve = curve - 0.16 * np.exp(-(nm - 380) / 14)
    for centre, width, depth in humps:
        curve = curve - depth * np.exp(-0.5 * ((nm - centre) / width) ** 2)
    return np.asarray(curve)


PAPER_BODIES: dict[str, PaperBody] = {
    body.name: body
    for body in (
        PaperBody("Oatleaf 120", _sheet(0.865, 0.13, 38), 0.72, 0.08, 0.35, 0.0011),
        PaperBody("Chalkroad 90", _sheet(0.885, 0.02, 40, (440, 24, -0.05)), 0.66, 0.03, 0.22, 0.0017),
        PaperBody("Ryebank 100", _sheet(0.775, 0.17, 55, (520, 60, 0.015)), 0.80, 0.14, 0.75, 0.0008),
        PaperBody("Duskmoth 140", _sheet(0.56, 0.02, 40, (600, 55, 0.075), (500, 50, 0.02)), 0.76, 0.11, 0.5, 0.0009),
    )
}
