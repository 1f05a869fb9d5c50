"""CxF3: colours as XML, with what was printed, what was read and how (ISO 17972-1, namespace CxF3-core).

An object of the file is a patch. Its colour values name a specification, which tells the measurement condition,
the backing, the instrument, the light and the wavelengths; values taken under several conditions become several
sets. Device values become device fields: `CMYK_C`, `CMYK_M`, `CMYK_Y`, `CMYK_K`, and a spot colour's own name.

In a file of our own each patch carries a tag collection called `inkchest`, and what it prints with stands in a
`ColorCustom`: one `SpotColor` each layer, in printing order, a `SpotColor` twice when the ink printed twice. The
tags: `passes` ("1 1 2", "-" where a pass is unknown; empty for bare paper, which has no device values), one tag
each for what else is known of the patch (`paper`, `work`, `run` ...), and `xyz` (three numbers, 0-100) where noise
took XYZ below zero, which the schema forbids.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Any

from archive.errors import InputError, Notice
from archive.exchange.readings import (
    CONDITIONS,
    DETAILS,
    Findings,
    ReadingRow,
    ReadingsFile,
    ReadLayer,
    Spectrum,
    note_small_xyz,
    read_count,
    read_details,
    read_lab,
    read_spectrum,
    read_tint,
    read_xyz,
)
from archive.exchange.text import read_date, read_number

NAMESPACE = "http://colorexchangeformat.com/CxF3-core"
_MOST_BYTES = 64 * 2**20
OURS = "inkchest"
TAGGED = tuple(  # the other details have their place in the specification
    detail for detail in ("paper", *DETAILS) if detail not in ("condition", "backing", "instrument")
)
LAB, XYZ = ("ColorCIELab", "LAB"), ("ColorCIEXYZ", "XYZ")
_SPECTRA = ("ReflectanceSpectrum", "CustomSpectrum")
_READ = (LAB[0], XYZ[0], *_SPECTRA)
_PROCESS = (("Cyan", "CMYK_C"), ("Magenta", "CMYK_M"), ("Yellow", "CMYK_Y"), ("Black", "CMYK_K"))
_DEVICE = ("ColorCMYK", "ColorCMYKPlusN", "ColorCustom")
ILLUMINATION = {"M0": "M0_Incandescent", "M1": "M1_Daylight", "M2": "M2_UVExcluded", "M3": "M3_Polarized"}
HOUSE_LIGHT = ("D50", "2_Degree")
_EXPORT_AGAIN = "Export the readings again, as CxF3 or as CGATS text"


def is_cxf(data: bytes) -> bool:
    """Return whether a file's bytes begin as CxF3 does, in UTF-8 or UTF-16."""
    return b"CxF3-core" in data[:8192].replace(b"\x00", b"")


def read_cxf(data: bytes, name: str) -> tuple[ReadingsFile, ...]:
    """Return the readings of a CxF3 file: a set each for condition, backing, instrument and light.

    Lab and XYZ are taken for D50 and 2 degrees where a patch has several; a set that has them only for another
    light says so with the notice `other_light`. XYZ is read on the scale 0-100, spectra as factors.

    Parameters
    ----------
    data : bytes
        The whole file, at most 64 MiB.
    name : str
        The file's name; its stem names the set, with the condition when there are several.

    Raises
    ------
    InputError
        The file is no CxF3, is not well formed, or declares a document type (a DTD), which may name other files
        or grow without bound and which CxF never needs.
    ManyErrors
        All that is wrong with the values, by line and object.
    """
    root = _parse(data, name)
    findings = Findings(name)
    reader = _Reader(root, findings)
    files = reader.files(PurePath(name).stem)
    if not files and not findings.errors:
        findings.error("the file holds no readings: no Lab, XYZ or reflectance", mend=_EXPORT_AGAIN)
    findings.raise_errors()
    return files


class _DocumentTypeError(Exception):
    """The document declares a type."""


class _Prolog:
    """A parser's target that ends the parse where a document type begins, before any entity is declared."""

    def doctype(self, *_: object) -> None:
        raise _DocumentTypeError

    def start(self, *_: object) -> None: ...

    def end(self, *_: object) -> None: ...

    def close(self) -> None: ...


