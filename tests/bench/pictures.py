"""A photograph of a print for the benches: 24 megapixels, two inks on off-white paper, with the camera's noise."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

SIZE = (6000, 4000)


def photograph(path: Path) -> Path:
    """Write the picture as a JPEG of the size that a phone gives."""
    rng = np.random.default_rng(24)
    pixels = np.empty((SIZE[1], SIZE[0], 3), dtype=np.float32)
    pixels[:] = (236, 232, 222)
    for number, colour in enumerate(((42, 94, 168), (201, 162, 39), (111, 154, 99), (30, 28, 32))):
        top = 300 + number * 900
        pixels[top : top + 700, 400 + number * 500 : 3400 + number * 500] = colour
    pixels *= np.linspace(0.92, 1.0, SIZE[0], dtype=np.float32)[None, :, None]  # light from one side
    for start in range(0, SIZE[1], 500):  # in strips: noise of the whole would need gigabytes
        part = pixels[start : start + 500]
        part += rng.normal(0, 4, part.shape).astype(np.float32)
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(path, quality=92)
    return path
