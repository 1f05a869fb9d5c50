"""A spectral camera: lamps, a colour card, prints and published sensitivities, down to 8-bit pixels.

It is the yardstick for `archive.colour.camera` and shares nothing with the archive: colour-science gives the
sensitivities, lamps, card and observer, numpy the rest. What a shot hides from the corrector (tone curve, white
balance, encoding, local tone mapping) is chosen here.

Sources: sensitivities of two cameras, Darrodi et al. 2015, J. Opt. Soc. Am. A 32(3), 381-391; lamps of CIE 015:2018;
reflectances of the 24-patch card; all as colour-science holds them. The prints are invented.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NM: Floats = np.arange(400.0, 681.0, 5.0)  # nm, what both cameras were measured at
LAMPS = {  # what stands on a table, and the CIE's illuminant for it; colour rendering index in brackets
    "D50": "D50",
    "D65": "D65",
    "high-CRI LED": "LED-V2",  # (96), 4069 K
    "broad-band tube": "FL3.15",  # a daylight tube
    "narrow-band tube": "FL11",  # (83), 4000 K
    "white LED": "LED-B3",  # (85), 4102 K
    "warm LED": "LED-B1",  # (82), 2733 K
    "tungsten": "A",
}
GOOD_LAMPS = ("D50", "D65", "high-CRI LED")


@dataclass(frozen=True, slots=True)
class Shot:
    """What one camera does between the sensor and the file, unknown to whoever corrects it.

    camera : "filter array" or "stacked", moved by `shift_nm` (no two cameras are alike).
    balance : error of the white balance per channel, as factors.
    exposure : what the lightest patch of the card becomes, 0-1.
    contrast : strength of the maker's tone curve on the encoded values, 0 none, 1 moderate, 2 strong.
    is_rendered : the maker's matrix to sRGB stands before the tone curve, and cuts what sRGB cannot show.
    local : strength of local tone mapping, 0 none.
    noise : standard deviation of a pixel, 8-bit codes.
    """

    lamp: str = "D50"
    camera: str = "filter array"
    shift_nm: float = 0.0
    balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 0.85
    contrast: float = 1.0
    is_rendered: bool = False
    local: float = 0.0
    noise: float = 1.0
    luck: int = 0


def _science() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def _spectrum(distribution: Any) -> Floats:
    """Return a data set's values at `NM`, its ends held where it stops short."""
    return np.interp(NM, distribution.wavelengths, distribution.values)


@lru_cache(maxsize=16)
def sensitivities(camera: str = "filter array", shift_nm: float = 0.0) -> Floats:
    """Return the (bands, 3) sensitivities of a camera."""
    published = list(_science().MSDS_CAMERA_SENSITIVITIES.values())
    data = published[("filter array", "stacked").index(camera)]
    return np.stack([np.interp(NM, data.wavelengths + shift_nm, data.values[:, c]) for c in range(3)], axis=1)


@lru_cache(maxsize=32)
def lamp_spectrum(lamp: str) -> Floats:
    """Return the (bands,) light of a lamp of `LAMPS`, or of any of colour-science's by its own name."""
    return _spectrum(_science().SDS_ILLUMINANTS[LAMPS.get(lamp, lamp)])


@lru_cache(maxsize=4)
def card_reflectance(edition: str = "averaged") -> Floats:
    """Return the (24, bands) reflectance of the card, in its usual order."""
    published = list(_science().SDS_COLOURCHECKERS.values())
    card = published[0] if edition == "averaged" else _science().SDS_COLOURCHECKERS["ISO 17321-1"]
    return np.stack([_spectrum(patch) for patch in card.values()])


@lru_cache(maxsize=1)
def _observer() -> Floats:
    bars = _science().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    bars = np.stack([np.interp(NM, bars.wavelengths, bars.values[:, c]) for c in range(3)], axis=1)
    weighted = bars * lamp_spectrum("D50")[:, None]
    white = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2022
    return np.asarray(weighted / weighted.sum(axis=0) * white)


def true_xyz(reflectance: Floats) -> Floats:
    """Return XYZ under D50, Y = 1 for white."""
    return np.asarray(reflectance @ _observer())


