"""Readings of printed patches as plain values, and what every format that carries them shares.

A row says what was printed (paper, layers) and what was read (Lab, XYZ, spectrum). Scales are checked here,
at the door: what is beyond the scale is refused, what is only unusual passes with a notice.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from archive.errors import ArchiveError, InputError, ManyErrors, Notice
from archive.exchange.text import read_date, read_number

Triple = tuple[float, float, float]
T = TypeVar("T")

# Brightened papers and fluorescent inks send back more than a perfect white: that passes up to the limit.
L_USUAL, L_LIMIT = 100.0, 115.0  # L*
FACTOR_USUAL, FACTOR_LIMIT = 1.0, 2.0  # reflectance factor, and XYZ with Y = 1
FACTOR_NOISE = -0.01  # the dark end of an instrument's scale may dip below zero by this much
AB_USUAL, AB_LIMIT = (
    128.0,
    300.0,
)  # a*, b*; no printed surface comes near the limit: a decimal sign has slipped
NM_LEAST, NM_MOST = 300.0, 1100.0  # wavelengths that an instrument for prints may give

_BAND = re.compile(
    r"(?:(?:SPECTRAL|SPECTRUM|SPEC|NM|R|REFL|REFLECTANCE)_?)?(?:(?:NM|DEC|PCT)_?)?([0-9]{3,4}(?:\.[0-9]+)?)(?:_?NM)?"
)

CONDITIONS = ("M0", "M1", "M2", "M3", "camera", "eye")
DETAILS = (
    *("work", "run", "machine", "screen", "condition", "backing", "instrument"),
    *("measured_on", "printed_on", "hours_after", "n", "spread", "note"),
)


@dataclass(frozen=True, slots=True)
class ReadLayer:
    """One ink as a file tells it: its name, its tint in percent, its pass (None: the file does not say)."""

    ink: str
    tint: float
    print_pass: int | None = None


@dataclass(frozen=True, slots=True)
class Spectrum:
    """Reflectance factors (0-1, a perfect white is 1) at even steps of wavelength."""

    start_nm: float
    step_nm: float
    values: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One patch of a readings file: what was printed, what was read, and the cells as they stood.

    Attributes
    ----------
    line : int
        The line of the file, from 1.
    layers : tuple of ReadLayer
        In printing order; empty for bare paper.
    lab, xyz : three floats or None
        L*a*b*; XYZ with Y = 1 for a perfect white.
    measured_on, printed_on : str or None
        ISO dates.
    spread : float or None
        How far the n readings lay apart, as the file tells it.
    device : tuple of (field, percent)
        The device columns of a CGATS table, 0-100.
    original : tuple of (column, text)
        Every cell as it stood in the file.
    """

    line: int
    sample: str
    paper: str | None = None
    layers: tuple[ReadLayer, ...] = ()
    lab: Triple | None = None
    xyz: Triple | None = None
    spectrum: Spectrum | None = None
    work: str | None = None
    run: str | None = None
    machine: str | None = None
    screen: str | None = None
    condition: str | None = None
    backing: str | None = None
    instrument: str | None = None
    measured_on: str | None = None
    printed_on: str | None = None
    hours_after: float | None = None
    n: int | None = None
    spread: float | None = None
    note: str | None = None
    device: tuple[tuple[str, float], ...] = ()
    original: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class ReadingsFile:
    """One set of readings: a CSV file, or one table of a CGATS file.

    Attributes
    ----------
    name : str
        The set's name.
    kind : str
        `"csv"`, `"cgats"` or `"cxf"`.
    header : tuple of (keyword, value)
        As written. It may carry makers' names: kept in the record, printed on no page.
    notices : tuple of Notice
        What is doubtful; none of it stops an import.
    inks_known : bool
        False while only device columns (or nothing) tell what was printed: then empty `layers` do not
        mean bare paper, and `apply_inks` must come first.
    """

    name: str
    kind: str
    header: tuple[tuple[str, str], ...]
    rows: tuple[ReadingRow, ...]
    notices: tuple[Notice, ...] = ()
    inks_known: bool = True

    @property
    def device_fields(self) -> tuple[str, ...]:
        """The names of the device columns, in the file's order."""
        return tuple(field for field, _ in self.rows[0].device) if self.rows else ()


