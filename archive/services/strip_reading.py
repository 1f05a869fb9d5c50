"""Reading a printed strip: from a photo through the sitting's correction, from a scan, from a file of readings.

Every patch becomes a swatch with its exact recipe, once; every reading of the sheet adds measurements. What is read
next day beside what was read wet teaches how the colours settle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from archive.catalogue.database import Catalogue
from archive.catalogue.history import Act
from archive.colour.spaces import xyz_d50_to_srgb
from archive.errors import InputError
from archive.exchange.readings import ReadingRow
from archive.imaging.decode import Picture, open_picture
from archive.imaging.fall_off import apply_fall_off
from archive.imaging.linear import LinearPicture, read_linear
from archive.imaging.patches import LightPicture
from archive.imaging.strip import read_strip, strip_codes, tint_state
from archive.output.codes import parse_code_text
from archive.planning.strip_order import judge_order
from archive.services.frame_card import Setup
from archive.services.frame_reading import corrected_xyz
from archive.services.profile import read_profile
from archive.services.readings import read_readings_file
from archive.services.readings_lab import row_colours
from archive.services.sittings import open_one, setup_of
from archive.services.strip_keeping import Lab, PatchTold, ReadOptions, StripKeeping, StripRead, StripReport, dry_report
from archive.services.strip_list import strip_called

READ_SIDE = 2400  # pixels of the long side at which a strip is looked for and read
WET_HOURS = 0.0  # of a sheet read as it comes off the machine
_READINGS = (".csv", ".txt", ".cgats", ".ti3", ".cxf", ".cxfx")
_TABLE_TYPE = "text/plain"
_INSTRUMENT_NOISE = 0.25  # dE00 from one reading of bare paper to the next [common practice]
ORDERS = ("rows", "columns", "reversed")


@dataclass(frozen=True, slots=True)
class _Known:
    """What is looked up before a file is read."""

    profile: dict[str, Any]
    setup: Setup | None


def read_strip_file(catalogue: Catalogue, path: Path, options: ReadOptions, act: Act) -> StripReport:
    """Read one file of a strip and keep what it says, as one change.

    Raises
    ------
    InputError, NotFoundError
        The file, the strip in it, or what is told with it cannot be read; nothing was written.
    ConflictError
        The file was read before.
    """
    if options.order not in ORDERS:
        raise InputError("no order {order}", order=options.order, where="--order", mend=f"Use {', '.join(ORDERS)}")
    with catalogue.read() as session:
        sitting = open_one(session)
        known = _Known(read_profile(session), setup_of(session, sitting) if sitting is not None else None)
    if path.suffix.lower() in _READINGS:
        uid, read = _of_readings(catalogue, path, options)
    else:
        uid, read = _of_picture(catalogue, path, options, known)
    if options.dry_run:
        with catalogue.read() as session:
            return dry_report(session, strip_called(session, uid), path, read, options)
    with catalogue.write(act) as session:
        return StripKeeping(session, catalogue.files, strip_called(session, uid), path, read, options).keep()


# --- from a picture


def _of_picture(catalogue: Catalogue, path: Path, options: ReadOptions, known: _Known) -> tuple[str, StripRead]:
    most = float(known.profile["largest_megapixels"])
    picture = open_picture(path, max_megapixels=most, name=path.name)
    light = read_linear(picture, READ_SIDE)
    pixels = np.rint(xyz_d50_to_srgb(np.clip(light.xyz(), 0.0, 1.0)) * 255).astype(np.uint8)
    with catalogue.read() as session:
        strip = strip_called(session, options.strip or _code_in(pixels, path.name))
        uid, layout = strip.uid, strip.layout
    setup, kind, notes = _through(picture, known.setup, path.name)
    seen = read_strip(pixels, _light_of(light, setup, path.name), layout, lpi=float(known.profile["screen_lpi"]))
    patches = tuple(
        PatchTold(each.number, each.tints, each.lab, each.spread, each.usable, ", ".join(each.flags), each.state)
        for each in seen.patches
    )
    drums = tuple(
        {
            "ink": drum.ink,
            "shift_mm": [round(part, 3) for part in drum.shift_mm],
            "drift_mm": round(drum.drift_mm, 3),
            "marks": drum.marks,
        }
        for drum in seen.drums
    )
    claim = setup.correction.claim if setup is not None and setup.correction is not None else None
    path_words = f"{light.path}, then the sitting's correction" if claim is not None else light.path
    return uid, StripRead(kind, picture.media_type, patches, drums, claim, path_words, notes=notes)


def _code_in(pixels: Any, name: str) -> str:
    said = [parse_code_text(text) for text in strip_codes(pixels)]
    uids = [code.uid for code in said if code is not None]
    if not uids:
        raise InputError(
            "no code of a strip can be read",
            where=name,
            mend="Photograph it whole, flat and sharp, or name the strip: --strip S-1",
        )
    return uids[0]


def _through(picture: Picture, setup: Setup | None, name: str) -> tuple[Setup | None, str, tuple[str, ...]]:
    """Return the sitting's setup for a photo, none for a scan; a photo without a sitting is no measurement."""
    is_of_sitting = setup is not None and setup.size_px == (picture.width, picture.height)
    if not picture.is_photo and not is_of_sitting:
        notes = ["a scan is read through its own profile: its colours are seen, not measured"]
        if setup is not None:
            notes.append("is it a photo? It names no camera: give the file as the camera wrote it")
        return None, "scan", tuple(notes)
    if setup is None or setup.correction is None:
        raise InputError(
            "a photo of a strip measures nothing without a sitting's correction",
            where=name,
            mend="Photograph it in the light of a sitting: `inkchest sitting open --white FILE --card FILE`",
        )
    return setup, "photo", ()


