"""What lies in Box 22: prints that the demo archive does not hold yet, and the colours that really lie on them.

The prints come off the same press and from the same drawings as the archive's own, under other titles; a storeroom
has more boxes than anyone has listed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from demo_archive.camera import with_grain
from demo_archive.designs import code_shares, draw_sheet
from demo_archive.inks import INK_BODIES
from demo_archive.papers import PAPER_BODIES
from demo_archive.press import Conditions, demichel, exchange, films, luck, primaries, true_lab
from demo_archive.spectra import Floats
from demo_archive.values import Layer, Printed

Codes = NDArray[np.uint8]
Seen = Callable[[Floats], Floats]
"""From reflectance factors (..., 36) to a camera's codes (..., 3), 0-255."""

PLACE = "Box 22"
PX_PER_MM = 6.0  # of a sheet before it is photographed
LOOKED_AT = date(2025, 3, 14)
_STEP = 8  # of 255: how finely the edges of shapes are told apart; an ink's own tints are told exactly
_FLAT_MM = 4.0  # radius that a flat place has at least
_LEAST_SHARE = 0.012  # of the sheet, for a colour to have a flat place

# title | design | year | inks in printing order, full/middle/pale tint | paper | machine, screen | height x width, mm
# `=` is the same drawing in other inks
PRINTS = """
Tea for the Ferryman | tides | 2016 | Kilnsong 100/55/22 + Ferrywake 100/60/25 | Oatleaf 120 | Upstairs FM | 297x210
A Map of Draughts | contours | 2022 | Ferrywake 100/50/20 + Dockrope 100/60/25 | Oatleaf 120 | Upstairs FM | 297x210
Umbrella Dentist | weather | 2019 | Peltrose 100/60/25 + Nettlecoat 100/55/22 | Oatleaf 120 | Landing FM | 297x210
= Umbrella Dentist | weather | 2019 | Peltrose 100/60/25 + Ferrywake 100/55/22 | Oatleaf 120 | Landing FM | 297x210
Ropewalk Disco | discs | 2019 | Kilnsong 100/50/20 + Dockrope 100/60/25 | Oatleaf 120 | Upstairs FM | 200x200
Six Doors, One Key | facade | 2019 | Ferrywake 100/55/20 + Kilnsong 100/50/20 | Oatleaf 120 | Upstairs FM | 297x210
The Nettle Club | plants | 2019 | Nettlecoat 100/50/20 + Dockrope 100/60/25 | Oatleaf 120 | Landing FM | 210x148
Starling Post | birds | 2010 | Ferrywake 100/45/18 + Sootwell 100/50/20 | Chalkroad 90 | Upstairs FM | 297x210
Harbour Bath | harbour | 2014 | Tidewick 100/55/25 + Sootwell 100/45/15 | Oatleaf 120 | Upstairs FM | 297x210
Bring a Cushion | tiles | 2019 | Peltrose 100/60/25 + Ferrywake 100/55/20 | Oatleaf 120 | Landing FM | 200x200
= Bring a Cushion | tiles | 2019 | Dockrope 100/60/25 + Kilnsong 100/50/20 | Oatleaf 120 | Landing FM | 200x200
Lantern Repairs | lamp | 2019 | Dockrope 100/55/20 + Damsonlatch 100/60/25 | Oatleaf 120 | Upstairs FM | 297x210
Slow Kites | sky | 2017 | Ferrywake 100/50/20 + Kilnsong 100/50/20 | Chalkroad 90 | Upstairs FM | 297x210
Brine | type | 2018 | Nettlecoat 100/55/20 + Sootwell 100/50/20 | Oatleaf 120 | Landing FM | 297x210
Nobody's Regatta | harbour | 2008 | Kilnsong 100/55/20 + Ferrywake 100/50/20 | Oatleaf 120 | Upstairs FM | 297x210
Half a Choir | busstop | 2012 | Ferrywake 100/50/18 + Dockrope 100/60/30 | Oatleaf 120 | Upstairs FM | 297x210
The Other Quay | photo | 2011 | Marlbrick 100/55/25 + Ferrywake 100/50/20 | Ryebank 100 | Backroom AM | 297x210
Pear Census | plants | 2016 | Dockrope 100/60/25 + Kilnsong 100/50/20 | Oatleaf 120 | Upstairs FM | 210x148
= Pear Census | plants | 2016 | Tidewick 100/60/25 + Damsonlatch 100/50/20 | Oatleaf 120 | Upstairs FM | 210x148
Two Clocks Argue | discs | 2019 | Damsonlatch 100/55/22 + Dockrope 100/60/25 | Oatleaf 120 | Upstairs FM | 297x210
Gutter Opera | columns | 2015 | Kilnsong 100/50/20 + Sootwell 100/55/25 | Oatleaf 120 | Landing FM | 297x210
Low Shelf Poems | type | 2019 | Ferrywake 100/60/25 + Peltrose 100/55/20 | Oatleaf 120 | Landing FM | 210x148
Windows at Four | facade | 2020 | Dockrope 100/60/25 + Nettlecoat 100/50/20 | Oatleaf 120 | Upstairs FM | 297x210
Small Hours Bakery | lamp | 2019 | Kilnsong 100/60/25 + Sootwell 100/50/20 | Oatleaf 120 | Landing FM | 297x210
Rain, Revised | weather | 2019 | Ferrywake 100/55/20 + Nettlecoat 100/50/20 | Oatleaf 120 | Upstairs FM | 297x210
Moss Lottery | tiles | 2007 | Nettlecoat 100/55/22 + Ferrywake 100/60/25 | Oatleaf 120 | Upstairs FM | 200x200
Goose Parliament | birds | 2013 | Kilnsong 100/55/20 + Damsonlatch 100/50/20 | Oatleaf 120 | Upstairs FM | 297x210
Coral Hour | tides | 2021 | Oddlight 100/60/30 + Ferrywake 100/55/20 | Oatleaf 120 | Upstairs FM | 297x210
Quarry Songs | contours | 2009 | Marlbrick 100/55/25 + Dockrope 100/60/25 | Oatleaf 120 | Backroom AM | 297x210
A Boat Is a Room | lamp | 2019 | Ferrywake 100/55/20 + Kilnsong 100/50/20 | Oatleaf 120 | Upstairs FM | 210x148
"""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet out of the box: what is printed on it, and which sheet of its run it is. No layers: a blank one."""

    printed: Printed
    number: int = 40

    @property
    def when(self) -> Conditions:
        """How it was printed, and how old it is when it is looked at."""
        job = self.printed
        years = (LOOKED_AT - date.fromisoformat(job.printed_on)).days / 365.25
        return Conditions(job.machine, job.run, job.density, job.speed, job.screen, self.number, years)

    @property
    def size_mm(self) -> tuple[int, int]:
        """Width and height."""
        height, width = self.printed.size_mm
        return width, height

    def spread(self, page: int) -> Sheet:
        """Return a spread of the book that has this cover."""
        height, width = self.printed.size_mm
        return replace(self, printed=replace(self.printed, page=page, size_mm=(height, 2 * width)))

    def blank(self) -> Sheet:
        """Return a sheet of the same paper that was never printed."""
        return replace(self, printed=replace(self.printed, layers=(), tints=(), title=""))


@dataclass(frozen=True, slots=True)
class FlatPlace:
    """A flat area of a sheet: its middle in millimetres from the upper left corner, and its true colour."""

    at_mm: tuple[float, float]
    lab: tuple[float, float, float]


@cache
def prints() -> dict[tuple[str, int], Sheet]:
    """Return the prints by title and colourway, 0 being the first."""
    found: dict[tuple[str, int], Sheet] = {}
    for number, line in enumerate(PRINTS.strip().splitlines()):
        title, design, year, inks, paper, how, size = (cell.strip() for cell in line.lstrip("= ").split("|"))
        layers, tints = _layers(inks)
        machine, screen = how.split()
        height, width = (int(side) for side in size.split("x"))
        run = f"B22-{number:02d}"
        key = found[title, 0].printed.key if line.startswith("=") else _darkest(layers)
        job = Printed(
            design, title, 0, 22, layers, tints, paper, machine, screen, 3, 3,
            run, f"{year}-05-05", (height, width), key,
        )  # fmt: skip
        found[title, int(line.startswith("="))] = Sheet(job)
    return found


def _layers(inks: str) -> tuple[tuple[Layer, ...], tuple[tuple[float, float, float], ...]]:
    layers, tints = [], []
    for position, part in enumerate(inks.split("+"), start=1):
        ink, _, steps = part.strip().rpartition(" ")
        full, middle, pale = (float(step) for step in steps.split("/"))
        layers.append(Layer(ink, None, 1, position))
        tints.append((full, middle, pale))
    return tuple(layers), tuple(tints)


def _darkest(layers: Sequence[Layer]) -> int:
    weights = [float(INK_BODIES[layer.ink].absorption.mean()) for layer in layers]
    return weights.index(max(weights))


def picture_of(sheet: Sheet, seen: Seen) -> tuple[Image.Image, tuple[FlatPlace, ...]]:
    """Return a sheet as a camera's sensor sees it, flat and square, and its flat places."""
    width, height = (round(side * PX_PER_MM) for side in sheet.size_mm)
    paper, when = sheet.printed.paper, sheet.when
    bare = np.rint(seen(exchange(np.ones(1), primaries((), PAPER_BODIES[paper], when)))).astype(int)
    if sheet.printed.layers:
        tints = [np.asarray(layer) for layer in draw_sheet(sheet.printed, width, height)]
        picture = _inked(sheet, tints, seen)
        places = (*_flat_places(sheet, tints), _margin(sheet))
    else:
        picture = Image.new("RGB", (width, height), tuple(bare.tolist()))
        places = (FlatPlace((sheet.size_mm[0] / 2, sheet.size_mm[1] / 2), _lab((), sheet)),)
    rng = luck("grain", sheet.printed.run, sheet.printed.page, sheet.number)
    r, g, b = bare.tolist()
    return with_grain(picture, paper, (r, g, b), 0.6, rng), places