class Findings:
    """All that a reader finds wrong or doubtful in one file, so that a person sees everything at once."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.errors: list[ArchiveError] = []
        self.notices: list[Notice] = []

    def where(self, line: int, field: str) -> str:
        """Return the place for a person: file, line, field."""
        return ", ".join(part for part in (self.name, f"line {line}" if line else "", field) if part)

    def error(self, template: str, line: int = 0, field: str = "", mend: str = "", **values: Any) -> None:
        """Keep one thing that is wrong; line 0 is the file as a whole."""
        self.errors.append(InputError(template, where=self.where(line, field), mend=mend, **values))

    def notice(self, code: str, template: str, line: int = 0, field: str = "", **values: Any) -> None:
        """Keep one thing that is doubtful."""
        self.notices.append(Notice(code, template, values, self.where(line, field)))

    def read(self, reader: Callable[[str], T], cell: str, line: int, field: str) -> T | None:
        """Return what `reader` makes of the cell; keep its InputError with the place, and return None."""
        try:
            return reader(cell)
        except InputError as fault:
            self.error(fault.template, line, field, fault.mend, **fault.values)
            return None

    def raise_errors(self) -> None:
        """Raise ManyErrors when anything is wrong."""
        if self.errors:
            raise ManyErrors(self.errors, where=self.name, mend="Mend them and import the file again")


def read_lab(cells: Sequence[tuple[str, str]], line: int, findings: Findings) -> Triple | None:
    """Return L*, a*, b* from three (field, cell) pairs; None when all are empty or one is wrong."""
    lab = _read_triple(cells, line, findings, read_number)
    if lab is None:
        return None
    fields = [field for field, _ in cells]
    if not 0 <= lab[0] <= L_LIMIT:
        findings.error("L* {number} is beyond 0 to 115", line, fields[0], number=lab[0])
    elif lab[0] > L_USUAL:
        findings.notice("lab_l_above_100", "L* {number} is above 100", line, fields[0], number=lab[0])
    for field, number in zip(fields[1:], lab[1:], strict=True):
        if abs(number) > AB_LIMIT:
            findings.error("{number} is no a* or b* of a print", line, field, number=number)
        elif abs(number) > AB_USUAL:
            findings.notice("lab_ab_unusual", "{number} is out of the usual range", line, field, number=number)
    return lab


def read_xyz(cells: Sequence[tuple[str, str]], line: int, findings: Findings) -> Triple | None:
    """Return XYZ with Y = 1 from three (field, cell) pairs on the files' scale, 0-100."""
    xyz = _read_triple(cells, line, findings, lambda cell: read_number(cell, shift=-2))
    if xyz is not None:
        check_factors(xyz, line, cells[1][0], findings)
    return xyz


def note_small_xyz(rows: Sequence[ReadingRow], findings: Findings) -> None:
    """Tell when no XYZ passes 2 percent: such a file may hold Y = 1 where 100 is meant."""
    parts = [part for row in rows if row.xyz for part in row.xyz]
    if parts and max(parts) <= FACTOR_LIMIT / 100:
        findings.notice("xyz_small", "no XYZ passes 2 of 100: check that the file does not count to 1")


def check_factors(factors: Sequence[float], line: int, field: str, findings: Findings) -> None:
    """Keep an error for factors beyond 0 to 2 (a perfect white is 1), a notice for those beyond 0 to 1."""
    least, most = min(factors), max(factors)
    outlier = most if most > FACTOR_USUAL else least
    if most > FACTOR_LIMIT or least < FACTOR_NOISE:
        outlier = most if most > FACTOR_LIMIT else least
        findings.error("{number} is beyond 0 to 2, where a perfect white is 1", line, field, number=outlier)
    elif most > FACTOR_USUAL or least < 0:
        findings.notice("factor_unusual", "{number} is out of the usual 0 to 1", line, field, number=outlier)


def band_nm(field: str) -> float | None:
    """Return the wavelength that a spectral field's name tells, in nm: SPECTRAL_NM380, R_380 and such."""
    match = _BAND.fullmatch(field.upper())
    return float(match[1]) if match and NM_LEAST <= float(match[1]) <= NM_MOST else None


