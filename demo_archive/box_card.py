"""The colour card and the card of a place, as they lie on the table."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from PIL import Image, ImageDraw

from demo_archive.drawing import font
from demo_archive.spectra import WAVELENGTHS, WEIGHTS, WHITE, Floats

CARD_MM = (113.0, 77.0)
PLACE_CARD_MM = (148.0, 210.0)
PX_PER_MM = 6.0
_PITCH, _PATCH, _MARGIN = 18.0, 15.0, 4.0  # mm
_BORDER = 0.035  # reflectance

# Published Lab (D50, 2 degrees) of the 24-patch card as made since November 2014, row by row from the upper left,
# dark skin to black.
_LAB = """
37.54 14.37 14.92  64.66 19.27 17.50  49.32 -3.82 -22.54  43.46 -12.74 22.72  54.94 9.61 -24.79  70.48 -32.26 -0.37
62.73 35.83 56.50  39.43 10.75 -45.17  50.57 48.64 16.67  30.10 22.54 -20.87  71.77 -24.13 58.19  71.51 18.24 67.37
28.37 15.42 -49.80  54.38 -39.72 32.27  42.43 51.05 28.62  81.80 2.67 80.41  50.63 51.28 -14.12  49.57 -29.71 -28.32
95.19 -1.03 2.93  81.29 -0.57 0.44  66.89 -0.75 -0.06  50.76 -0.13 0.14  35.63 -0.46 -0.48  20.64 0.07 -0.46
"""


@cache
def card_reflectance() -> Floats:
    """Return (24, 36) reflectance factors that have the card's colours: of all such, the smoothest in the logarithm.

    Pigments absorb smoothly; the true spectra are not needed, only that they are not the inks'.
    """
    L, a, b = np.array([float(word) for word in _LAB.split()]).reshape(24, 3).T
    fy = (L + 16) / 116
    f = np.stack([fy + a / 500, fy, fy - b / 200], axis=1)
    xyz = np.where(f > 6 / 29, f**3, (f - 4 / 29) * 3 * (6 / 29) ** 2) * WHITE
    return np.stack([_smoothest(each) for each in xyz])


def _smoothest(xyz: Floats) -> Floats:
    """Return the reflectance that has this XYZ and whose logarithm slopes least (squared), by Newton's steps."""
    bands = len(WAVELENGTHS)
    slope = np.diff(np.eye(bands), axis=0)
    hessian = 2 * slope.T @ slope
    z, multiplier = np.full(bands, np.log(xyz[1])), np.zeros(3)
    for _ in range(60):
        r = np.exp(z)
        jacobian = r[:, None] * WEIGHTS
        gradient = hessian @ z + jacobian @ multiplier
        system = np.block([[hessian + np.diag(jacobian @ multiplier), jacobian], [jacobian.T, np.zeros((3, 3))]])
        step = np.linalg.solve(system, -np.concatenate([gradient, WEIGHTS.T @ r - xyz]))
        step *= min(1.0, 0.7 / np.abs(step[:bands]).max())
        z, multiplier = z + step[:bands], multiplier + step[bands:]
    return np.asarray(np.exp(z))


def colour_card(seen: Callable[[Floats], Floats]) -> Image.Image:
    """Return the card read upright, in a camera's codes."""
    border, *patches = np.rint(seen(np.vstack([np.full((1, 36), _BORDER), card_reflectance()]))).astype(int).tolist()
    card = Image.new("RGB", (round(CARD_MM[0] * PX_PER_MM), round(CARD_MM[1] * PX_PER_MM)), tuple(border))
    pen = ImageDraw.Draw(card)
    for at, patch in enumerate(patches):
        left, top = (round((_MARGIN + step * _PITCH) * PX_PER_MM) for step in (at % 6, at // 6))
        side = round(_PATCH * PX_PER_MM) - 1
        pen.rectangle((left, top, left + side, top + side), fill=tuple(patch))
    return card


def place_card(name: str, code: Image.Image, seen: Callable[[Floats], Floats]) -> Image.Image:
    """Return the printed card of a place, in a camera's codes: its name in large type over its code.

    Parameters
    ----------
    code : Image
        The code as it was drawn, black on white with its quiet zone.
    """
    ink, paper = np.rint(seen(np.stack([np.full(36, 0.04), np.full(36, 0.84)])))
    width, height = (round(side * PX_PER_MM) for side in PLACE_CARD_MM)
    page = Image.new("L", (width, height), 255)
    side = round(90 * PX_PER_MM)
    page.paste(code.convert("L").resize((side, side), Image.Resampling.NEAREST), ((width - side) // 2, height // 3))
    pen = ImageDraw.Draw(page)
    pen.text((width / 2, height * 0.24), name, fill=0, font=font(round(26 * PX_PER_MM)), anchor="ms")
    hint = "Photograph this card first."
    pen.text((width / 2, height * 0.88), hint, fill=0, font=font(round(6 * PX_PER_MM)), anchor="ms")
    tables = [np.linspace(ink[channel], paper[channel], 256).round().astype(int).tolist() for channel in range(3)]
    return Image.merge("RGB", [page.point(table) for table in tables])