def _inked(sheet: Sheet, tints: Sequence[Codes], seen: Seen) -> Image.Image:
    """Return the light that every point sends back, from a table of all mixes of the inks' levels."""
    levels = [_levels(options) for options in sheet.printed.tints]
    table = np.clip(np.rint(seen(_mixes(sheet, levels))), 0, 255).astype(np.uint8)
    index = [_nearest(level)[codes] for level, codes in zip(levels, tints, strict=True)]
    return Image.fromarray(np.ascontiguousarray(table[tuple(index)]))


def _levels(options: Sequence[float]) -> Floats:
    """Return the tints (percent) that an ink is printed in: its own exactly, others in steps."""
    own = np.array([0.0, *options])
    steps = np.arange(0, 256, _STEP) / 2.55
    far = np.abs(steps[:, None] - own).min(axis=1) > _STEP / 2.55 / 2
    return np.sort(np.unique(np.concatenate([own, steps[far]])))


def _nearest(levels: Floats) -> NDArray[np.intp]:
    return np.asarray(np.abs(np.arange(256)[:, None] / 2.55 - levels).argmin(axis=1))


def _mixes(sheet: Sheet, levels: Sequence[Floats]) -> Floats:
    """Return reflectance factors at every mix of tints, first ink along the first axis.

    A solid's film is thicker than a tint's, so that each mix of solids and tints has its own primaries.
    """
    paper, when = PAPER_BODIES[sheet.printed.paper], sheet.when
    table = np.empty((*(len(level) for level in levels), 36))
    covers = [
        np.array([_cover(layer, float(tint), sheet) for tint in level])
        for layer, level in zip(sheet.printed.layers, levels, strict=True)
    ]
    closed = [
        level >= INK_BODIES[layer.ink].closes_at for layer, level in zip(sheet.printed.layers, levels, strict=True)
    ]
    for solid in np.ndindex(*(2 for _ in levels)):
        laid = [replace(layer, tint=100.0 if s else 50.0) for layer, s in zip(sheet.printed.layers, solid, strict=True)]
        where = [np.flatnonzero(flags == bool(s)) for flags, s in zip(closed, solid, strict=True)]
        grid = np.stack(np.meshgrid(*(c[w] for c, w in zip(covers, where, strict=True)), indexing="ij"), axis=-1)
        table[np.ix_(*where)] = exchange(demichel(grid), primaries(films(laid, paper, when), paper, when))
    return table


