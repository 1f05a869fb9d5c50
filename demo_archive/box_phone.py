"""A telephone's camera: silicon behind three filters, a lamp that is not daylight, and what the maker makes of it.

Unlike the shots in `camera.py` this one looks at spectra: an ink and a patch of the colour card that look alike to
a person need not look alike to it. All figures are invented; shapes are those of published filter arrays and LEDs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from demo_archive.box_card import card_reflectance
from demo_archive.press import luck
from demo_archive.spectra import WAVELENGTHS, Floats, encode_srgb, reflectance_to_xyz, xyz_to_linear_rgb

SIZE = (2016, 2688)  # width and height of an upright photo, pixels
HEADROOM = 1.15  # reflectance factor at which the sensor is full
BALANCE = (1.035, 1.0, 0.96)  # what the phone's white balance is off by
OWN_COLOURS = 0.65  # how far the maker's matrix goes from the filters' colours to true ones
EXPOSURE, CONTRAST = 0.83, 0.30
FALL_OFF = 0.24  # light lost in the corners
LEAN = (0.05, -0.035)  # more light from one side, rightwards and downwards
NOISE, QUALITY = 1.3, 88
_TILE = 512
_STEPS = 4096  # of linear light in the tone curve
_ROWS = 48


def _hump(centre: float, width: float) -> Floats:
    return np.asarray(np.exp(-0.5 * ((WAVELENGTHS - centre) / width) ** 2))


@cache
def _sees() -> Floats:
    """Return the (36, 3) weights from reflectance to the sensor's values, 1 for a perfect white."""
    lamp = 0.45 * _hump(453, 14) + 0.4 * _hump(480, 30) + 0.85 * _hump(545, 50) + _hump(620, 60)
    filters = np.stack(
        [_hump(596, 36) + 0.07 * _hump(530, 40), _hump(536, 40) + 0.05 * _hump(610, 40), _hump(450, 26)], axis=1
    )
    weights = filters * lamp[:, None]
    return np.asarray(weights / weights.sum(axis=0))


def sensor_codes(reflectance: Floats) -> Floats:
    """Return the sensor's values (..., 3) of reflectance factors (..., 36), coded 0-255 evenly for the eye."""
    return np.asarray(encode_srgb(reflectance @ _sees() / HEADROOM) * 255)


@cache
def _matrix() -> Floats:
    """Return the maker's (3, 3) matrix from sensor values to linear sRGB: fitted to the card, white kept white."""
    card = card_reflectance()
    fitted, *_ = np.linalg.lstsq(card @ _sees(), xyz_to_linear_rgb(reflectance_to_xyz(card)), rcond=None)
    own = OWN_COLOURS * fitted + (1 - OWN_COLOURS) * np.eye(3)
    return np.asarray(own / own.sum(axis=0))


@cache
def _light_of_codes() -> NDArray[np.float32]:
    codes = np.arange(256) / 255
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4) * HEADROOM
    return np.asarray(light, dtype=np.float32)


@cache
def _tone() -> NDArray[np.uint8]:
    """Return the maker's tone curve at even steps of linear light."""
    encoded = encode_srgb(np.linspace(0, 1, _STEPS))
    curved = encoded + CONTRAST * 0.35 * encoded * (1 - encoded) * (2 * encoded - 1)
    return np.rint(np.clip(curved, 0, 1) * 255).astype(np.uint8)


@cache
def _field() -> NDArray[np.float32]:
    """Return the light that arrives from every place, (h, w): lens and lamps together, 1 in the middle."""
    x = np.linspace(-1, 1, SIZE[0], dtype=np.float32)
    y = np.linspace(-1, 1, SIZE[1], dtype=np.float32)[:, None]
    lens = 1 - FALL_OFF * (x**2 * 0.36 + y**2 * 0.64)
    return np.asarray(lens * (1 + LEAN[0] * x + LEAN[1] * y), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Moment:
    """How one shot differs from the others of the sitting: the lamps, and how unsteady the hand was (pixels)."""

    lamps: tuple[float, float, float] = (1.0, 1.0, 1.0)
    blur: float = 0.0


AS_USUAL = Moment()


def developed(scene: Image.Image, moment: Moment, luck_words: Sequence[object]) -> Image.Image:
    """Return the photo of a scene of sensor codes: fall-off, white balance, matrix, tone curve, noise."""
    gains = np.array(moment.lamps) * np.array(BALANCE) * EXPOSURE
    mixing = (gains[:, None] * _matrix() * (_STEPS - 1)).astype(np.float32)
    codes = np.asarray(scene)
    out = np.empty_like(codes)
    for top in range(0, len(codes), _ROWS):  # so few rows stay in the processor's own memory: three times as fast
        rows = slice(top, top + _ROWS)
        light = [_light_of_codes()[codes[rows, :, channel]] * _field()[rows] for channel in range(3)]
        for channel, (r, g, b) in enumerate(mixing.T):
            mixed = np.clip(light[0] * r + light[1] * g + light[2] * b, 0, _STEPS - 1)
            out[rows, :, channel] = _tone()[mixed.astype(np.uint16)]
    return Image.fromarray(_noisy(out, luck(*luck_words)))


@cache
def _noise() -> NDArray[np.int8]:
    return np.rint(np.random.default_rng(7).normal(0, NOISE, (_TILE, _TILE, 3))).astype(np.int8)


def _noisy(codes: NDArray[np.uint8], rng: np.random.Generator) -> NDArray[np.uint8]:
    height, width = codes.shape[:2]
    tile = np.roll(_noise(), tuple(rng.integers(_TILE, size=2)), (0, 1))
    noise = np.tile(tile, (-(-height // _TILE), -(-width // _TILE), 1))[:height, :width]
    out = np.empty_like(codes)
    for top in range(0, height, _ROWS):
        rows = slice(top, top + _ROWS)
        out[rows] = np.clip(codes[rows] + noise[rows].astype(np.int16), 0, 255)
    return out
