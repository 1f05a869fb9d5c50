"""Rendered sheets in pairs: drawn and printed by the demo's press, then photographed by code of the tests' own."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from PIL import Image

from demo_archive.camera import Camera, photographed, with_grain
from demo_archive.designs import FAMILIES, draw_sheet
from demo_archive.press import AVERAGE, luck
from demo_archive.values import Layer, Printed

INKS = (
    *("Kilnsong", "Ferrywake", "Dockrope", "Nettlecoat", "Sootwell", "Damsonlatch", "Peltrose", "Tidewick"),
    "Marlbrick",
)
PAPERS = ("Oatleaf 120", "Chalkroad 90")  # off-white and white: an uncorrected phone cannot tell one from the other
DYES = ((1.0, 0.86, 0.42), (1.0, 0.62, 0.66), (0.62, 0.8, 1.0), (0.66, 0.92, 0.6))  # light that a coloured paper leaves
TITLES = ("Nine Tides", "The Lamp Room", "Bus Stop Choir", "Box 14", "Salt Ledger", "Low Doors")
NEUTRAL = Camera((1.0, 1.0, 1.0), 0.0, 0.0, 0.0, 0.0, 95)
LONG_SIDE = 380
_CODE = np.arange(256) / 255
_TO_LIGHT = np.where(_CODE <= 0.04045, _CODE / 12.92, ((_CODE + 0.055) / 1.055) ** 2.4).astype(np.float32)
# IEC 61966-2-1


@dataclass(frozen=True)
class Sheet:
    """A sheet as it lies in the drawer: the drawing, its inks on a paper, and the run that decides its drift."""

    design: str
    title: str
    seed: int
    inks: tuple[str, str]
    paper: str
    run: str = "run 1"
    dye: tuple[float, float, float] = (1.0, 1.0, 1.0)
    size_mm: tuple[int, int] = (420, 297)


@dataclass(frozen=True)
class Pair:
    """Two pictures of sheets, and what they are to each other."""

    truth: str
    how: str
    one: np.ndarray
    other: np.ndarray


@lru_cache(maxsize=400)
def printed(sheet: Sheet) -> np.ndarray:
    """Return the sheet, (h, w, 3) of uint8, without any camera."""
    layers = (Layer(sheet.inks[0], None, 1, 1), Layer(sheet.inks[1], None, 1, 2))
    job = Printed(
        *(sheet.design, sheet.title, 0, sheet.seed, layers, ((100, 60, 30), (100, 60, 30)), sheet.paper),
        *("Upstairs", "FM", 3, 3, sheet.run, "2025-05-01", sheet.size_mm, 1),
    )
    height, width = (round(side * LONG_SIDE / max(sheet.size_mm)) for side in sheet.size_mm)
    tints = draw_sheet(job, width, height)
    picture = photographed(tints, layers, sheet.paper, AVERAGE, NEUTRAL)
    bare = tuple(int(part) for part in np.asarray(picture)[2, 2])
    return np.asarray(with_grain(picture, sheet.paper, bare, 0.0, luck("sheet", sheet.title, sheet.run)))


def shot(sheet: Sheet, rng: np.random.Generator, *, turns: int = 0) -> np.ndarray:
    """Return a photograph of the sheet, already cut to it: a little tilted, cropped, scaled; light, noise and JPEG."""
    pixels = np.ascontiguousarray(np.rot90(printed(sheet), turns))
    height, width = pixels.shape[:2]
    long_side = int(rng.integers(250, 400))
    out_w, out_h = (max(round(side * long_side / max(height, width)), 8) for side in (width, height))
    corners = np.array([(0, 0), (width, 0), (width, height), (0, height)], np.float32)
    cut = rng.uniform(-0.02, 0.04, (4, 2)) * (width, height)  # of a corner: outside the sheet, or inside
    seen = (corners + cut * np.array([(1, 1), (-1, 1), (-1, -1), (1, -1)])).astype(np.float32)
    to = np.array([(0, 0), (out_w, 0), (out_w, out_h), (0, out_h)], np.float32)
    table = tuple(float(part) for part in rng.choice([(132, 108, 84), (74, 78, 82), (190, 186, 180)]))
    warped = cv2.warpPerspective(
        cv2.GaussianBlur(pixels, (0, 0), 0.5), cv2.getPerspectiveTransform(seen, to), (out_w, out_h),
        flags=cv2.INTER_AREA, borderValue=table,
    )  # fmt: skip
    return _camera(warped, sheet.dye, rng)


def _camera(encoded: np.ndarray, dye: tuple[float, float, float], rng: np.random.Generator) -> np.ndarray:
    """Return what a phone makes of it: exposure, white balance, fall-off, tone curve, blur, noise, JPEG."""
    height, width = encoded.shape[:2]
    warm = rng.normal(0, 0.03)
    gains = rng.uniform(0.78, 1.04) * np.array([1 + warm, 1 + rng.normal(0, 0.01), 1 - warm]) * dye
    y, x = np.meshgrid(np.linspace(-1, 1, height), np.linspace(-1, 1, width), indexing="ij")
    side = rng.uniform(-0.06, 0.06, 2)
    shade = 1 - rng.uniform(0.02, 0.14) * (x**2 + y**2) / 2 + side[0] * x + side[1] * y
    light = _TO_LIGHT[encoded] * shade[..., None].astype(np.float32) * gains.astype(np.float32)
    code = np.arange(4096) / 4095
    seen = np.where(code <= 0.0031308, code * 12.92, 1.055 * code ** (1 / 2.4) - 0.055)
    seen = seen + rng.uniform(0, 0.09) * seen * (1 - seen) * (2 * seen - 1)
    developed = (seen * 255).astype(np.float32)[np.clip(light * 4095, 0, 4095).astype(np.int16)]
    developed = cv2.GaussianBlur(developed, (0, 0), rng.uniform(0.3, 0.9))
    developed += rng.standard_normal(developed.shape, np.float32) * np.float32(rng.uniform(1, 4))
    kept = io.BytesIO()
    quality = int(rng.integers(70, 93))
    Image.fromarray(np.clip(developed, 0, 255).astype(np.uint8)).save(
        kept, "JPEG", quality=quality, subsampling="4:2:0"
    )
    return np.asarray(Image.open(kept).convert("RGB"))


def a_sheet(rng: np.random.Generator) -> Sheet:
    """Return a sheet of a design, a title, and two inks."""
    one, other = (str(ink) for ink in rng.choice(INKS, 2, replace=False))
    paper = str(rng.choice(PAPERS))
    return Sheet(str(rng.choice(list(FAMILIES))), str(rng.choice(TITLES)), int(rng.integers(4)), (one, other), paper)


def another_colourway(sheet: Sheet, rng: np.random.Generator) -> tuple[Sheet, str]:
    """Return the same design in other inks or on another paper, printed in another run, and how it differs."""
    how = str(rng.choice(["inks swapped", "one ink", "both inks", "paper"], p=[0.25, 0.3, 0.25, 0.2]))
    others = [ink for ink in INKS if ink not in sheet.inks]
    new, newer = (str(ink) for ink in rng.choice(others, 2, replace=False))
    inks = {
        "inks swapped": (sheet.inks[1], sheet.inks[0]),
        "one ink": (new, sheet.inks[1]) if rng.random() < 0.5 else (sheet.inks[0], new),
        "both inks": (new, newer),
        "paper": sheet.inks,
    }[how]
    dye = DYES[int(rng.integers(len(DYES)))] if how == "paper" else sheet.dye
    return replace(sheet, inks=inks, dye=dye, run="run 2"), how


def another_design(sheet: Sheet, rng: np.random.Generator) -> tuple[Sheet, str]:
    """Return another design: of another kind, or of the same kind in the same inks, so with a similar layout."""
    if rng.random() < 0.5:
        kinds = [kind for kind in FAMILIES if kind != sheet.design]
        return replace(a_sheet(rng), design=str(rng.choice(kinds))), "another kind"
    if sheet.design == "chart":  # charts of patches differ by a line of small type alone
        return another_design(replace(sheet, design="discs"), rng)
    titles = [title for title in TITLES if title != sheet.title]
    inks = sheet.inks if rng.random() < 0.5 else a_sheet(rng).inks
    return replace(sheet, title=str(rng.choice(titles)), seed=sheet.seed + 7, inks=inks, run="run 3"), "similar layout"


def pairs(count: int, seed: int) -> list[Pair]:
    """Return as many pairs of each of the three kinds."""
    rng = np.random.default_rng(seed)
    drawer = [a_sheet(rng) for _ in range(max(count // 5, 1))]
    found = []
    for number in range(count):
        sheet = drawer[int(rng.integers(len(drawer)))]
        truth = ("same copy", "variant", "other design")[number % 3]
        second, how = {
            "same copy": lambda sheet=sheet: (sheet, "twice"),
            "variant": lambda sheet=sheet: another_colourway(sheet, rng),
            "other design": lambda sheet=sheet: another_design(sheet, rng),
        }[truth]()
        turns = int(rng.choice([0, 0, 0, 1, 2, 3]))
        found.append(Pair(truth, f"{how}: {sheet} / {second}", shot(sheet, rng), shot(second, rng, turns=turns)))
    return found


def lab_of(picture: np.ndarray, long_side: int = 256) -> np.ndarray:
    """Return a picture's Lab, averaged as light; OpenCV's, relative to its own white, which is near enough here."""
    scale = long_side / max(picture.shape[:2])
    size = round(picture.shape[1] * scale), round(picture.shape[0] * scale)
    light = cv2.resize(_TO_LIGHT[picture], size, interpolation=cv2.INTER_AREA)
    coded = np.where(light <= 0.0031308, light * 12.92, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055)
    return cv2.cvtColor(coded.astype(np.float32), cv2.COLOR_RGB2Lab)


def photographed_pale(rng: np.random.Generator, level: float) -> np.ndarray:
    """Return a shot of a sheet with nothing on it, or with a breath of ink in one corner (level in sRGB codes)."""
    pixels = np.full((LONG_SIDE, round(LONG_SIDE * 0.707), 3), (247, 243, 232), np.float64)
    pixels[40:160, 30:200] -= level
    return _camera(pixels.astype(np.uint8), (1.0, 1.0, 1.0), rng)