def _cover(layer: Layer, tint: float, sheet: Sheet) -> float:
    laid = films([replace(layer, tint=tint)], PAPER_BODIES[sheet.printed.paper], sheet.when)
    return laid[0].covers if laid else 0.0


def _flat_places(sheet: Sheet, tints: Sequence[Codes]) -> tuple[FlatPlace, ...]:
    """Return a place in each of the largest flat colours, well inside its area."""
    step = 3
    small = [codes[::step, ::step] for codes in tints]
    reach = round(_FLAT_MM * PX_PER_MM / step)
    found = []
    for codes, share in sorted(code_shares(small), key=lambda item: (-item[1], item[0])):
        own = [_own(code, options) for code, options in zip(codes, sheet.printed.tints, strict=True)]
        if share < _LEAST_SHARE or None in own or not any(own):
            continue
        same = np.logical_and.reduce([layer == code for layer, code in zip(small, codes, strict=True)])
        inside = Image.fromarray(same.astype(np.uint8) * np.uint8(255)).filter(ImageFilter.BoxBlur(reach))
        y, x = np.nonzero(np.asarray(inside) == 255)
        if len(y):
            best = int(np.hypot(x - x.mean(), y - y.mean()).argmin())
            at = tuple(float((place[best] * step + step / 2) / PX_PER_MM) for place in (x, y))
            layers = [replace(layer, tint=tint) for layer, tint in zip(sheet.printed.layers, own, strict=True) if tint]
            found.append(FlatPlace((at[0], at[1]), _lab(layers, sheet)))
    return tuple(found)


def _own(code: int, options: Sequence[float]) -> float | None:
    return 0.0 if code == 0 else next((tint for tint in options if round(tint * 2.55) == code), None)


def _margin(sheet: Sheet) -> FlatPlace:
    """Return bare paper in the margin at the foot, which no press prints, away from a fold."""
    width, height = sheet.size_mm
    return FlatPlace((width / 4, height - 0.02 * min(width, height)), _lab((), sheet))


def _lab(layers: Sequence[Layer], sheet: Sheet) -> tuple[float, float, float]:
    L, a, b = true_lab(layers, sheet.printed.paper, sheet.when).tolist()
    return L, a, b
