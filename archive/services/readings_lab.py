"""From what a readings file says to Lab under D50 for 2 degrees, the only Lab that the archive matches.

The file's own Lab stands as it was read, else it comes from the spectrum, else from XYZ. Lab and XYZ for another
light are no Lab under D50: then the spectrum comes first, and without one they are adapted by Bradford from the
light that the file names. Values for 10 degrees, or for a light that nobody published, cannot be turned.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from archive.colour.spaces import D50_WHITE, LIGHTEST, WIDEST, Floats, bradford_adapt, lab_to_xyz, xyz_to_lab
from archive.colour.spectra import reflectance_to_lab
from archive.errors import ArchiveError, ColourError, InputError
from archive.exchange.readings import ReadingRow, ReadingsFile, Triple

_ILLUMINANT = re.compile(r"\b([ABCE]|D[567][05]|FL?[0-9]{1,2})\b")


@dataclass(frozen=True, slots=True)
class Colour:
    """A row's Lab under D50, what it comes from, and the way it took."""

    lab: Triple
    lab_from: str
    path: str


@dataclass(frozen=True, slots=True)
class _Light:
    """The light that a file's Lab and XYZ are for; without a white they cannot be turned into D50."""

    name: str
    white: Floats | None


def row_colours(file: ReadingsFile, rows: Sequence[ReadingRow]) -> tuple[list[Colour | None], list[ArchiveError]]:
    """Return the colour of each row, None where there is none to be had, and what is wrong with those."""
    light = _other_light(file)
    colours: list[Colour | None] = [None] * len(rows)
    errors: list[ArchiveError] = []
    for number, row in enumerate(rows):
        if row.lab is not None and light is None:
            colours[number] = Colour(row.lab, "lab", "as read")
    _from_spectra(file, rows, colours, errors)
    for number, row in enumerate(rows):
        if colours[number] is None and row.spectrum is None:
            colours[number] = _from_numbers(file, row, light, errors)
    for row, colour in zip(rows, colours, strict=True):
        if colour is not None and not _is_on_scale(colour.lab):
            lab = ", ".join(f"{part:.1f}" for part in colour.lab)
            mend = "Check the columns: no print reads like this"
            errors.append(InputError("the reading makes Lab {lab}", lab=lab, where=_where(file, row), mend=mend))
    return colours, errors


def _where(file: ReadingsFile, row: ReadingRow) -> str:
    return f"{file.name}, line {row.line}"


def _is_on_scale(lab: Triple) -> bool:
    return 0 <= lab[0] <= LIGHTEST and max(abs(lab[1]), abs(lab[2])) <= WIDEST


def _three(values: Any) -> Triple:
    first, second, third = (float(value) for value in values)
    return max(first, 0.0), second, third  # rounding may leave a black just below zero


def _from_spectra(
    file: ReadingsFile, rows: Sequence[ReadingRow], colours: list[Colour | None], errors: list[ArchiveError]
) -> None:
    """Fill in the colours that only spectra tell, all of one grid at a time."""
    grids: dict[tuple[float, float, int], list[int]] = {}
    for number, row in enumerate(rows):
        if colours[number] is None and row.spectrum is not None:
            spectrum = row.spectrum
            grids.setdefault((spectrum.start_nm, spectrum.step_nm, len(spectrum.values)), []).append(number)
    for (start_nm, step_nm, _), numbers in grids.items():
        values = np.array([row.spectrum.values for row in (rows[number] for number in numbers) if row.spectrum])
        try:  # an instrument's dark offset may lie a little below zero
            labs = reflectance_to_lab(np.clip(values, 0, None), start_nm, step_nm)
        except ColourError as fault:
            errors.append(
                InputError(fault.template, where=_where(file, rows[numbers[0]]), mend=fault.mend, **fault.values)
            )
            continue
        for number, lab in zip(numbers, labs, strict=True):
            colours[number] = Colour(_three(lab), "spectrum", "spectrum, D50, 2 degrees")


def _from_numbers(
    file: ReadingsFile, row: ReadingRow, light: _Light | None, errors: list[ArchiveError]
) -> Colour | None:
    """Return the colour of a row that has Lab for another light, or only XYZ."""
    if light is None:
        xyz = np.clip(np.array(row.xyz), 0, None)
        return Colour(_three(xyz_to_lab(xyz)), "xyz", "XYZ relative to D50")
    if light.white is None:
        if not errors:
            errors.append(
                InputError(
                    "Lab and XYZ are for {light}, and there are no spectra",
                    light=light.name,
                    where=_where(file, row),
                    mend="Export the readings for D50 and 2 degrees, or with their spectra",
                )
            )
        return None
    xyz = np.clip(np.array(row.xyz), 0, None) if row.lab is None else lab_to_xyz(row.lab, light.white)
    lab = xyz_to_lab(np.clip(bradford_adapt(xyz, light.white, D50_WHITE), 0, None))
    kind = "xyz" if row.lab is None else "lab"
    words = {"xyz": "XYZ", "lab": "Lab"}[kind]
    return Colour(_three(lab), kind, f"{words} for {light.name}, adapted to D50 by Bradford")


def _other_light(file: ReadingsFile) -> _Light | None:
    """Return the light that the file's Lab and XYZ are for when it is not D50 and 2 degrees."""
    told = [str(notice.values["told"]) for notice in file.notices if notice.code == "other_light"]
    if not told:
        return None
    named = [_ILLUMINANT.search(re.sub(r"ILLUMINANT|CIE|STANDARD", " ", words)) for words in told]
    if len(told) == 1 and named[0] is not None:
        white = _white_of(named[0][1])
        if white is not None:
            return _Light(named[0][1], white)
    return _Light(" and ".join(words.title() for words in told), None)


def _white_of(illuminant: str) -> Floats | None:
    """Return XYZ of a CIE illuminant for 2 degrees, Y = 1; None when there is none of that name."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells of Matplotlib, which nothing here needs
        import colour

        whites = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
        name = re.sub(r"^F(?=[0-9])", "FL", illuminant)
        return np.asarray(colour.xy_to_XYZ(whites[name]), dtype=np.float64) if name in whites else None