def read_spectrum(
    nms: Sequence[float], cells: Sequence[tuple[str, str]], divisor: float, line: int, findings: Findings
) -> Spectrum | None:
    """Return the spectrum of (field, cell) pairs at these wavelengths, divided to reflectance factors.

    None when all cells are empty, or one is wrong.
    """
    if not any(cell.strip() for _, cell in cells):
        return None
    field = cells[0][0]
    numbers = [findings.read(read_number, cell, line, name) for name, cell in cells]
    factors = tuple(number / divisor for number in numbers if number is not None)
    grid = _even_grid(nms)
    if grid is None and len(nms) == len(cells):
        mend = "Export the spectra at even steps"
        findings.error("the wavelengths are not evenly spaced", line, field, mend)
    if grid is None or not len(factors) == len(nms) == len(cells):
        return None
    check_factors(factors, line, field, findings)
    return Spectrum(*grid, factors)


def _even_grid(nms: Sequence[float]) -> tuple[float, float] | None:
    """Return the first wavelength and the step; None when they do not rise evenly."""
    if len(nms) < 2:
        return None
    step = round((nms[-1] - nms[0]) / (len(nms) - 1), 4)
    if step <= 0 or any(abs(nms[0] + number * step - nm) > 0.01 for number, nm in enumerate(nms)):
        return None
    return nms[0], step


def _read_triple(
    cells: Sequence[tuple[str, str]], line: int, findings: Findings, reader: Callable[[str], float]
) -> Triple | None:
    if not any(cell.strip() for _, cell in cells):
        return None
    first, second, third = (findings.read(reader, cell, line, field) for field, cell in cells)
    if first is None or second is None or third is None:
        return None
    return first, second, third


def read_tint(cell: str) -> float:
    """Return a tint in percent, 0-100; a percent sign may follow.

    Raises
    ------
    InputError
        The cell is empty, no number, or beyond 0 to 100.
    """
    if not cell.strip():
        raise InputError("the tint is empty", mend="Write the file's tint in percent; 100 is solid")
    tint = read_number(cell.strip().removesuffix("%"))
    if not 0 <= tint <= 100:
        raise InputError("tint {tint:g} is beyond 0 to 100 percent", tint=tint)
    return tint


def read_count(cell: str) -> int:
    """Return a whole number of 1 or more."""
    number = read_number(cell)
    if number < 1 or not number.is_integer():
        raise InputError("{number:g} is not a whole number of 1 or more", number=number)
    return int(number)


def read_not_negative(cell: str) -> float:
    """Return a number of 0 or more."""
    number = read_number(cell)
    if number < 0:
        raise InputError("{number:g} is below zero", number=number)
    return number


def read_condition(cell: str) -> str:
    """Return the measurement condition: M0 to M3 (ISO 13655), camera or eye, in any case of letters."""
    for condition in CONDITIONS:
        if condition.casefold() == cell.strip().casefold():
            return condition
    raise InputError(
        "{cell} is no measurement condition",
        cell=repr(cell.strip()[:40]),
        mend="Use M0, M1, M2, M3, camera or eye",
    )


_DETAIL_READERS: dict[str, Callable[[str], object]] = {
    "condition": read_condition,
    "measured_on": read_date,
    "printed_on": read_date,
    "hours_after": read_not_negative,
    "n": read_count,
    "spread": read_not_negative,
}


def read_details(cells: Mapping[str, tuple[str, str]], line: int, findings: Findings) -> dict[str, Any]:
    """Return the optional fields of a row from {detail: (field, cell)}; an empty cell is None."""
    return {
        detail: findings.read(_DETAIL_READERS.get(detail, str.strip), cell, line, field)
        for detail, (field, cell) in cells.items()
        if cell.strip()
    }


