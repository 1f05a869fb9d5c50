"""How long `picture add` takes for a photograph of 24 megapixels, against its full decode by Pillow.

Run by hand: python tests/bench/bench_picture_add.py
"""

from __future__ import annotations

import contextlib
import io
import itertools
import tempfile
from pathlib import Path

from pictures import photograph
from PIL import Image
from timing import machine, medians, row

from archive.cli import main as inkchest


def main() -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        desk = Path(folder)
        picture = photograph(desk / "photograph.jpg").read_bytes()
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
            inkchest(["start", str(desk / "chest")], standalone_mode=False)
        numbers = itertools.count()

        def decode() -> None:
            with Image.open(io.BytesIO(picture)) as opened:
                opened.load()

        def add() -> None:
            file = desk / f"{next(numbers)}.jpg"
            file.write_bytes(picture + str(file).encode())  # a tail makes it another file
            with contextlib.redirect_stdout(io.StringIO()):
                inkchest(["--archive", str(desk / "chest"), "picture", "add", str(file)], standalone_mode=False)

        print(machine())
        print(f"a JPEG of 24 megapixels, {len(picture) / 1e6:.1f} MB")
        decoded, added = medians(decode, add)
        row("picture add, in process", added, 4 * decoded, of=decoded, against="full decode by Pillow")


if __name__ == "__main__":
    main()
