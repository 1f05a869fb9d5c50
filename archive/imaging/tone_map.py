"""Local tone maps, as a phone puts them on: found by what they do to a uniform surface.

A local tone map brightens what has dark surroundings. No card corrects it, for it changes the same colour from place
to place. On a surface that is one colour, bare paper or a white sheet with table round it, it shows as light that
rises towards everything dark; stray light and shadows do the opposite.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import Floats
from archive.imaging.fall_off import places, polynomial_terms
from archive.imaging.profiles import Light

LOOKED_AT = 160  # pixels of the long side: local tone maps are broad
REACHES = (0.03, 0.06, 0.12)  # of the picture's width, over which a tone map may look round
FAINT, STRONG = 0.06, 0.15  # exponents: told from the one, refused from the other [own choice, see the bench]
SUREST = 6.0  # standard errors; neighbours are not independent, which the number allows for [own choice, see the bench]
FEWEST = 150  # places of uniform surface
LEAST_CONTRAST = 0.02  # spread of the surroundings' log light over the surface: without it nothing can be told


@dataclass(frozen=True, slots=True)
class ToneMapSuspicion:
    """What a uniform surface tells of a local tone map.

    verdict : "none", "doubtful", "strong", or "not judged" where the surface or its surroundings are too little.
    strength : exponent by which surroundings' light is flattened, 0 none, 0.35 a phone's usual.
    sureness : in standard errors.
    """

    verdict: str
    strength: float = 0.0
    sureness: float = 0.0


def suspect_local_tone_map(light: Light, uniform: NDArray[np.bool_]) -> ToneMapSuspicion:
    """Return whether light on a uniform surface goes with how dark its surroundings are.

    Parameters
    ----------
    light : (h, w, 3) float32, linear, best with its fall-off taken out
    uniform : (h, w) of bool
        One surface of one colour, well inside its edges, with other things in the picture: a sheet's bare border, or
        a white sheet with the table round it.
    """
    import cv2

    scale = LOOKED_AT / max(light.shape[:2])
    size = max(round(light.shape[1] * scale), 1), max(round(light.shape[0] * scale), 1)
    small = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    # A place counts when all of it is the surface.
    kept = cv2.resize(uniform.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.98
    logs = np.log(np.maximum(small @ np.array([0.25, 0.6, 0.15], np.float32), 2e-3))
    if kept.sum() < FEWEST:
        return ToneMapSuspicion("not judged")
    fits = [_fitted(logs, kept, reach * size[0]) for reach in REACHES]
    known = [fit for fit in fits if fit is not None]
    if not known:
        return ToneMapSuspicion("not judged")
    slope, sureness, _ = min(known, key=lambda fit: fit[2])
    # The surroundings are seen after they were flattened themselves.
    strength = max(-slope, 0.0) / (1 + max(-slope, 0.0))
    if strength < FAINT or -sureness < SUREST:
        return ToneMapSuspicion("none", strength, max(-sureness, 0.0))
    return ToneMapSuspicion("strong" if strength >= STRONG else "doubtful", strength, -sureness)


def _fitted(logs: Light, kept: NDArray[np.bool_], reach: float) -> tuple[float, float, float] | None:
    """Return the slope of the surface's log light over its surroundings', in standard errors, and what is left."""
    import cv2

    around = cv2.GaussianBlur(logs, (0, 0), reach, borderType=cv2.BORDER_REFLECT)
    y, x = places(logs.shape)
    # Lamps and lens make a smooth field of their own.
    smooth: Floats = polynomial_terms(x[kept], y[kept], 2)
    design = np.concatenate([smooth, around[kept][:, None]], axis=1)
    inverse = np.linalg.pinv(design.T @ design)
    own = around[kept] - smooth @ np.linalg.lstsq(smooth, around[kept], rcond=None)[0]
    if float(own.std()) < LEAST_CONTRAST:
        return None
    values = logs[kept].astype(float)
    terms = inverse @ (design.T @ values)
    left = values - design @ terms
    noise = float((left**2).sum()) / max(len(values) - design.shape[1], 1)
    return float(terms[-1]), float(terms[-1] / np.sqrt(inverse[-1, -1] * noise + 1e-18)), noise