def _parse(data: bytes, name: str) -> Any:
    """Return the root element; nothing outside the bytes is read, and no entity is expanded."""
    from lxml import etree

    if len(data) > _MOST_BYTES:
        raise InputError("the file has more than 64 MiB", where=name, mend="Export fewer patches to a file")
    options: dict[str, Any] = {"resolve_entities": False, "no_network": True, "load_dtd": False, "huge_tree": False}
    try:
        etree.fromstring(data, etree.XMLParser(target=_Prolog(), **options))
        root = etree.fromstring(data, etree.XMLParser(remove_comments=True, remove_pis=True, **options))
    except _DocumentTypeError as exc:
        raise InputError(
            "the file declares a document type (DTD), which is not read: it can name other files and expand itself",
            where=name,
            mend="Take the line with <!DOCTYPE out if you trust the file: CxF needs none",
        ) from exc
    except etree.XMLSyntaxError as exc:
        raise InputError(
            "the file is no well-formed XML", where=f"{name}, line {exc.lineno or 1}", mend="Copy the file again"
        ) from exc
    if root.tag != qualified("CxF"):
        told = str(root.tag)[:80]
        mend = _EXPORT_AGAIN
        raise InputError("the file is no CxF3: it begins with {tag}", where=name, mend=mend, tag=told)
    return root


def qualified(tag: str) -> str:
    """Return the tag with its namespace, as lxml spells it."""
    return f"{{{NAMESPACE}}}{tag}"


def _local(element: Any) -> str:
    return str(element.tag).rpartition("}")[2]


def _path(*tags: str) -> str:
    return "/".join(qualified(tag) for tag in tags)


def _text(element: Any, *tags: str) -> str:
    """Return the text of the element, or of the one at the path under it; empty when there is none."""
    found = element.find(_path(*tags)) if tags else element
    return "" if found is None else (found.text or "").strip()


def _facts(element: Any, prefix: str = "") -> Iterator[tuple[str, str]]:
    """Yield (path, text) for each attribute and text in and under the element, as they stand."""
    for key, text in element.attrib.items():
        yield f"{prefix}@{key.rpartition('}')[2]}", text
    if not len(element) and (element.text or "").strip():
        yield prefix or _local(element), element.text.strip()
    for child in element.iterchildren(f"{{{NAMESPACE}}}*"):
        yield from _facts(child, f"{prefix}/{_local(child)}".lstrip("/"))


@dataclass(frozen=True, slots=True)
class _Specification:
    """What a colour specification tells: how a value was measured, under which light, at which wavelengths."""

    measured: tuple[str | None, str | None, str | None] = (None, None, None)  # condition, backing, instrument
    light: tuple[str, str] = HOUSE_LIGHT
    start_nm: str = ""
    step_nm: str = ""
    is_of_print: bool = True


def _read_specification(element: Any) -> _Specification:
    spec, device, grid = "MeasurementSpec", ("MeasurementSpec", "Device"), _path("MeasurementSpec", "WavelengthRange")
    illumination = _text(element, *device, "DeviceIllumination")
    conditions = {word: condition for condition, word in ILLUMINATION.items()}
    custom = element.find(_path(*device, "DeviceIllumination"))
    told = "" if custom is None else custom.get("CustomType", "")
    condition = conditions.get(illumination) or (told if told in CONDITIONS else None)
    instrument = " ".join(filter(None, (_text(element, *device, part) for part in ("Manufacturer", "Model"))))
    observer = _text(element, "TristimulusSpec", "Observer") or HOUSE_LIGHT[1]
    illuminant = _text(element, "TristimulusSpec", "Illuminant") or HOUSE_LIGHT[0]
    if element.find(_path("TristimulusSpec", "CustomIlluminant")) is not None:
        illuminant = "custom illuminant"
    wavelengths = element.find(grid)
    return _Specification(
        (condition, _text(element, spec, "Backing") or None, instrument or None),
        (illuminant, observer),
        "" if wavelengths is None else wavelengths.get("StartWL", ""),
        "" if wavelengths is None else wavelengths.get("Increment", ""),
        not re.search("Transmittance|Emissive", _text(element, spec, "MeasurementType")),
    )


