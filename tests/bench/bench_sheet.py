"""How well a sheet is found on 200 rendered photographs, what is told about them, and how long that takes.

Run by hand: python tests/bench/bench_sheet.py [how many]
"""

from __future__ import annotations

import io
import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
from pictures import photograph
from PIL import Image
from timing import machine, medians, row

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from archive.imaging.frame_check import check_frame
from archive.imaging.sheet import find_sheet, overlap
from tests.studio import tables

SEED = 2411  # the finder was tuned on others


def main() -> None:
    """Print the figures."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    shared, is_sure, told = np.zeros(count), np.zeros(count, bool), Counter[str]()
    for number in range(count):
        photo = tables.random_photo(number, seed=SEED)
        found = find_sheet(photo.rgb, exclude=[] if photo.card is None else [photo.card])
        shared[number], is_sure[number] = overlap(found.corners_px, photo.sheet), found.sure
        told.update(warning.code for warning in check_frame(photo.rgb, photo.sheet) if _is_false(warning.code, photo))
        if shared[number] < 0.95 or not found.sure:
            table, design = photo.setting.table, photo.setting.design
            print(f"  {number}: {design} on {table}, {shared[number]:.3f}, {found.why or 'sure'}")
    sure = shared[is_sure]
    print(machine())
    print(f"{count} photographs: intersection over union {np.median(shared):.4f} in the median (0.985 wanted)")
    print(f"of the {len(sure)} that are sure: worst twentieth {np.percentile(sure, 5):.4f} (0.95 wanted), "
          f"{(sure < 0.95).sum()} below 0.95, worst {sure.min():.3f}")  # fmt: skip
    print(f"unsure {1 - is_sure.mean():.1%} (5 % at most), of these right {(shared[~is_sure] >= 0.95).sum()}")
    print(f"false alarms: {dict(told) or 'none'}")
    _time()


def _is_false(code: str, photo: tables.Photo) -> bool:
    """Return whether a warning tells of something the photograph does not have."""
    truly = {"tilted": photo.setting.tilt_deg > 9, "clipped": bool((photo.rgb >= 253).any())}
    return not truly.get(code, False)


def _time() -> None:
    with tempfile.TemporaryDirectory() as folder:
        data = photograph(Path(folder) / "photograph.jpg").read_bytes()

    def decode() -> None:
        with Image.open(io.BytesIO(data)) as opened:
            opened.load()

    with Image.open(io.BytesIO(data)) as opened:
        full = np.asarray(opened)
        opened.close()
    with Image.open(io.BytesIO(data)) as opened:
        opened.draft("RGB", (opened.width // 4, opened.height // 4))
        draft = np.asarray(opened)
    size = (full.shape[1], full.shape[0])

    def find() -> None:
        found = find_sheet(draft, size=size)
        check_frame(draft, found.corners_px, full=full, mm_per_px=0.1)

    decoded, found = medians(decode, find)
    row(f"sheet and checks on a draft of {draft.shape[1]} x {draft.shape[0]}", found, 0.06, of=decoded,
        against="full decode by Pillow")  # fmt: skip


if __name__ == "__main__":
    main()
