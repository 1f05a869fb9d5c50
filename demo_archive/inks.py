"""The workshop's twelve inks as bodies: absorption and scattering per wavelength, tone, fading.

Every figure is invented: shapes were drawn until solids on off-white looked like a stencil duplicator's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_archive.spectra import WAVELENGTHS, Floats

SOLID = 0.972  # share of the paper a solid covers: fibres of the master leave pinholes; common practice


@dataclass(frozen=True, slots=True)
class InkBody:
    """What an ink does to light and how its dots grow.

    absorption, scattering : (36,) ndarray
        Kubelka-Munk K and S of one full solid film (film thickness = 1, so unitless).
    gain : float
        Mechanical growth of a 50 % dot, as coverage.
    holds_from, closes_at : float
        Tint (%) below which nothing prints, and from which the screen closes to a solid.
    fading : float
        Share of absorption lost per year in a drawer.
    mottle : float
        How unevenly a solid lies, as a share of the film.
    glow : float
        Fluorescence: peak emission relative to light absorbed; 0 for ordinary inks.
    """

    name: str
    kind: str
    shade: str
    absorption: Floats
    scattering: Floats
    gain: float
    holds_from: float
    closes_at: float
    fading: float
    mottle: float
    glow: float = 0.0


def _bands(*humps: tuple[float, float, float], floor: float = 0.02) -> Floats:
    """Return absorption as a floor and humps of (centre nm, width nm, height)."""
    total = np.full(WAVELENGTHS.shape, floor)
    for centre, width, height in humps:
        total = total + height * np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2)
    return total


def _edge(at: float, slope: float, height: float) -> Floats:
    """Return absorption that falls from `height` to nothing around `at` nm."""
    return np.asarray(height / (1 + np.exp((WAVELENGTHS - at) / slope)))


def _haze(level: float, blue: float = 0.0) -> Floats:
    """Return scattering: `level` throughout, `blue` more towards the short end (small particles)."""
    return np.asarray(level + blue * ((730 - WAVELENGTHS) / 350) ** 2)


def _transparent() -> tuple[InkBody, ...]:
    warm_red = _edge(584, 11, 0.85) + _bands((525, 38, 0.32), (440, 50, 0.35), floor=0.035)
    blue = _bands((610, 60, 0.95), (690, 70, 0.62), (530, 40, 0.10), (385, 25, 0.25), floor=0.075)
    yellow = _edge(512, 15, 0.80) + _bands((600, 120, 0.06), floor=0.055)
    green = _bands((645, 52, 1.0), (705, 45, 0.55), (410, 46, 0.85), (575, 40, 0.22), floor=0.10)
    violet = _bands((560, 48, 0.75), (615, 45, 0.42), (490, 50, 0.32), floor=0.10)
    pink = _bands((530, 38, 0.42), (490, 45, 0.18), (410, 45, 0.14), floor=0.05)
    teal = _bands((650, 55, 0.55), (700, 50, 0.40), (590, 40, 0.20), (400, 35, 0.17), floor=0.045)
    brown = _edge(595, 42, 0.85) + _bands((430, 60, 0.2), (620, 60, 0.24), floor=0.18)
    black = _bands((480, 120, 0.2), (650, 90, 0.12), floor=1.15)
    return (
        InkBody("Kilnsong", "transparent", "warm red", warm_red, _haze(0.05, 0.02), 0.15, 3.8, 93, 0.006, 0.10),
        InkBody("Ferrywake", "transparent", "blue", blue, _haze(0.03, 0.06), 0.17, 3.6, 92, 0.002, 0.12),
        InkBody("Dockrope", "transparent", "dull yellow", yellow, _haze(0.09, 0.02), 0.13, 4.0, 94, 0.004, 0.08),
        InkBody("Nettlecoat", "transparent", "green", green, _haze(0.06, 0.05), 0.16, 3.7, 92, 0.003, 0.11),
        InkBody("Sootwell", "transparent", "near black", black, _haze(0.03, 0.01), 0.20, 3.5, 91, 0.001, 0.07),
        InkBody("Damsonlatch", "transparent", "violet", violet, _haze(0.04, 0.05), 0.18, 3.6, 92, 0.008, 0.12),
        InkBody("Peltrose", "transparent", "dusty pink", pink, _haze(0.07, 0.02), 0.14, 4.0, 93, 0.012, 0.09),
        InkBody("Tidewick", "transparent", "pale teal", teal, _haze(0.06, 0.06), 0.15, 3.9, 93, 0.004, 0.10),
        InkBody("Marlbrick", "transparent", "brick brown", brown, _haze(0.10, 0.03), 0.17, 3.8, 92, 0.002, 0.13),
    )


def _special() -> tuple[InkBody, ...]:
    pale = _edge(440, 30, 0.20) + _bands((500, 90, 0.03), floor=0.02)
    glowing = _edge(575, 10, 0.95) + _bands((540, 28, 0.3), floor=0.02)
    metal = _bands((430, 90, 0.20), floor=0.62)
    return (
        InkBody("Gullbone", "opaque", "pale bone", pale, _haze(1.25, 0.25), 0.12, 4.0, 93, 0.001, 0.10),
        InkBody(
            "Oddlight", "fluorescent", "glowing coral", glowing, _haze(0.12, 0.02), 0.14, 4.0, 93, 0.03, 0.08, 0.34
        ),
        InkBody("Tinhymn", "metallic", "dull silver", metal, _haze(0.75, 0.05), 0.16, 4.0, 92, 0.002, 0.14),
    )


INK_BODIES: dict[str, InkBody] = {body.name: body for body in (*_transparent(), *_special())}


def coverage(body: InkBody, tint: float, *, gain_factor: float = 1.0) -> float:
    """Return the fraction of paper that a tint (%) really covers, 0-1.

    Below `holds_from` the dots are lost; just above it they appear at once at nearly full size;
    from `closes_at` the gaps fill. In between they grow by a lopsided hump (common practice: most at 40-50 %).
    """
    if tint < body.holds_from:
        return 0.0
    if tint >= body.closes_at:
        return SOLID
    t = tint / 100
    hump = 4 * t * (1 - t) * (1.12 - 0.24 * t)
    shy = 0.35 * t * np.exp(-((tint - body.holds_from) / 3.0))  # the smallest dots print a little small
    return float(np.clip(t + body.gain * gain_factor * hump - shy, 0.0, SOLID))


def film(body: InkBody, tint: float) -> float:
    """Return film thickness where the ink lies, relative to a tint's: a hot solid takes a little more ink."""
    return 1.07 if tint >= body.closes_at else 1.0
