"""CGATS text: tables of readings as instruments write them (CGATS.17, ISO 28178).

Files in the wild differ in separators, quotation marks, spellings of fields and decimal signs. Reading goes
in two steps: the text becomes tables of cells, then the columns get their meaning by the names of the fields.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import PurePath

from archive.errors import InputError
from archive.exchange.readings import (
    DETAILS,
    FACTOR_LIMIT,
    Findings,
    ReadingRow,
    ReadingsFile,
    ReadLayer,
    Spectrum,
    band_nm,
    is_colourant,
    note_small_xyz,
    read_details,
    read_lab,
    read_spectrum,
    read_tint,
    read_xyz,
)
from archive.exchange.text import (
    read_number,
    split_blanks,
    split_cells,
    strip_comment,
    unify_newlines,
    unquote,
    write_number,
)

# Keywords of the standard, from memory; others are kept and named in a notice unless the file declares them.
_STANDARD_KEYWORDS = frozenset(
    """
    ORIGINATOR DESCRIPTOR FILE_DESCRIPTOR TABLE_DESCRIPTOR TABLE_NAME CREATED MANUFACTURER MANUFACTURE
    PROD_DATE SERIAL MATERIAL INSTRUMENTATION MEASUREMENT_SOURCE MEASUREMENT_GEOMETRY FILTER POLARIZATION
    ILLUMINANT OBSERVER WEIGHTING_FUNCTION COMPUTATIONAL_PARAMETER SAMPLE_BACKING PRINT_CONDITIONS TARGET_TYPE
    COPYRIGHT KEYWORD NUMBER_OF_FIELDS NUMBER_OF_SETS DEVICE_CLASS COLOR_REP
    """.split()  # noqa: SIM905 - words read better than thirty quoted lines
)
_SAMPLE_FIELDS = ("SAMPLE_ID", "SAMPLEID", "SAMPLE_NAME", "SAMPLENAME", "SAMPLE_LOC")
_LAB_FIELDS = (("LAB_L", "LAB_A", "LAB_B"), ("L*", "A*", "B*"), ("LAB_L*", "LAB_A*", "LAB_B*"))
_XYZ_FIELDS = ("XYZ_X", "XYZ_Y", "XYZ_Z")
# The fields in which our own tables keep the details of a row; the standard has none for them.
_DETAIL_FIELDS = {detail: detail.upper() for detail in ("paper", *DETAILS)} | {
    "run": "PRINT_RUN",
    "screen": "SCREEN_KIND",
    "condition": "MEASUREMENT_CONDITION",
    "backing": "SAMPLE_BACKING",
    "n": "READING_COUNT",
    "spread": "READING_SPREAD",
}
_ORDER_FIELD = "PRINT_ORDER"  # channels in printing order, each with its pass: "2:1 1:1 3:2"
_MEASURED = re.compile(r"(LAB|XYZ|XYY|LUV|LCH|CIE|RGB|SAMPLE|STDEV|STD|MEAN|CHI|SPECTRAL|D|DENS)[_*].*|[LABCH]\*")
# Pairs of fields in which each row tells its wavelengths itself.
_PAIRS = (("SPECTRAL_NM", "SPECTRAL_DEC"), ("SPECTRAL_NM", "SPECTRAL_PCT"))


@dataclass(slots=True)
class _Table:
    """One table as text: keywords, field names, and (line, cells) for each data line."""

    header: list[tuple[str, str]] = field(default_factory=list)
    fields: list[str] = field(default_factory=list)
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    lines: int = 0  # data lines met, bad ones too

    def told(self, *keywords: str) -> list[str]:
        """Return the values of these keywords, in the file's order."""
        return [value for keyword, value in self.header if keyword.upper() in keywords]


def read_cgats(text: str, name: str) -> tuple[ReadingsFile, ...]:
    """Return the readings of a CGATS file, a set for each of its tables.

    XYZ is read on the standard's scale, 0-100; spectra whose values pass 2 are percent. Device columns are
    kept as `device`: `apply_inks` makes layers of them, unless the file is one of our own and names its inks.

    Parameters
    ----------
    text : str
        The decoded file (`decode_text`).
    name : str
        The file's name; its stem names the set, with the table's number when there are several.

    Raises
    ------
    ManyErrors
        All that is wrong, by line and field: counts that do not agree, blocks that are missing or cut short,
        cells that are no numbers, values off their scale.
    """
    findings = Findings(name)
    tables = _Scanner(findings).scan(unify_newlines(text))
    stem = PurePath(name).stem
    files = []
    for number, table in enumerate(tables, 1):
        findings.notices = []
        set_name = stem if len(tables) == 1 else f"{stem} {number}"
        files.append(_TableReader(table, findings).read(set_name))
    found = any(row.lab or row.xyz or row.spectrum for file in files for row in file.rows)
    if not found and not findings.errors:
        findings.error("the file holds no readings: no Lab, XYZ or spectral values")
    findings.raise_errors()
    return tuple(files)