def true_lab(reflectance: Floats) -> Floats:
    """Return Lab under D50, as colour-science converts it."""
    colour = _science()
    white = colour.XYZ_to_xy(np.array([0.9642, 1.0, 0.8249]))
    return np.asarray(colour.XYZ_to_Lab(true_xyz(reflectance), white))


def difference(lab_1: Floats, lab_2: Floats) -> Floats:
    """Return CIEDE2000 as colour-science computes it."""
    return np.asarray(_science().delta_E(lab_1, lab_2, method="CIE 2000"))


# --- Prints: inks unlike the card's pigments -----------------------------------------------------------------


def _humps(*parts: tuple[float, float, float]) -> Floats:
    """Return optical density as humps of (centre nm, width nm, height)."""
    return np.sum([height * np.exp(-0.5 * ((NM - at) / width) ** 2) for at, width, height in parts], axis=0)


def _step(at: float, slope: float, height: float) -> Floats:
    """Return optical density that falls from `height` to nothing around `at` nm."""
    return np.asarray(height / (1 + np.exp((NM - at) / slope)))


INKS: dict[str, Floats] = {
    "Kilnsong": _step(585, 9, 1.25) + 0.03,
    "Ferrywake": _humps((615, 58, 0.95), (700, 60, 0.35), (560, 30, 0.25)) + 0.05,
    "Dockrope": _step(500, 13, 0.95) + 0.08,
    "Nettlecoat": _humps((640, 48, 0.85), (430, 40, 0.75)) + 0.09,
    "Sootwell": np.full(NM.shape, 1.15) + _humps((480, 90, 0.1)),
    "rose": _humps((530, 34, 0.95), (500, 30, 0.4)) + 0.02,
    "violet": _humps((570, 50, 0.9), (610, 25, 0.25)) + 0.05,
    "teal": _humps((650, 50, 1.0), (600, 35, 0.4)) + _step(420, 12, 0.25) + 0.04,
    "plum": _humps((540, 60, 1.05), (430, 40, 0.3)) + 0.07,
    "orange": _step(560, 11, 1.0) + 0.02,
    "lemon": _step(487, 9, 1.05) + 0.02,
    "brown": _step(600, 38, 0.95) + 0.18,
    "sky": _humps((625, 45, 0.6), (680, 35, 0.25)) + 0.02,
    "moss": _step(505, 24, 0.8) + _humps((660, 40, 0.5)) + 0.12,
}
PAPER: Floats = 0.87 - 0.12 / (1 + np.exp((NM - 450) / 35)) - 0.0001 * (700 - NM)
TINTS = (0.0, 0.15, 0.35, 0.6, 0.85, 1.0)


def pair_reflectance(first: str, second: str, tints: tuple[float, ...] = TINTS) -> Floats:
    """Return (len(tints)**2, bands) reflectances of two inks' tints over each other on paper.

    Light that wanders in the paper is Yule and Nielsen's n = 2; dots overlap at random.
    """
    primaries = np.sqrt(PAPER * 10 ** -np.stack([0 * NM, INKS[first], INKS[second], INKS[first] + 0.8 * INKS[second]]))
    one, two = (axis.ravel() for axis in np.meshgrid(tints, tints, indexing="ij"))
    areas = np.stack([(1 - one) * (1 - two), one * (1 - two), (1 - one) * two, one * two], axis=1)
    return np.asarray((areas @ primaries) ** 2)


def ink_pairs() -> list[tuple[str, str]]:
    """Return all 91 pairs of the 14 inks."""
    return list(combinations(INKS, 2))


def prints() -> Floats:
    """Return (n, bands) reflectances: a handful of tints of every pair."""
    return np.concatenate([pair_reflectance(*pair, tints=(0.0, 0.4, 1.0))[1:] for pair in ink_pairs()])


# --- From light to the file -----------------------------------------------------------------------------------

_SRGB_FROM_XYZ_D50 = np.array(  # ISO 15076-1 annex E: the D50-adapted matrix of IEC 61966-2-1, turned round
    [[3.1338561, -1.6168667, -0.4906146], [-0.9787684, 1.9161415, 0.0334540], [0.0719453, -0.2289914, 1.4052427]]
)


