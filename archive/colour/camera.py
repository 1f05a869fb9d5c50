"""A sitting's colour correction: from a camera's linear values to Lab under D50.

The order is fixed: the picture's profile and the white-sheet shot come before (others do that), then a tone curve a
channel where the card's grey row asks for one, then a 3×3 matrix or a root polynomial straight to XYZ under D50. How
a correction is found from the card stands in `camera_fit`; this module holds what is kept and how it is used.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.spaces import D50_WHITE, LAB_EPSILON, LAB_KAPPA, Floats
from archive.errors import ColourError

PATCHES = 24  # of the card, in four rows of six, the grey row last from white to black
GREY_ROW = (18, 19, 20, 21, 22, 23)  # places of the neutral patches
ROOTS: dict[int, tuple[tuple[float, float, float], ...]] = {
    # Exponents of R, G and B: Finlayson, Mackiewicz & Hurlbert 2015, IEEE Trans. Image Processing 24(5), 1460-1470.
    1: ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    2: ((1, 0, 0), (0, 1, 0), (0, 0, 1), (1 / 2, 1 / 2, 0), (0, 1 / 2, 1 / 2), (1 / 2, 0, 1 / 2)),
}
ROOTS[3] = (
    *ROOTS[2],
    *((1 / 3, 2 / 3, 0), (0, 1 / 3, 2 / 3), (1 / 3, 0, 2 / 3)),
    *((2 / 3, 1 / 3, 0), (0, 2 / 3, 1 / 3), (2 / 3, 0, 1 / 3)),
    (1 / 3, 1 / 3, 1 / 3),
)
_DARKEST = 1e-6  # linear: below it roots and logarithms have nothing to hold on to
_BLOCK = 1 << 14  # pixels at a time: the working arrays stay in the processor's cache
_MANY = 1 << 18  # pixels from which two cores are worth starting
_TABLE = 65535  # steps of a tone curve looked up for many pixels, even in the square root: far finer than 8 bits
_VERSION = 1  # of the plain form


@dataclass(frozen=True, slots=True)
class Residual:
    """How far a correction misses the card: CIEDE2000, mean, worst, and a number a patch (None: left out)."""

    mean: float
    worst: float
    by_patch: tuple[float | None, ...]

    @classmethod
    def of(cls, delta_e: ArrayLike, kept: NDArray[np.intp]) -> Residual:
        """Return the residual of differences at the places `kept` of the card."""
        values = np.asarray(delta_e, dtype=np.float64)
        by_patch: list[float | None] = [None] * PATCHES
        for place, value in zip(kept.tolist(), values.tolist(), strict=True):
            by_patch[place] = value
        return cls(float(values.mean()), float(values.max()), tuple(by_patch))

    @property
    def worst_patch(self) -> int:
        """Return the place on the card, from 0, that is missed most."""
        return int(np.argmax([-1.0 if value is None else value for value in self.by_patch]))


@dataclass(frozen=True, slots=True)
class ToneCurve:
    """A rising curve through the grey row: logarithms of device and linear values, and its slope at each.

    Between the points it is a monotone cubic; beyond the ends it goes on as a power law.
    """

    device: tuple[float, ...]
    linear: tuple[float, ...]
    slopes: tuple[float, ...]

    def linear_of(self, values: ArrayLike) -> Floats:
        """Return linear values, relative to one another, of device values of any shape."""
        x, y, d = (np.array(part) for part in (self.device, self.linear, self.slopes))
        log = np.log(np.maximum(np.asarray(values, dtype=np.float64), _DARKEST))
        inside = np.clip(log, x[0], x[-1])
        at = np.clip(np.searchsorted(x, inside, side="right") - 1, 0, len(x) - 2)
        width = x[at + 1] - x[at]
        t = (inside - x[at]) / width
        hermite = (1 + 2 * t) * (1 - t) ** 2 * y[at] + t * t * (3 - 2 * t) * y[at + 1]
        hermite += width * (t * (1 - t) ** 2 * d[at] - t * t * (1 - t) * d[at + 1])
        below, above = (y[1] - y[0]) / (x[1] - x[0]), (y[-1] - y[-2]) / (x[-1] - x[-2])
        return np.asarray(np.exp(hermite + np.minimum(log - x[0], 0) * below + np.maximum(log - x[-1], 0) * above))


@dataclass(frozen=True, slots=True)
class LocalTone:
    """What the card tells of tone mapping that differs from place to place.

    strength : how far light is flattened, as an exponent of the light around; 0 is none.
    sureness : the strength over its standard error.
    gradient : change of light from one end of the card to the other, as a share, beyond what the field explains.
    found : "none", "doubtful" (the claim is widened) or "strong" (to be refused).
    """

    strength: float
    sureness: float
    gradient: float
    found: str


@dataclass(frozen=True, slots=True)
class Correction:
    """A sitting's correction; plain numbers, kept for good.

    order : 1 for a 3×3 matrix, 2 or 3 for a root polynomial of that order.
    matrix : (terms, 3), from the terms to XYZ.
    tone : a curve for R, G and B, or None.
    residual : on the card it was fitted to.
    leave_one_out : each patch predicted from all the others.
    profile_alone : what the picture's profile makes of the card, where it was given.
    local : what the card tells of local tone mapping.
    claim : mean dE00 to be expected on prints.
    left_out : places of patches that were not used.
    """

    order: int
    matrix: tuple[tuple[float, float, float], ...]
    tone: tuple[ToneCurve, ToneCurve, ToneCurve] | None
    residual: Residual
    leave_one_out: Residual
    profile_alone: Residual | None
    local: LocalTone
    claim: float
    left_out: tuple[int, ...]

    @property
    def is_better(self) -> bool:
        """Return whether patches it was not fitted to come out nearer than by the profile alone."""
        return self.profile_alone is None or self.leave_one_out.mean < self.profile_alone.mean

    def to_xyz(self, rgb: ArrayLike) -> NDArray[np.floating[Any]]:
        """Return XYZ under D50, Y = 1 for white.

        Parameters
        ----------
        rgb : (..., 3) array_like
            Linear device values on the scale the card was read on. float32 stays float32.

        Returns
        -------
        (..., 3) ndarray

        Raises
        ------
        ColourError
            The last axis is not 3 long.
        """
        return self._applied(rgb, as_lab=False)

    def apply(self, rgb: ArrayLike) -> NDArray[np.floating[Any]]:
        """Return Lab under D50, absolute.

        Parameters and errors as `to_xyz`. Pictures should come as float32: two cores then take block after block.

        Source: ISO/CIE 11664-4.
        """
        return self._applied(rgb, as_lab=True)

    def _applied(self, rgb: ArrayLike, *, as_lab: bool) -> NDArray[np.floating[Any]]:
        values = np.asarray(rgb)
        if values.dtype != np.float32:
            values = values.astype(np.float64)
        if values.ndim == 0 or values.shape[-1] != 3:
            raise ColourError(
                "a camera's values need three numbers a pixel, not shape {shape}",
                shape=values.shape,
                mend="Put R, G and B on the last axis.",
            )
        flat = values.reshape(-1, 3)
        out = np.empty_like(flat)
        tables = self._tables(flat) if len(flat) > _MANY else None
        matrix = np.array(self.matrix, dtype=flat.dtype).T

        def work(start: int) -> None:
            part = slice(start, start + _BLOCK)
            columns = np.ascontiguousarray(flat[part].T)
            xyz = matrix @ terms(self._linear(columns, tables), self.order)
            out[part] = (lab_columns(xyz) if as_lab else xyz).T

        starts = range(0, len(flat), _BLOCK)
        if len(flat) <= _MANY:
            for start in starts:
                work(start)
        else:
            with ThreadPoolExecutor(2) as pool:
                list(pool.map(work, starts))
        return out.reshape(values.shape)

    def _tables(self, flat: NDArray[np.floating[Any]]) -> tuple[NDArray[np.floating[Any]], float] | None:
        """Return the tone curves over even steps of the square root, (3, steps), and what the last step stands for."""
        if self.tone is None:
            return None
        top = max(float(flat.max()), _DARKEST)
        steps = (np.arange(_TABLE + 1) / _TABLE) ** 2 * top
        return np.stack([curve.linear_of(steps) for curve in self.tone]).astype(flat.dtype), top

    def _linear(
        self, columns: NDArray[np.floating[Any]], tables: tuple[NDArray[np.floating[Any]], float] | None
    ) -> NDArray[np.floating[Any]]:
        """Return (3, n) device values with the tone curves undone."""
        if self.tone is None:
            return columns
        if tables is None:
            curved = [curve.linear_of(c) for curve, c in zip(self.tone, columns, strict=True)]
            return np.stack(curved).astype(columns.dtype)
        table, top = tables
        place = np.sqrt(np.maximum(columns, 0))
        place *= columns.dtype.type(_TABLE / np.sqrt(top))
        place += columns.dtype.type(0.5)
        at = np.minimum(place, _TABLE).astype(np.uint16)
        return np.stack([row[a] for row, a in zip(table, at, strict=True)])

    def to_plain(self) -> dict[str, Any]:
        """Return the correction as plain numbers, lists and words, for JSON."""
        return {
            "version": _VERSION,
            "order": self.order,
            "matrix": [list(row) for row in self.matrix],
            "tone": None if self.tone is None else [_plain_curve(curve) for curve in self.tone],
            "residual": _plain_residual(self.residual),
            "leave_one_out": _plain_residual(self.leave_one_out),
            "profile_alone": None if self.profile_alone is None else _plain_residual(self.profile_alone),
            "local": {name: getattr(self.local, name) for name in LocalTone.__slots__},
            "claim": self.claim,
            "left_out": list(self.left_out),
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> Correction:
        """Return the correction that `to_plain` wrote.

        Raises
        ------
        ColourError
            It was written by another version, or something in it is missing or malformed.
        """
        try:
            if plain["version"] != _VERSION:
                raise ColourError(
                    "a correction of version {version} cannot be read here",
                    version=plain["version"],
                    mend="Update inkchest, or shoot the card again.",
                )
            return cls(
                order=int(plain["order"]),
                matrix=_read_matrix(plain["matrix"], int(plain["order"])),
                tone=None if plain["tone"] is None else _read_curves(plain["tone"]),
                residual=_read_residual(plain["residual"]),
                leave_one_out=_read_residual(plain["leave_one_out"]),
                profile_alone=None if plain["profile_alone"] is None else _read_residual(plain["profile_alone"]),
                local=LocalTone(**plain["local"]),
                claim=float(plain["claim"]),
                left_out=tuple(int(place) for place in plain["left_out"]),
            )
        except (KeyError, TypeError, IndexError, AttributeError) as exc:
            raise _malformed() from exc
        except ColourError:
            raise
        except ValueError as exc:
            raise _malformed() from exc


def _malformed() -> ColourError:
    return ColourError("the stored correction is incomplete", mend="Shoot the colour card again.")


def _plain_residual(residual: Residual) -> dict[str, Any]:
    return {"mean": residual.mean, "worst": residual.worst, "by_patch": list(residual.by_patch)}


def _read_residual(plain: Mapping[str, Any]) -> Residual:
    by_patch = tuple(None if value is None else float(value) for value in plain["by_patch"])
    return Residual(float(plain["mean"]), float(plain["worst"]), by_patch)


def _plain_curve(curve: ToneCurve) -> dict[str, list[float]]:
    return {name: list(getattr(curve, name)) for name in ToneCurve.__slots__}


def _read_curves(plain: Sequence[Mapping[str, Any]]) -> tuple[ToneCurve, ToneCurve, ToneCurve]:
    red, green, blue = (
        ToneCurve(**{name: tuple(map(float, part[name])) for name in ToneCurve.__slots__}) for part in plain
    )
    return red, green, blue


def _read_matrix(plain: Sequence[Sequence[float]], order: int) -> tuple[tuple[float, float, float], ...]:
    rows = [(float(x), float(y), float(z)) for x, y, z in plain]
    if len(rows) != len(ROOTS[order]):
        raise ValueError("as many rows as terms")
    return tuple(rows)


def terms(columns: NDArray[np.floating[Any]], order: int) -> NDArray[np.floating[Any]]:
    """Return the (terms, n) of a root polynomial of (3, n) linear values; order 1 gives the values themselves.

    Every term grows with the exposure as the values do, so that exposure cannot turn a hue.

    Source: Finlayson, Mackiewicz & Hurlbert 2015, IEEE Trans. Image Processing 24(5), 1460-1470.
    """
    if order == 1:
        return columns
    result = np.empty((len(ROOTS[order]), columns.shape[1]), dtype=columns.dtype)
    result[:3] = columns
    r, g, b = np.maximum(columns, columns.dtype.type(_DARKEST))
    result[3], result[4], result[5] = np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)
    if order == 3:
        for row, exponents in enumerate(ROOTS[3][6:], start=6):
            thirds = [part for part, e in zip((r, g, b), exponents, strict=True) for _ in range(round(3 * e))]
            result[row] = np.cbrt(thirds[0] * thirds[1] * thirds[2])
    return result


def lab_columns(xyz: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
    """Return (3, n) Lab under D50 of (3, n) XYZ, unchecked, in the type it came in.

    Source: ISO/CIE 11664-4.
    """
    share = xyz / D50_WHITE.astype(xyz.dtype)[:, None]
    f = np.cbrt(share)
    dark = share <= LAB_EPSILON
    if dark.any():
        f[dark] = (xyz.dtype.type(LAB_KAPPA) * share[dark] + 16) / 116
    lab = np.empty_like(xyz)
    lab[0] = 116 * f[1] - 16
    lab[1] = 500 * (f[0] - f[1])
    lab[2] = 200 * (f[1] - f[2])
    return lab