def _light_of(light: LinearPicture, setup: Setup | None, name: str) -> LightPicture:
    even = light.light
    if setup is not None and setup.fall_off is not None and light.space == "rgb":
        even = apply_fall_off(even, setup.fall_off, name=name)
    correction = setup.correction if setup is not None and light.space == "rgb" else None
    clipped = light.clipped > 0.02
    return LightPicture(corrected_xyz(even, light.to_xyz, correction), 1.0, clipped, clipped)


# --- from readings


def _of_readings(catalogue: Catalogue, path: Path, options: ReadOptions) -> tuple[str, StripRead]:
    if not options.strip:
        raise InputError("which strip was measured?", where=path.name, mend="Name it: --strip S-1")
    rows, labs = _rows_of(path)
    with catalogue.read() as session:
        strip = strip_called(session, options.strip)
        uid, patches = strip.uid, strip.layout["patches"]
    if len(rows) != len(patches):
        raise InputError(
            "{rows} readings for a strip of {patches} patches",
            rows=len(rows),
            patches=len(patches),
            where=path.name,
            mend="Read every patch once, row by row from the upper left",
        )
    across = len({patch["x"] for patch in patches})
    places = _places(rows, across, options.order)
    in_order = np.array([labs[at] for at in places])
    _refuse_wrong_order([patch["tints"] for patch in patches], in_order, across, path.name)
    colours = {tuple(patch["tints"]): labs[at] for patch, at in zip(patches, places, strict=True)}
    papers = [lab for tints, lab in colours.items() if not any(tints)]
    told = tuple(
        PatchTold(patch["number"], tints, labs[at], rows[at].spread, True, "",
                  tint_state(tints, labs[at], papers, colours, _INSTRUMENT_NOISE))
        for patch, at in zip(patches, places, strict=True)
        for tints in [tuple(float(tint) for tint in patch["tints"])]
    )  # fmt: skip
    return uid, StripRead("readings", _TABLE_TYPE, told, path="as read", rows=tuple(rows[at] for at in places))


def _rows_of(path: Path) -> tuple[list[ReadingRow], list[Lab]]:
    rows: list[ReadingRow] = []
    labs: list[Lab] = []
    for file in read_readings_file(path, tells_inks=False):
        colours, errors = row_colours(file, file.rows)
        if errors:
            raise errors[0]
        for row, colour in zip(file.rows, colours, strict=True):
            if colour is None:
                raise InputError("nothing was measured", where=f"{path.name}, line {row.line}", mend="Give Lab")
            rows.append(row)
            labs.append(colour.lab)
    return rows, labs


def _places(rows: Sequence[ReadingRow], across: int, order: str) -> list[int]:
    """Return which row belongs to each patch: by the patch's number as its sample, else by the order told."""
    count = len(rows)
    named = {row.sample.strip(): at for at, row in enumerate(rows)}
    numbers = [str(number) for number in range(1, count + 1)]
    if order == "rows" and set(named) == set(numbers):
        return [named[number] for number in numbers]
    if order == "reversed":
        return list(range(count - 1, -1, -1))
    if order == "columns":
        by_column = sorted(range(count), key=lambda patch: (patch % across, patch // across))
        got = {patch: at for at, patch in enumerate(by_column)}
        return [got[patch] for patch in range(count)]
    return list(range(count))


def _refuse_wrong_order(tints: Sequence[Sequence[float]], labs: Any, across: int, name: str) -> None:
    judged = judge_order(tints, labs, across)
    if judged.fits:
        return
    if judged.words:
        raise InputError(
            "the readings do not follow the strip's tints, but would {words}",
            words=judged.words,
            where=name,
            mend="Sort them as the patches are numbered, or say --order columns or --order reversed",
        )
    raise InputError(
        "the readings fit this strip in no order: colours are {miss:.0f} off what their tints allow",
        miss=judged.miss,
        where=name,
        mend="Are they of another strip? See `inkchest strip list`",
    )
