"""Print and photograph every picture of a scenario, and say what colours really lie on the sheets."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np
from PIL import Image, ImageChops

from demo_archive.camera import Camera, camera_for, on_table, paper_rgb, photographed, taken, with_grain
from demo_archive.designs import code_shares, draw_sheet
from demo_archive.press import Conditions, luck, true_lab
from demo_archive.spectra import Floats
from demo_archive.values import Picture, Printed, Region, Scenario, Work

LabShare = tuple[tuple[float, float, float], float]
SMALL = 320  # long side in pixels at which areas are counted
LEAST_SHARE = 0.003
BLEED = 0.03  # how far the jobs of a make-ready sheet run into each other, as a share of the sheet


@dataclass(frozen=True, slots=True)
class PictureTruth:
    """What is really on the sheet: the bare paper's Lab, and each Lab with its share of the area, largest first."""

    paper_lab: tuple[float, float, float]
    colours: tuple[LabShare, ...]


class WrittenPicture(NamedTuple):
    """One file that was written, what it shows, and the truth about it."""

    file: str
    work: str
    copy: str
    side: str
    truth: PictureTruth


def conditions(sheet: Printed, looked_at: str, copy: str) -> Conditions:
    """Return how a copy was printed and how old it is on the day it is looked at."""
    days = (date.fromisoformat(looked_at) - date.fromisoformat(sheet.printed_on)).days
    number = 24 + int(luck("copy", copy).integers(0, 60))
    return Conditions(sheet.machine, sheet.run, sheet.density, sheet.speed, sheet.screen, number, max(days, 0) / 365.25)


def _sheet_pixels(picture: Picture) -> tuple[int, int]:
    """Return width and height of the sheet in the picture."""
    height, width = picture.jobs[0][1].size_mm
    scale = picture.long_side / max(height, width)
    return round(width * scale), round(height * scale)


def _pixels(region: Region, width: int, height: int) -> tuple[int, int, int, int]:
    """Return left, top, width and height of a job; one that shares the sheet runs into its neighbours."""
    left, top, wide, tall = region
    if (wide, tall) == (1.0, 1.0):
        return 0, 0, width, height
    x0, y0 = max(0.0, left - BLEED), max(0.0, top - BLEED)
    x1, y1 = min(1.0, left + wide + BLEED), min(1.0, top + tall + BLEED)
    return round(x0 * width), round(y0 * height), round((x1 - x0) * width), round((y1 - y0) * height)


@dataclass(frozen=True, slots=True)
class Drawn:
    """One job of a sheet as drawn: where it lies (pixels), its share of the sheet, and its tint pictures."""

    box: tuple[int, int, int, int]  # left, top, right, bottom
    share: float
    job: Printed
    when: Conditions
    tints: list[Image.Image]


def _drawn(picture: Picture) -> list[Drawn]:
    width, height = _sheet_pixels(picture)
    found = []
    for region, job in picture.jobs:
        left, top, wide, tall = _pixels(region, width, height)
        when = conditions(job, picture.taken_on, picture.copy)
        box = (left, top, left + wide, top + tall)
        found.append(Drawn(box, region[2] * region[3], job, when, draw_sheet(job, wide, tall)))
    return found


