"""Strips as the demo's press prints them and a camera sees them, for tests: the truth of every patch is known.

The masters come as grey values; the press (`demo_archive.press`) and the camera (`camera`, `lens`, `storeroom`) share
nothing with what reads the picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from demo_archive.press import Conditions, print_patch
from demo_archive.spectra import WAVELENGTHS
from demo_archive.values import Layer
from tests.studio import camera, lens
from tests.studio.storeroom import TABLE, Stand

Floats = NDArray[np.float64]
Light = NDArray[np.float32]
Grey = NDArray[np.uint8]
Drum = tuple[str, int, Grey]  # ink, pass, what it prints: 0 solid, 255 bare


@dataclass(frozen=True, slots=True, eq=False)
class PrintedStrip:
    """A printed sheet: the reflectance of each of its colours, and which lies where.

    reflectance : (n, bands) at `camera.NM`; place : (h, w) number of the colour; size_mm : of the sheet.
    """

    reflectance: Floats = field(repr=False)
    place: NDArray[np.intp] = field(repr=False)
    size_mm: tuple[float, float]


def reflectance_of(layers: Sequence[Layer], paper: str, when: Conditions) -> Floats:
    """Return the (bands,) reflectance at `camera.NM` that the press prints."""
    return np.interp(camera.NM, WAVELENGTHS, print_patch(layers, paper, when))


def true_patches(
    tints: Sequence[Sequence[float]], inks: Sequence[tuple[str, int]], paper: str, when: Conditions
) -> Floats:
    """Return the (n, 3) Lab that the press prints for tints of inks, each with its pass, in printing order."""
    printed = [_layers(patch, inks) for patch in tints]
    return camera.true_lab(np.stack([reflectance_of(layers, paper, when) for layers in printed]))


def _layers(tints: Sequence[float], inks: Sequence[tuple[str, int]]) -> list[Layer]:
    return [Layer(ink, float(tint), turn) for (ink, turn), tint in zip(inks, tints, strict=True) if tint > 0]


def printed(
    drums: Sequence[Drum],
    paper: str,
    *,
    size_mm: tuple[float, float],
    drift_mm: Sequence[tuple[float, float]] = (),
    when: Conditions = Conditions(),
    left_out: Sequence[int] = (),
) -> PrintedStrip:
    """Return what the press prints of masters; `drift_mm` shifts each drum, `left_out` are drums that print nothing."""
    height, width = drums[0][2].shape
    per_mm = width / size_mm[0]
    shifts = [*drift_mm, *[(0.0, 0.0)] * len(drums)]
    code = np.zeros((height, width), np.int64)
    for number, (_, _, grey) in enumerate(drums):
        across, down = (round(each * per_mm) for each in shifts[number])
        moved = np.roll(grey, (down, across), (0, 1)) if number not in left_out else np.full_like(grey, 255)
        code = code * 256 + (255 - moved)
    colours, place = np.unique(code, return_inverse=True)
    inks = [(ink, turn) for ink, turn, _ in drums]
    spread = [[int(c) >> 8 * at & 255 for at in range(len(drums) - 1, -1, -1)] for c in colours]
    made = [reflectance_of(_layers([each / 2.55 for each in tints], inks), paper, when) for tints in spread]
    return PrintedStrip(np.stack(made), place.reshape(height, width), size_mm)


def photo(
    strip: PrintedStrip, stand: Stand, *, turn_deg: float = 90.0, tilt_deg: float = 2.0, px_per_mm: float = 4.8,
    size: tuple[int, int] = (1600, 1200), at: tuple[float, float] = (0.0, 0.0), shot: int = 0,
) -> bytes:  # fmt: skip
    """Return the JPEG of a strip alone on the table, under the stand's lamp and through its lens."""
    near = replace(stand, size=size, px_per_mm=px_per_mm)
    view = lens.View(*size, px_per_mm=px_per_mm, tilt_deg=tilt_deg)
    corners = view.project(lens.rectangle(*strip.size_mm, at=at, turn_deg=turn_deg))
    flat = (strip.reflectance @ stand.seen).astype(np.float32)[strip.place]
    canvas = np.empty((size[1], size[0], 3), np.float32)
    canvas[:] = np.full(len(stand.seen), TABLE) @ stand.seen
    return near.taken(lens.place(canvas, flat, corners, supersample=2), number=500 + shot)


def seen_flat(
    strip: PrintedStrip, *, corners: Any, size: tuple[int, int], noise: float = 0.002, seed: int = 1
) -> tuple[Grey, Light]:
    """Return a picture's encoded pixels and its true XYZ under D50, the sheet's corners lying as given."""
    flat = camera.true_xyz(strip.reflectance).astype(np.float32)[strip.place]
    canvas = np.empty((size[1], size[0], 3), np.float32)
    canvas[:] = camera.true_xyz(np.full(len(camera.NM), TABLE))
    xyz = lens.place(canvas, flat, corners, supersample=2)
    xyz += np.random.default_rng(seed).normal(0, noise, xyz.shape).astype(np.float32)
    return lens.encoded_8_bit(np.maximum(xyz, 0)), xyz