@dataclass(frozen=True, slots=True)
class _Key:
    """What the rows of one set have in common."""

    measured: tuple[str | None, str | None, str | None]
    light: tuple[str, str]
    has_device: bool
    is_ours: bool


@dataclass(frozen=True, slots=True)
class _Place:
    """Where an object stands, for the messages."""

    line: int
    name: str

    def field(self, part: str) -> str:
        return f'object "{self.name[:40]}", {part}'


class _Reader:
    """Turns the objects of a document into sets of rows."""

    def __init__(self, root: Any, findings: Findings) -> None:
        self._root, self._findings = root, findings
        path = _path("Resources", "ColorSpecificationCollection", "ColorSpecification")
        self._elements = {element.get("Id", ""): element for element in root.iterfind(path)}
        self._specifications = {key: _read_specification(element) for key, element in self._elements.items()}
        self._tells_device = next(root.iter(qualified("DeviceColorValues")), None) is not None
        self._unread: dict[str, int] = {}
        self._sets: dict[_Key, list[ReadingRow]] = {}

    def files(self, stem: str) -> tuple[ReadingsFile, ...]:
        """Return the sets, named after the file and, where there are several, their condition."""
        for element in self._root.iterfind(_path("Resources", "ObjectCollection", "Object")):
            self._object(element)
        self._tell_unread()
        common, named = self._findings.notices, _names(stem, list(self._sets))
        header = tuple(self._header())
        return tuple(
            ReadingsFile(
                name,
                "cxf",
                header,
                _even_device(rows),
                (*common, *self._set_notices(key, rows)),
                inks_known=key.is_ours,
            )
            for name, (key, rows) in zip(named, self._sets.items(), strict=True)
        )

    def _header(self) -> Iterator[tuple[str, str]]:
        for element in self._root.iterfind(_path("FileInformation")):
            for tag in element.iterfind(qualified("Tag")):
                yield f"Tag {tag.get('Name', '')}", tag.get("Value", "")
            yield from ((path, text) for path, text in _facts(element) if not path.startswith("Tag@"))
        for key, element in self._elements.items():
            yield from ((f"ColorSpecification {key}/{path}", text) for path, text in _facts(element) if path != "@Id")

    def _set_notices(self, key: _Key, rows: Sequence[ReadingRow]) -> tuple[Notice, ...]:
        findings = Findings(self._findings.name)
        template = "Lab and XYZ are not for D50 and 2 degrees, but for {told}"
        for told, usual in zip(key.light, HOUSE_LIGHT, strict=True):
            if told != usual and any(row.lab or row.xyz for row in rows):
                findings.notice("other_light", template, told=told.replace("_", " "))
        note_small_xyz(rows, findings)
        return tuple(findings.notices)

    def _object(self, element: Any) -> None:
        place = _Place(element.sourceline or 0, element.get("Name") or element.get("Id") or "")
        ours = element.find(f"{qualified('TagCollection')}[@Name='{OURS}']")
        tags = (
            {}
            if ours is None
            else {tag.get("Name", ""): tag.get("Value", "") for tag in ours.iterfind(qualified("Tag"))}
        )
        device = self._device(element, place) if ours is None else []
        told: dict[str, Any] = {"device": tuple(device), "original": tuple(_facts(element))}
        if ours is not None:
            told["layers"] = self._layers(element, tags, place)
        is_bare = ours is None and element.get("ObjectType", "").casefold() == "substrate"
        has_device = bool(device) or (is_bare and self._tells_device)
        groups: dict[tuple[str | None, str | None, str | None], list[Any]] = {}
        for value in element.iterfind(_path("ColorValues", "*")):
            if self._is_read(value):
                groups.setdefault(self._specification(value).measured, []).append(value)
        for measured, values in groups.items():
            light = self._light(values)
            details = self._details(element, values, tags, ours is not None, place)
            details |= dict(zip(("condition", "backing", "instrument"), measured, strict=True))
            row = ReadingRow(place.line, place.name, **self._values(values, light, tags, place), **details, **told)
            key = _Key(measured, light, has_device, ours is not None)
            self._sets.setdefault(key, []).append(row)
        if not groups:
            self._count("objects without a reading")

    def _specification(self, value: Any) -> _Specification:
        return self._specifications.get(value.get("ColorSpecification", ""), _Specification())

    def _is_read(self, value: Any) -> bool:
        """Return whether the value is a reading of a print of a kind we know; keep what is not for a notice."""
        kind, key = _local(value), value.get("ColorSpecification", "")
        if kind not in _READ:
            unread = kind
        elif not self._specification(value).is_of_print:
            unread = f"{kind} of light that passes through or is sent out"
        else:
            if key not in self._specifications:
                self._count(f"values of the specification {key or '(none)'}, which is missing")
            return True
        self._count(unread)
        return False

    def _count(self, told: str) -> None:
        """Count what a notice tells once for the whole file."""
        self._unread[told] = self._unread.get(told, 0) + 1

    def _tell_unread(self) -> None:
        for told, count in self._unread.items():
            missing = told.endswith("is missing")
            template = (
                "{count} {told}: D50, 2 degrees and no condition are assumed"
                if missing
                else "{count} {told}: kept, but not read"
            )
            code = "specification_missing" if missing else "values_not_read"
            self._findings.notice(code, template, count=count, told=told)

    def _light(self, values: Sequence[Any]) -> tuple[str, str]:
        """Return the light of the Lab and XYZ to read: D50 and 2 degrees where there is a choice."""
        lights = [self._specification(value).light for value in values if _local(value) not in _SPECTRA]
        return HOUSE_LIGHT if HOUSE_LIGHT in lights or not lights else lights[0]

    def _values(
        self, values: Sequence[Any], light: tuple[str, str], tags: Mapping[str, str], place: _Place
    ) -> dict[str, Any]:
        findings = self._findings
        lit = [value for value in values if self._specification(value).light == light]
        kinds = {_local(value): value for value in reversed(lit)}  # the first of a kind stands
        spectra = [value for value in values if _local(value) in _SPECTRA]
        for kind in sorted({_local(value) for value in lit} - set(_SPECTRA)):
            if sum(_local(value) == kind for value in lit) > 1:
                self._count(f"patches with a second {kind} for one condition and light")
        if len(spectra) > 1:
            self._count("patches with a second spectrum for one condition")
        xyz_cells = _cells(kinds.get(XYZ[0]), XYZ, place)
        if "xyz" in tags:
            parts = [*tags["xyz"].split(), "", "", ""][:3]
            xyz_cells = [(place.field("tag xyz"), part) for part in parts]
        return {
            "lab": read_lab(_cells(kinds.get(LAB[0]), LAB, place), place.line, findings),
            "xyz": read_xyz(xyz_cells, place.line, findings),
            "spectrum": self._spectrum(spectra[0], place) if spectra else None,
        }

    def _spectrum(self, value: Any, place: _Place) -> Spectrum | None:
        findings, line, field = self._findings, place.line, place.field(_local(value))
        if _local(value) == "CustomSpectrum":
            points = value.findall(qualified("SpectralPoint"))
            nms = [findings.read(read_number, point.get("WL", ""), line, f"{field} WL") for point in points]
            cells = [(field, _text(point)) for point in points]
            return read_spectrum([nm for nm in nms if nm is not None], cells, 1.0, line, findings) if cells else None
        spec = self._specification(value)
        start_cell = value.get("StartWL") or spec.start_nm
        if not start_cell or not spec.step_nm:
            template = "nothing tells the wavelengths of the spectrum"
            findings.error(template, line, field, "Export it with a WavelengthRange: start and increment")
            return None
        start = findings.read(read_number, start_cell, line, f"{field} StartWL")
        step = findings.read(read_number, spec.step_nm, line, f"{field} Increment")
        cells = [(field, cell) for cell in _text(value).split()]
        if start is None or step is None or not cells:
            return None
        return read_spectrum([start + number * step for number in range(len(cells))], cells, 1.0, line, findings)

    def _device(self, element: Any, place: _Place) -> list[tuple[str, float]]:
        """Return (field, percent) of all device values, each field once."""
        found: dict[str, float] = {}
        for value in element.iterfind(_path("DeviceColorValues", "*")):
            if _local(value) not in _DEVICE:
                self._count(_local(value))
                continue
            process = [(field, _text(value, tag)) for tag, field in _PROCESS if _local(value) != "ColorCustom"]
            for field, cell in [*process, *_spots(value)]:
                tint = self._findings.read(read_tint, cell, place.line, place.field(field))
                if tint is not None and found.setdefault(field, tint) != tint:
                    mend = "One patch has one tint of an ink"
                    self._findings.error("the patch has two tints of one ink", place.line, place.field(field), mend)
        return list(found.items())

    def _layers(self, element: Any, tags: Mapping[str, str], place: _Place) -> tuple[ReadLayer, ...]:
        """Return the layers of a patch of our own: its spot colours in order, with the passes of the tag."""
        spots = [
            spot for value in element.iterfind(_path("DeviceColorValues", "ColorCustom")) for spot in _spots(value)
        ]
        passes = tags.get("passes", "").split()
        if len(passes) != len(spots):
            template = "there are {spots} layers, but the tag tells {passes} passes"
            where = place.field("tag passes")
            self._findings.error(template, place.line, where, spots=len(spots), passes=len(passes))
            return ()
        layers = []
        for (ink, cell), turn in zip(spots, passes, strict=True):
            tint = self._findings.read(read_tint, cell, place.line, place.field(ink))
            known = turn != "-"
            number = self._findings.read(read_count, turn, place.line, place.field("tag passes")) if known else None
            layers += [] if tint is None else [ReadLayer(ink, tint, number)]
        return tuple(layers)

    def _details(
        self, element: Any, values: Sequence[Any], tags: Mapping[str, str], is_ours: bool, place: _Place
    ) -> dict[str, Any]:
        """Return what the tags of our own tell; of a foreign patch, the day it was measured."""
        if is_ours:
            cells = {detail: (place.field(f"tag {detail}"), tags[detail]) for detail in TAGGED if detail in tags}
            return read_details(cells, place.line, self._findings)
        stamps = [value.get("MeasureDate", "") for value in values] + [_text(element, "CreationDate")]
        day = next((stamp for stamp in stamps if stamp), "")[:10]
        try:
            return {"measured_on": read_date(day)} if day else {}
        except InputError:
            self._findings.notice("no_date", "{day} is no date", place.line, place.field("MeasureDate"), day=day)
            return {}