def default_passes(layers: Sequence[ReadLayer], inks_per_pass: int = 2) -> tuple[ReadLayer, ...]:
    """Return the layers with every unknown pass filled in, from the first: so many inks to a pass.

    A pass that is known stays; an unknown one goes with the layer before it while that pass has room.

    Raises
    ------
    InputError
        A known pass lies before the pass of a layer that prints earlier.
    """
    filled: list[ReadLayer] = []
    current, used = 1, 0
    for layer in layers:
        wanted = layer.print_pass or (current if used < inks_per_pass else current + 1)
        if wanted < current:
            raise InputError(
                "{ink} is in pass {later}, but an ink before it is in pass {earlier}",
                ink=layer.ink,
                later=wanted,
                earlier=current,
                mend="Name the inks in printing order, first printed first",
            )
        used = used + 1 if wanted == current else 1
        current = wanted
        filled.append(replace(layer, print_pass=wanted))
    return tuple(filled)


def renumber_passes(layers: Sequence[ReadLayer]) -> tuple[ReadLayer, ...]:
    """Return the layers with passes counted from 1 without gaps: an ink alone on a patch took one pass."""
    passes = sorted({layer.print_pass for layer in layers if layer.print_pass is not None})
    numbers = {print_pass: number for number, print_pass in enumerate(passes, 1)}
    return tuple(
        layer if layer.print_pass is None else replace(layer, print_pass=numbers[layer.print_pass]) for layer in layers
    )


def is_colourant(field: str) -> bool:
    """Return whether a field's name says that it holds a colourant's tint: CMYK_C, 4CLR_1 and their like."""
    return re.fullmatch(r"CMYK_[CMYK]|CMY_[CMY]|[0-9A-F]{1,2}CLR_[0-9]{1,3}", field.upper()) is not None


def apply_inks(
    file: ReadingsFile,
    inks: Sequence[tuple[str, str]],
    passes: Mapping[str, int] | None = None,
    *,
    inks_per_pass: int = 2,
) -> ReadingsFile:
    """Return the file with layers made of its device columns.

    Zero tints are dropped; a row with no other is bare paper. The sheet's passes follow from all inks; on
    each patch they are counted anew, so that an ink alone took one pass whenever its turn on the sheet came.

    Parameters
    ----------
    file : ReadingsFile
        A table with device columns.
    inks : sequence of (field, ink)
        In printing order; the field in any case of letters.
    passes : mapping of ink to pass, optional
        Where it differs from `inks_per_pass` inks to a pass.

    Raises
    ------
    InputError
        A field is not in the table or named twice, a pass is for an ink not named, passes run backwards, or a
        colourant's column has tints and no ink.
    """
    passes = passes or {}
    named = _match_fields(file, inks)
    strangers = sorted(set(passes) - set(named.values()))
    if strangers:
        raise InputError("a pass is given for {ink}, which no field is", ink=strangers[0], where=file.name)
    order = default_passes([ReadLayer(ink, 0, passes.get(ink)) for ink in named.values()], inks_per_pass)
    turn = {field: layer.print_pass for field, layer in zip(named, order, strict=True)}

    def layers_of(row: ReadingRow) -> tuple[ReadLayer, ...]:
        tints = dict(row.device)
        return renumber_passes(
            [ReadLayer(ink, tints[field], turn[field]) for field, ink in named.items() if tints[field]]
        )

    return replace(file, rows=tuple(replace(row, layers=layers_of(row)) for row in file.rows), inks_known=True)


def _match_fields(file: ReadingsFile, inks: Sequence[tuple[str, str]]) -> dict[str, str]:
    """Return {field as written: ink} in printing order; every colourant with tints must have its ink."""
    written = {field.upper(): field for field in file.device_fields}
    there = ", ".join(file.device_fields) or "none"
    named: dict[str, str] = {}
    for field, ink in inks:
        match = written.get(field.upper())
        if match is None:
            mend = f"The table has these: {there}"
            raise InputError("there is no device field {field}", field=field, where=file.name, mend=mend)
        if match in named:
            raise InputError("the field {field} is given two inks", field=match, where=file.name)
        named[match] = ink
    every = file.kind == "cxf"  # there a device value is always a colourant's, whatever its name
    used = {field for row in file.rows for field, tint in row.device if tint and (every or is_colourant(field))}
    for field in (field for field in file.device_fields if field in used and field not in named):
        raise InputError(
            "the field {field} has tints, but no ink is given for it",
            field=field,
            where=file.name,
            mend="Name its ink too: a recipe without it would be wrong",
        )
    return named