def is_cgats(text: str) -> bool:
    """Return whether the text has the data block that makes it CGATS."""
    return re.search(r"^[ \t]*BEGIN_DATA\b", text, re.MULTILINE | re.IGNORECASE) is not None


class _Scanner:
    """Turns the lines of a file into tables of cells; what is wrong goes to the findings."""

    def __init__(self, findings: Findings) -> None:
        self._findings = findings
        self._tables: list[_Table] = []
        self._table = _Table()
        self._block, self._begun = "", 0

    def scan(self, text: str) -> list[_Table]:
        """Return the tables of the text."""
        for number, line in enumerate(text.split("\n"), 1):
            words = line.split(maxsplit=1)
            if not words or words[0].startswith("#"):
                continue
            if self._block == "BEGIN_DATA":
                self._data_line(number, words[0].upper(), line)
            elif self._block:
                self._format_line(number, line)
            else:
                self._keyword_line(number, words[0], words[1].strip() if len(words) == 2 else "")
        self._finish()
        return self._tables

    def _keyword_line(self, number: int, keyword: str, rest: str) -> None:
        word = keyword.upper()
        if word == "BEGIN_DATA_FORMAT":
            self._block, self._begun, self._table.fields = word, number, []
            self._format_line(number, rest)
        elif word == "BEGIN_DATA":
            self._block, self._begun = word, number
            if not self._table.fields:
                self._findings.error(
                    "no BEGIN_DATA_FORMAT block stands before BEGIN_DATA: nothing tells what the columns are",
                    number,
                    mend="Export the readings again with their field names",
                )
            if strip_comment(rest):
                self._findings.error("there is text after BEGIN_DATA", number, mend="Begin a new line for it")
        elif word in ("END_DATA", "END_DATA_FORMAT"):
            self._findings.error("{word} ends a block that never began", number, word=word)
        else:
            self._table.header.append((keyword, strip_comment(rest)))

    def _format_line(self, number: int, line: str) -> None:
        for token in split_blanks(line):
            word = token.upper()
            if word == "END_DATA_FORMAT":
                self._block = ""
                return
            if word == "BEGIN_DATA":
                self._cut_short("END_DATA_FORMAT")
                self._keyword_line(number, token, "")
                return
            if word.startswith("#"):
                return
            name = self._findings.read(unquote, token, number, "BEGIN_DATA_FORMAT")
            self._table.fields.append(name or token)

    def _data_line(self, number: int, word: str, line: str) -> None:
        if word == "END_DATA":
            self._close()
            return
        if word in ("BEGIN_DATA", "BEGIN_DATA_FORMAT"):
            self._cut_short("END_DATA")
            self._close()
            self._keyword_line(number, word, line.split(maxsplit=1)[1] if len(line.split()) > 1 else "")
            return
        fields = self._table.fields
        self._table.lines += 1
        if not fields:
            return
        cells = self._findings.read(lambda text: split_cells(text, len(fields)), line, number, "")
        if cells is not None and len(cells) == len(fields):
            self._table.rows.append((number, cells))
        elif cells is not None:
            self._findings.error(
                "the line has {found} values, the data format names {wanted} fields",
                number,
                found=len(cells),
                wanted=len(fields),
            )

    def _close(self) -> None:
        """End the table after checking the counts that the file gives."""
        self._check_count("NUMBER_OF_FIELDS", len(self._table.fields), "the data format names {found} fields")
        self._check_count("NUMBER_OF_SETS", self._table.lines, "there are {found} data lines")
        self._tables.append(self._table)
        self._table, self._block = _Table(), ""

    def _check_count(self, keyword: str, found: int, words: str) -> None:
        for value in self._table.told(keyword):
            told = self._findings.read(read_number, value, self._begun, keyword)
            if told is not None and told != found and self._table.fields:
                self._findings.error(
                    f"{{keyword}} says {{told:g}}, but {words}",
                    mend="Lines may be lost: compare with the instrument's own copy, then correct the count",
                    keyword=keyword,
                    told=told,
                    found=found,
                )

    def _cut_short(self, missing: str) -> None:
        self._findings.error(
            "the block that begins here never ends: {missing} is missing",
            self._begun,
            mend="The file may be cut short: copy it again",
            missing=missing,
        )

    def _finish(self) -> None:
        if self._block:
            self._cut_short(self._block.replace("BEGIN", "END"))
        elif self._tables:
            self._tables[-1].header.extend(self._table.header)
        elif not self._findings.errors:
            self._findings.error("there is no BEGIN_DATA block: the file is no CGATS text")