def _cells(value: Any | None, kind: tuple[str, str], place: _Place) -> list[tuple[str, str]]:
    """Return the three (field, text) of a Lab or XYZ value; none of a value that is not there."""
    tag, parts = kind
    if value is None:
        return [(place.field(tag), "")] * 3
    return [(place.field(f"{tag} {part}"), _text(value, part)) for part in parts]


def _spots(value: Any) -> list[tuple[str, str]]:
    return [(_text(spot, "Name"), _text(spot, "Percentage")) for spot in value.iterfind(qualified("SpotColor"))]


def _names(stem: str, keys: Sequence[_Key]) -> list[str]:
    """Return a name for each set: the stem alone for the only one, else with its condition, counted if need be."""
    if len(keys) == 1:
        return [stem]
    names: list[str] = []
    for key in keys:
        name = f"{stem} {key.measured[0] or 'no condition'}"
        alike = sum(other == name or other.startswith(f"{name} (") for other in names)
        names.append(f"{name} ({alike + 1})" if alike else name)
    return names


def _even_device(rows: Sequence[ReadingRow]) -> tuple[ReadingRow, ...]:
    """Return the rows with the same device fields: an ink that a patch does not name has no tint there."""
    fields = list(dict.fromkeys(field for row in rows for field, _ in row.device))
    tints = [dict(row.device) for row in rows]
    return tuple(
        replace(row, device=tuple((field, told.get(field, 0.0)) for field in fields))
        for row, told in zip(rows, tints, strict=True)
    )