def _raw(reflectance: Floats, shot: Shot) -> Floats:
    """Return sensor values, balanced so that a grey is nearly grey, scaled to the exposure."""
    seen = sensitivities(shot.camera, shot.shift_nm) * lamp_spectrum(shot.lamp)[:, None]
    card = card_reflectance()
    values = reflectance @ (seen / (card[21] @ seen) * np.array(shot.balance))
    white = card[18] @ (seen / (card[21] @ seen) * np.array(shot.balance))
    if shot.is_rendered:
        values, white = (part @ _makers_matrix(shot).T for part in (values, white))
    return np.asarray(values / white.max() * shot.exposure)


@lru_cache(maxsize=64)
def _makers_matrix(shot: Shot) -> Floats:
    """Return the maker's matrix from balanced sensor values to linear sRGB, made for daylight."""
    seen = sensitivities(shot.camera, shot.shift_nm) * lamp_spectrum("D65")[:, None]
    card = card_reflectance("other")
    values = card @ (seen / (card[21] @ seen))
    wanted = true_xyz(card) / true_xyz(card[21])[1] @ _SRGB_FROM_XYZ_D50.T
    matrix = np.linalg.lstsq(values, wanted, rcond=None)[0].T
    return np.asarray(matrix / matrix.sum(axis=1, keepdims=True))


def _encode(linear: Floats) -> Floats:
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)


def _decode(encoded: Floats) -> Floats:
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


def toned(linear: Floats, contrast: float) -> Floats:
    """Return encoded values, 0-1, after sRGB's curve and a maker's S-shaped tone curve."""
    e = np.clip(_encode(np.clip(linear, 0, 1)), 0, 1)
    lifted = e + 0.06 * contrast * 4 * e * (1 - e)  # makers lift the middle ...
    return np.clip(lifted + 0.3 * contrast * lifted * (1 - lifted) * (2 * lifted - 1), 0, 1)  # ... and bend both ends


def encoded(reflectance: Floats, shot: Shot, surround: Floats | None = None) -> Floats:
    """Return encoded values, 0-1, of flat patches before pixels.

    Parameters
    ----------
    reflectance : (n, bands)
    surround : (n,) or None
        Mean light around each patch as reflectance factor; local tone mapping lifts what lies in the dark.
    """
    linear = _raw(reflectance, shot)
    if shot.local and surround is not None:
        linear = linear * (np.asarray(surround)[:, None] / 0.18) ** (-shot.local)
    return toned(linear, shot.contrast)


def device_rgb(reflectance: Floats, shot: Shot, surround: Floats | None = None, pixels: int = 400) -> Floats:
    """Return what a reader of the file finds: mean linear values of 8-bit pixels, sRGB's curve undone.

    (n, bands) -> (n, 3), 0-1.
    """
    rng = np.random.default_rng([shot.luck, len(reflectance)])
    clean = encoded(reflectance, shot, surround) * 255
    noisy = clean[:, None, :] + rng.normal(0, shot.noise, (len(clean), pixels, 3))
    return np.asarray(_decode(np.clip(np.rint(noisy), 0, 255) / 255).mean(axis=1))


def card_surround(reflectance: Floats) -> Floats:
    """Return the mean luminance round each of the 24 patches (4 rows of 6), the card's dark border included."""
    light = np.pad(true_xyz(reflectance)[:, 1].reshape(4, 6), 1, constant_values=0.04)
    around = sum(np.roll(light, (y, x), (0, 1)) for y in (-1, 0, 1) for x in (-1, 0, 1))
    return np.asarray(around[1:-1, 1:-1].ravel() / 9)


def card_rgb(shot: Shot) -> Floats:
    """Return the card's (24, 3) device values in a shot."""
    card = card_reflectance()
    return device_rgb(card, shot, card_surround(card))


def shots(lamps: tuple[str, ...] = tuple(LAMPS), *, seed: int = 1, camera: str = "filter array") -> list[Shot]:
    """Return one shot a lamp, each with its own tone curve, white balance, exposure and sensor (within 2 nm)."""
    rng = np.random.default_rng(seed)
    made = []
    for at, lamp in enumerate(lamps):
        red, green, blue = (float(f) for f in np.exp(rng.normal(0, 0.05, 3)))
        shift_nm, exposure = float(rng.uniform(-2, 2)), float(rng.uniform(0.7, 0.9))
        contrast = float(rng.uniform(0, 2))
        made.append(Shot(lamp, camera, shift_nm, (red, green, blue), exposure, contrast, luck=seed * 100 + at))
    return made
