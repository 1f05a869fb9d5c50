"""A smooth field of light over a picture, and how to take it out again.

Lamps and lens light no picture evenly. Dividing by the field, per channel and in linear light, comes before every
other correction. `white_frame` learns it from a white sheet; here the bare paper round a print gives it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import Floats
from archive.errors import InputError
from archive.imaging.profiles import Light

KNOTS = (24, 32)  # rows and columns of the field
SAME_SHAPE = 0.02  # by how much width over height may differ between the white shot and a frame
PAPER_AT = 480  # pixels of the long side at which paper is looked at: a smooth surface needs no more


@dataclass(frozen=True, slots=True, eq=False)  # arrays inside
class FallOff:
    """A smooth field of light over a picture, 1 where it is brightest.

    knots : (24, 32, 3), evenly spaced from edge to edge.
    aspect : width over height of the picture it was learnt from.
    source : "white shot" or "paper", what it was learnt from.
    """

    knots: Floats = field(repr=False)
    aspect: float
    source: str

    @property
    def fall(self) -> float:
        """Share of the light that is lost between the brightest and the darkest place."""
        level = self.knots.mean(2)
        return float(1 - level.min() / level.max())

    def over(self, size: tuple[int, int], *, rows: tuple[int, int] | None = None) -> Light:
        """Return the field (h, w, 3) over a picture of (width, height), or over some of its rows."""
        width, height = size
        top, bottom = rows or (0, height)
        down = _between((np.arange(top, bottom) + 0.5) / height, self.knots.shape[0])
        along = _between((np.arange(width) + 0.5) / width, self.knots.shape[1])
        planes = [down @ self.knots[..., n].astype(np.float32) @ along.T for n in range(3)]
        return np.stack(planes, axis=2)

    def to_plain(self) -> dict[str, Any]:
        """Return it as plain values for JSON, to five decimals."""
        return {"knots": np.round(self.knots, 5).tolist(), "aspect": round(self.aspect, 5), "source": self.source}

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> FallOff:
        """Return what `to_plain` gave."""
        return cls(np.asarray(plain["knots"], dtype=float), float(plain["aspect"]), str(plain["source"]))


def apply_fall_off(light: Light, fall_off: FallOff, *, name: str = "") -> Light:
    """Return linear light (h, w, 3) with the fall-off taken out.

    Raises
    ------
    InputError
        The picture has another shape than the one the field was learnt from, or lies on its side to it.
    """
    height, width = light.shape[:2]
    if abs(np.log(width / height / fall_off.aspect)) > SAME_SHAPE:
        raise InputError(
            "it has another shape than the white shot: {width} to {height}",
            width=width,
            height=height,
            where=name,
            mend="Hold the camera as for the white shot, or shoot the white sheet again for this way of holding it.",
        )
    return np.asarray(light / fall_off.over((width, height)), np.float32)


def fall_off_from_paper(light: Light, bare: NDArray[np.bool_], *, name: str = "") -> FallOff:
    """Return the field that a quadratic through the bare paper's light gives, where there is no white shot.

    Parameters
    ----------
    light : (h, w, 3) float32, linear
    bare : (h, w) of bool
        Bare paper: a print's border, well inside the sheet's edge.

    Raises
    ------
    InputError
        The bare paper does not reach round enough of the picture to tell how the light falls off.
    """
    height, width = light.shape[:2]
    step = max(max(height, width) // PAPER_AT, 1)
    y, x = (axis[::step, ::step] for axis in np.mgrid[0:height, 0:width])
    kept = bare[::step, ::step]
    x, y = (x + 0.5) / width, (y + 0.5) / height
    spans = [np.ptp(np.percentile(axis[kept], (2, 98))) if kept.any() else 0.0 for axis in (x, y)]
    if kept.sum() < 200 or min(spans) < 0.25 or _is_on_a_line(x[kept], y[kept]):
        raise InputError(
            "too little bare paper to tell how the light falls off",
            where=name,
            mend="Shoot a white sheet for this sitting.",
        )
    design = polynomial_terms(x[kept], y[kept], 2)
    logs = np.log(np.maximum(light[::step, ::step][kept].astype(float), 1e-6))
    terms = np.stack([robust_fit(design, logs[:, n]) for n in range(3)], axis=1)
    grid_y, grid_x = np.meshgrid(*(np.linspace(0, 1, n) for n in KNOTS), indexing="ij")
    # Beyond the paper a quadratic runs away: the nearest place with paper stands for what lies outside.
    low, high = (np.array([axis[kept].min() for axis in (x, y)]), np.array([axis[kept].max() for axis in (x, y)]))
    inside = polynomial_terms(np.clip(grid_x, low[0], high[0]), np.clip(grid_y, low[1], high[1]), 2)
    return field_of(np.exp(inside @ terms), width / height, "paper")


def field_of(levels: Floats, aspect: float, source: str) -> FallOff:
    top = np.percentile(levels, 99.5, axis=(0, 1))
    return FallOff(np.clip(levels / top, 0.02, 1.5), aspect, source)


# --- smooth surfaces ----------------------------------------------------------------------------------------


def places(shape: tuple[int, ...]) -> tuple[Floats, Floats]:
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    return (y + 0.5) / shape[0], (x + 0.5) / shape[1]


def polynomial_terms(x: Floats, y: Floats, degree: int) -> Floats:
    """Return the terms of a polynomial of x and y, shares 0-1 of the way across, on the last axis."""
    powers_x, powers_y = ([np.ones_like(axis)] for axis in (x, y))
    for _ in range(degree):
        powers_x.append(powers_x[-1] * (2 * x - 1))
        powers_y.append(powers_y[-1] * (2 * y - 1))
    return np.stack([powers_x[i] * powers_y[j] for i in range(degree + 1) for j in range(degree + 1 - i)], axis=-1)


def robust_fit(design: Floats, values: Floats) -> Floats:
    """Return least-squares terms, with what is far off left out step by step."""
    weight: Floats = np.ones(len(values))
    for _ in range(6):
        weighted = design * weight[:, None]
        terms = np.asarray(
            np.linalg.solve(weighted.T @ design + 1e-9 * np.eye(design.shape[1]), weighted.T @ values), dtype=float
        )
        off = np.abs(design @ terms - values)
        limit = 3 * 1.4826 * max(float(np.median(off)), 1e-4)
        weight = np.asarray(np.where(off > 3 * limit, 0.0, np.minimum(1.0, limit / np.maximum(off, 1e-9))), float)
    return terms


def _is_on_a_line(x: Floats, y: Floats) -> bool:
    """Return whether places lie along one line, which tells nothing of the light beside it."""
    small = np.linalg.svd(np.stack([x - x.mean(), y - y.mean()]), compute_uv=False)[1] / np.sqrt(len(x))
    return bool(small < 0.06)


def _between(at: Floats, knots: int) -> Light:
    """Return (n, knots) weights that interpolate linearly at shares 0-1 of the way from the first to the last."""
    place = np.clip(at, 0, 1) * (knots - 1)
    below = np.minimum(place.astype(int), knots - 2)
    weights = np.zeros((len(at), knots), np.float32)
    rows = np.arange(len(at))
    weights[rows, below] = 1 - (place - below)
    weights[rows, below + 1] = place - below
    return weights
