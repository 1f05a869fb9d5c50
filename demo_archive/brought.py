"""A picture that a visiting artist brings: painted, not printed, in no ink's colours in particular.

Run `python -m demo_archive.brought FILE` to make it.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

_SIZE = (900, 1200)
_GROUND = (238, 230, 214)
_SEED = 20250314
_SCALE = 3  # drawn larger and reduced, so that edges are soft

# left, top, right, bottom as fractions; colour; roundness
_SHAPES = (
    ("rectangle", (0.08, 0.08, 0.92, 0.60), (214, 137, 104)),
    ("rectangle", (0.08, 0.56, 0.92, 0.92), (92, 88, 128)),
    ("ellipse", (0.56, 0.14, 0.80, 0.32), (236, 190, 110)),
    ("polygon", ((0.08, 0.60), (0.34, 0.34), (0.52, 0.48), (0.70, 0.38), (0.92, 0.58), (0.92, 0.62)), (130, 92, 116)),
    ("rectangle", (0.20, 0.62, 0.80, 0.66), (186, 120, 104)),
    ("rectangle", (0.30, 0.72, 0.70, 0.745), (160, 108, 110)),
    ("ellipse", (0.44, 0.80, 0.60, 0.86), (226, 160, 108)),
)


def paint() -> Image.Image:
    """Return the painting: an evening on the water, with brush texture and worn edges."""
    width, height = _SIZE[0] * _SCALE, _SIZE[1] * _SCALE
    canvas = Image.new("RGB", (width, height), _GROUND)
    pen = ImageDraw.Draw(canvas)
    for kind, place, colour in _SHAPES:
        points = [(x * width, y * height) for x, y in _corners(place)]
        if kind == "polygon":
            pen.polygon(points, fill=colour)
        elif kind == "ellipse":
            pen.ellipse([points[0], points[1]], fill=colour)
        else:
            pen.rectangle([points[0], points[1]], fill=colour)
    small = canvas.filter(ImageFilter.GaussianBlur(_SCALE)).resize(_SIZE, Image.Resampling.BOX)
    return Image.fromarray(_brushed(np.asarray(small, dtype=np.float64)))


def _corners(place: tuple[object, ...]) -> list[tuple[float, float]]:
    numbers = np.array(place, dtype=np.float64).reshape(-1, 2)
    return [(float(x), float(y)) for x, y in numbers]


def _brushed(
    pixels: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """Return the pixels with long soft strokes and a little grain, off the bare ground only."""
    rng = np.random.default_rng(_SEED)
    strokes = rng.normal(size=(_SIZE[1] // 6, _SIZE[0] // 60))
    texture = Image.fromarray(strokes.astype(np.float32)).resize(_SIZE, Image.Resampling.BICUBIC)
    painted = np.abs(pixels - np.array(_GROUND)).max(axis=2, keepdims=True) > 6
    rough = np.asarray(texture)[..., None] * 7 + rng.normal(scale=2.0, size=pixels.shape)
    result: np.ndarray[tuple[int, ...], np.dtype[np.uint8]] = np.clip(pixels + rough * painted, 0, 255).astype(np.uint8)
    return result


def main() -> None:
    """Write the painting to the file named on the command line."""
    paint().save(Path(sys.argv[1]))


if __name__ == "__main__":
    main()
