"""How long the main colours of a decoded picture take, against Pillow's own clustering of the same pixels.

Run by hand: python tests/bench/bench_palette.py
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from pictures import photograph
from PIL import Image
from timing import machine, medians, row

from archive.colour.palette import find_palette
from archive.imaging.decode import open_picture, reduce_picture
from archive.services.pictures import PALETTE_SIDE


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        reduced = reduce_picture(open_picture(photograph(Path(folder) / "photograph.jpg")))
        small = Image.open(Path(folder) / "photograph.jpg").reduce(24).convert("RGB")
    print(machine())
    ours, theirs = medians(
        lambda: find_palette(reduced.lab(PALETTE_SIDE)),
        lambda: small.quantize(12, Image.Quantize.MEDIANCUT, kmeans=4),
    )
    row(f"palette of {PALETTE_SIDE} pixels a side, after decoding", ours, 0.1, of=theirs, against="Pillow's quantize")


if __name__ == "__main__":
    main()