class _TableReader:
    """Gives one table's columns their meaning by the names of the fields, and reads its rows."""

    def __init__(self, table: _Table, findings: Findings) -> None:
        self._table, self._findings = table, findings
        self._names = [name.upper() for name in table.fields]
        self._taken: set[int] = set()
        self._samples = [place for place, name in enumerate(self._names) if name in _SAMPLE_FIELDS]
        self._taken.update(self._samples)
        self._lab = self._take_all(*_LAB_FIELDS)
        self._xyz = self._take_all(_XYZ_FIELDS)
        self._details = {detail: place for detail, name in _DETAIL_FIELDS.items() for place in self._take_all((name,))}
        self._order = self._take_all((_ORDER_FIELD,))
        self._nm_columns, self._nms, self._bands = self._spectral_columns()
        self._divisor = self._spectral_divisor()
        self._device = self._device_columns()
        self._inks = {key[4:]: ink for key, ink in table.header if re.fullmatch(r"INK_[0-9]+", key)}
        self._defaults = self._header_details()

    def read(self, name: str) -> ReadingsFile:
        """Return the table's readings."""
        self._note_unread()
        self._note_other_light()
        rows = tuple(self._row(line, cells) for line, cells in self._table.rows)
        note_small_xyz(rows, self._findings)
        header, notices = tuple(self._table.header), tuple(self._findings.notices)
        return ReadingsFile(name, "cgats", header, rows, notices, inks_known=bool(self._order))

    def _take_all(self, *spellings: tuple[str, ...]) -> list[int]:
        """Return the first columns of the first spelling whose fields are all there, else none."""
        for names in spellings:
            if all(name in self._names for name in names):
                places = [self._names.index(name) for name in names]
                self._taken.update(places)
                return places
        return []

    def _spectral_columns(self) -> tuple[list[int], tuple[float, ...], list[int]]:
        """Return the columns that hold wavelengths, else the wavelengths, and the bands' columns."""
        neighbours = enumerate(zip(self._names, self._names[1:], strict=False))
        pairs = [(place, place + 1) for place, pair in neighbours if pair in _PAIRS]
        if pairs:
            self._taken.update(place for pair in pairs for place in pair)
            return [first for first, _ in pairs], (), [second for _, second in pairs]
        bands: dict[float, int] = {}
        for place, name in enumerate(self._names):
            nm = None if place in self._taken else band_nm(name)
            if nm is not None:
                bands.setdefault(nm, place)
        nms = tuple(sorted(bands)) if len(bands) > 1 else ()
        self._taken.update(bands[nm] for nm in nms)
        return [], nms, [bands[nm] for nm in nms]

    def _spectral_divisor(self) -> float:
        """Return 100 when the spectra are percent: by the fields' names, else because a value passes 2."""
        names = [self._names[place] for place in self._bands]
        if any("DEC" in name for name in names):
            return 1.0
        if any("PCT" in name for name in names):
            return 100.0
        numbers = [_number_or_none(cells[place]) for _, cells in self._table.rows for place in self._bands]
        if max((number for number in numbers if number is not None), default=0.0) <= FACTOR_LIMIT:
            return 1.0
        self._findings.notice("spectra_in_percent", "the spectra pass 2: they were read as percent")
        return 100.0

    def _device_columns(self) -> list[int]:
        """Return the columns that tell what was printed: colourants, and numbers that could be percent."""
        found = []
        for place, name in enumerate(self._names):
            if place in self._taken or name in self._names[:place] or _MEASURED.fullmatch(name):
                continue
            numbers = [_number_or_none(cells[place]) for _, cells in self._table.rows]
            if is_colourant(name) or (numbers and all(n is not None and 0 <= n <= 100 for n in numbers)):
                found.append(place)
        self._taken.update(found)
        return found

    def _header_details(self) -> dict[str, str]:
        """Return what the keywords tell of every row: the measurement condition and the backing."""
        sources = self._table.told("MEASUREMENT_SOURCE", "MEASUREMENT_CONDITION", "FILTER")
        conditions = [match[0] for value in sources if (match := re.search(r"\bM[0-3]\b", value))]
        backings = [value.strip().casefold() for value in self._table.told("SAMPLE_BACKING") if value.strip()]
        told = {"condition": conditions, "backing": backings}
        return {detail: values[0] for detail, values in told.items() if values}

    def _note_unread(self) -> None:
        fields = [field for place, field in enumerate(self._table.fields) if place not in self._taken]
        if fields:
            template = "these fields are kept, but not read: {fields}"
            self._findings.notice("fields_not_read", template, fields=", ".join(fields))
        declared = {value.upper() for value in self._table.told("KEYWORD")} | _STANDARD_KEYWORDS
        keywords = [key for key, value in self._table.header if value and key.upper() not in declared]
        if keywords:
            template = "these keywords are kept, but not read: {keywords}"
            self._findings.notice("keywords_not_read", template, keywords=", ".join(keywords))

    def _note_other_light(self) -> None:
        """Tell when Lab and XYZ are not for D50 and 2 degrees."""
        for key, value in ((key.upper(), value.upper()) for key, value in self._table.header):
            light = key == "ILLUMINANT" or (key == "WEIGHTING_FUNCTION" and "ILLUMINANT" in value)
            observer = key == "OBSERVER" or (key == "WEIGHTING_FUNCTION" and "OBSERVER" in value)
            if value and ((light and "D50" not in value) or (observer and re.search("10|1964", value))):
                template = "Lab and XYZ are not for D50 and 2 degrees, but for {told}"
                self._findings.notice("other_light", template, told=value)

    def _row(self, line: int, cells: list[str]) -> ReadingRow:
        named = [(self._table.fields[place], cells[place]) for place in range(len(cells))]
        findings = self._findings
        details = {d: named[place] for d, place in self._details.items()}
        tints = [
            (named[place][0], findings.read(read_tint, named[place][1], line, named[place][0]))
            for place in self._device
        ]
        device = tuple((field, tint) for field, tint in tints if tint is not None)
        return ReadingRow(
            line,
            sample=next((cells[place] for place in self._samples if cells[place]), str(line)),
            layers=self._layers(line, cells, dict(device)),
            lab=read_lab([named[place] for place in self._lab], line, findings),
            xyz=read_xyz([named[place] for place in self._xyz], line, findings),
            spectrum=self._spectrum(line, named),
            device=device,
            original=tuple(named),
            **{**self._defaults, **read_details(details, line, findings)},
        )

    def _spectrum(self, line: int, named: Sequence[tuple[str, str]]) -> Spectrum | None:
        nm_cells = [named[place] for place in self._nm_columns]
        told = [self._findings.read(read_number, cell, line, field) for field, cell in nm_cells]
        nms = self._nms or tuple(nm for nm in told if nm is not None)
        return read_spectrum(nms, [named[place] for place in self._bands], self._divisor, line, self._findings)

    def _layers(self, line: int, cells: list[str], device: Mapping[str, float]) -> tuple[ReadLayer, ...]:
        """Return the layers that one of our own tables tells by channel and pass."""
        layers = []
        for step in " ".join(cells[place] for place in self._order).split():
            match = re.fullmatch(r"([0-9]{1,3})(?::([1-9][0-9]{0,2}))?", step)
            end = f"CLR_{match[1]}" if match else " "
            tints = [tint for name, tint in device.items() if name.upper().endswith(end)]
            if match is None or match[1] not in self._inks or not tints:
                mend = "Each channel needs a field such as 2CLR_1 and a keyword INK_1"
                self._findings.error("{step} names no channel", line, _ORDER_FIELD, mend, step=repr(step))
                continue
            layers.append(ReadLayer(self._inks[match[1]], tints[0], int(match[2]) if match[2] else None))
        return tuple(layers)