def _sheet(picture: Picture, drawn: list[Drawn], camera: Camera) -> Image.Image:
    """Return the printed sheet as the camera sees it, all jobs on it."""
    paper, when = drawn[0].job.paper, drawn[0].when
    bare = paper_rgb(paper, when, camera)
    sheet = Image.new("RGB", _sheet_pixels(picture), bare)
    for part in drawn:
        seen = photographed(part.tints, part.job.layers, paper, part.when, camera)
        if len(drawn) > 1:  # what earlier jobs left shows through: relative to paper, multiplied
            relative = [min(255, v * 255 // max(b, 1)) for b in bare for v in range(256)]
            seen = ImageChops.multiply(sheet.crop(part.box), seen.point(relative))
        sheet.paste(seen, part.box[:2])
    return with_grain(sheet, paper, bare, camera.noise, luck("grain", picture.file))


def render(picture: Picture, drawn: list[Drawn] | None = None) -> tuple[Image.Image, Camera]:
    """Return the picture as it leaves the camera, and how the camera stood."""
    rng = luck("shot", picture.file)
    camera = camera_for(picture.camera, rng)
    scene = _sheet(picture, drawn or _drawn(picture), camera)
    if picture.framing == "table":
        scene = on_table(scene, rng)
    return taken(scene, camera, has_gutter=picture.role == "spread" and picture.framing == "close"), camera


def truth_of(picture: Picture, drawn: list[Drawn] | None = None) -> PictureTruth:
    """Return the colours on the sheet itself, without any camera, counted on a small drawing unless one is given."""
    drawn = drawn or _drawn(replace(picture, long_side=SMALL))
    paper = _rounded(true_lab((), drawn[0].job.paper, drawn[0].when))
    found: dict[tuple[float, float, float], float] = {}
    for part in drawn:
        for lab, share in _job_colours(part):
            found[lab] = found.get(lab, 0.0) + share * part.share
    ordered = sorted(found.items(), key=lambda item: (-item[1], item[0]))
    return PictureTruth(paper, tuple(ordered))


def _job_colours(part: Drawn) -> Iterator[LabShare]:
    """Return Lab and share of each tint combination that holds a visible part of a job's area."""
    snaps = [_snap(options) for options in part.job.tints]
    step = max(1, max(part.tints[0].size) // SMALL)
    seen = [np.asarray(layer)[::step, ::step] for layer in part.tints]
    shares: dict[tuple[float, ...], float] = {}
    for codes, share in code_shares(seen):
        tints = tuple(snap[code] for snap, code in zip(snaps, codes, strict=True))
        shares[tints] = shares.get(tints, 0.0) + share
    for tints, share in sorted(shares.items()):
        if share >= LEAST_SHARE:
            pairs = zip(part.job.layers, tints, strict=True)
            layers = [replace(layer, tint=tint) for layer, tint in pairs if tint > 0]
            yield _rounded(true_lab(layers, part.job.paper, part.when)), share


@lru_cache(maxsize=64)
def _snap(options: tuple[float, float, float]) -> tuple[float, ...]:
    """Return, for each 8-bit code, the nearest of an ink's own tints or of steps of ten."""
    steps = np.array(sorted({*range(0, 101, 10), *options}), dtype=float)
    tints = np.arange(256) / 2.55
    return tuple(float(steps[int(np.argmin(np.abs(steps - tint)))]) for tint in tints)


def _rounded(lab: Floats) -> tuple[float, float, float]:
    return round(float(lab[0]), 3), round(float(lab[1]), 3), round(float(lab[2]), 3)


def work_colours(work: Work, workshop: Scenario) -> tuple[LabShare, ...]:
    """Return the Labs that really lie on a work's pictured sheets, with their mean share, largest first."""
    truths = [truth_of(picture) for picture in workshop.pictures if picture.work == work.ref]
    found: dict[tuple[float, float, float], float] = {}
    for truth in truths:
        for lab, share in truth.colours:
            found[lab] = found.get(lab, 0.0) + share / len(truths)
    return tuple(sorted(found.items(), key=lambda item: (-item[1], item[0])))


def _write(picture: Picture, folder: Path) -> WrittenPicture:
    drawn = _drawn(picture)
    shot, camera = render(picture, drawn)
    exif = Image.Exif()
    exif[0x0132] = f"{picture.taken_on.replace('-', ':')} 12:00:00"  # DateTime, Exif 2.32
    shot.save(folder / picture.file, "JPEG", quality=camera.quality, subsampling="4:2:0", exif=exif)
    side = picture.label or picture.role
    return WrittenPicture(picture.file, picture.work, picture.copy, side, truth_of(picture, drawn))


def write_pictures(
    workshop: Scenario,
    folder: Path,
    progress: Callable[[int, int], None] | None = None,
    *,
    workers: int = 2,
) -> list[WrittenPicture]:
    """Write every picture of a scenario as JPEG; return them in the scenario's order.

    Parameters
    ----------
    folder : Path
        Made when missing.
    progress : callable (done, total), optional
    workers : int
        Threads; the bytes do not depend on it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    with ThreadPoolExecutor(workers) as pool:
        for result in pool.map(lambda picture: _write(picture, folder), workshop.pictures):
            written.append(result)
            if progress is not None:
                progress(len(written), len(workshop.pictures))
    return written