def _number_or_none(cell: str) -> float | None:
    try:
        return read_number(cell)
    except InputError:
        return None


def write_cgats(rows: Sequence[ReadingRow], *, descriptor: str = "", created: str = "") -> str:
    """Return the rows as one CGATS table that `read_cgats` reads back with the same values.

    Each ink is a channel (`INK_1` names the ink of the field `nCLR_1`); the field `PRINT_ORDER` tells a row's
    channels in printing order with their passes. Line breaks and tabs inside texts become spaces.

    Parameters
    ----------
    rows : sequence of ReadingRow
        Spectra, where there are any, must share their wavelengths.
    descriptor, created : str
        What the set is, and the date, for the header.

    Raises
    ------
    InputError
        The spectra have different wavelengths.
    """
    channels = list(dict.fromkeys(channel for row in rows for channel in _channels(row)))
    shape = _shape_of(rows)
    inks = {f"INK_{number}": ink for number, (ink, _) in enumerate(channels, 1)}
    tints = [f"{len(channels)}CLR_{number}" for number in range(1, len(channels) + 1)]
    own = [_ORDER_FIELD, *(_DETAIL_FIELDS[detail] for detail in shape.details)]
    fields = ["SAMPLE_ID", *tints, _ORDER_FIELD, *shape.measured_fields(), *own[1:]]
    header = {"ORIGINATOR": "inkchest", "DESCRIPTOR": descriptor, "CREATED": created}
    lines = ["CGATS.17", *(f"{key} {_quoted(value)}" for key, value in header.items())]
    lines += [f'WEIGHTING_FUNCTION "{told}"' for told in ("ILLUMINANT, D50", "OBSERVER, 2 degree")]
    lines += [f'KEYWORD "{name}"' for name in (*inks, *own)]
    lines += [f"{key} {_quoted(ink)}" for key, ink in inks.items()]
    lines += [f"NUMBER_OF_FIELDS {len(fields)}", "BEGIN_DATA_FORMAT", "\t".join(fields), "END_DATA_FORMAT"]
    lines += [f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA"]
    lines += ["\t".join([*_print_cells(row, channels), *_measured_cells(row, shape)]) for row in rows]
    return "\n".join([*lines, "END_DATA", ""])


@dataclass(frozen=True, slots=True)
class _Shape:
    """Which columns a table needs so that every row finds its place."""

    has_lab: bool
    has_xyz: bool
    bands: tuple[str, ...]
    details: tuple[str, ...]

    def measured_fields(self) -> list[str]:
        """Return the fields of what was measured."""
        lab = _LAB_FIELDS[0] if self.has_lab else ()
        return [*lab, *(_XYZ_FIELDS if self.has_xyz else ()), *self.bands]


def _shape_of(rows: Sequence[ReadingRow]) -> _Shape:
    grids = {(s.start_nm, s.step_nm, len(s.values)) for row in rows if (s := row.spectrum)}
    if len(grids) > 1:
        raise InputError("the spectra have different wavelengths", mend="Export them apart")
    nms = [round(start + band * step, 4) for start, step, count in grids for band in range(count)]
    return _Shape(
        any(row.lab for row in rows) or not rows,
        any(row.xyz for row in rows),
        tuple(f"SPECTRAL_NM{write_number(nm)}" for nm in nms),
        tuple(detail for detail in _DETAIL_FIELDS if any(getattr(row, detail) is not None for row in rows)),
    )


def _channels(row: ReadingRow) -> list[tuple[str, int]]:
    """Return the channel of each layer: its ink, and how often that ink came before on the same patch."""
    inks = [layer.ink for layer in row.layers]
    return [(ink, inks[:place].count(ink)) for place, ink in enumerate(inks)]


def _print_cells(row: ReadingRow, channels: Sequence[tuple[str, int]]) -> list[str]:
    """Return the cells of what was printed: sample, a tint each channel, the order with its passes."""
    layers = dict(zip(_channels(row), row.layers, strict=True))
    tints = [write_number(layers[channel].tint) if channel in layers else "0" for channel in channels]
    steps = [
        f"{channels.index(channel) + 1}" + (f":{layer.print_pass}" if layer.print_pass else "")
        for channel, layer in layers.items()
    ]
    return [_quoted(row.sample), *tints, _quoted(" ".join(steps))]


def _measured_cells(row: ReadingRow, shape: _Shape) -> list[str]:
    spectrum = row.spectrum.values if row.spectrum else (None,) * len(shape.bands)
    lab = row.lab or (None,) * 3
    xyz = [None if part is None else str(Decimal(repr(part)).scaleb(2)) for part in row.xyz or (None,) * 3]
    details = [getattr(row, detail) for detail in shape.details]
    cells = [*(lab if shape.has_lab else ()), *(xyz if shape.has_xyz else ()), *spectrum, *details]
    return [_cell(cell) for cell in cells]


def _cell(content: str | float | int | None) -> str:
    return _quoted(content or "") if content is None or isinstance(content, str) else write_number(content)


def _quoted(text: str) -> str:
    plain = re.sub(r"[\t\n\r]+", " ", text).replace('"', '""')
    return f'"{plain}"'
