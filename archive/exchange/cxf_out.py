"""Readings as a CxF3 document (ISO 17972-1); `archive.exchange.cxf` tells how layers and details are kept in it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from archive.errors import InputError
from archive.exchange.cxf import HOUSE_LIGHT, ILLUMINATION, LAB, NAMESPACE, OURS, TAGGED, XYZ, qualified
from archive.exchange.readings import ReadingRow
from archive.exchange.text import read_date, write_number

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, production 2


def write_cxf(rows: Sequence[ReadingRow], *, created: str, descriptor: str = "") -> bytes:
    """Return the rows as a CxF3 document that `read_cxf` reads back with the same values.

    Lines, original cells and device fields are not carried: what was printed are the layers.

    Parameters
    ----------
    rows : sequence of ReadingRow
        Each with a reading.
    created : str
        The day of the export, as an ISO date: the format wants one.
    descriptor : str
        What the set is.

    Raises
    ------
    InputError
        There are no rows, one has no reading, a text holds a character that XML cannot carry, or `created` is no day.
    """
    from lxml import etree

    if not rows:
        raise InputError("there are no readings to write", mend="Choose other readings")
    if len(read_date(created)) != 10:
        raise InputError("{created} is not a whole date", created=created, mend="Give the day, such as 2019-05-04")
    writer = _Writer(etree.SubElement, f"{created}T00:00:00Z")
    root = etree.Element(qualified("CxF"), nsmap={"cc": NAMESPACE})
    writer.write(root, rows, descriptor)
    return bytes(etree.tostring(root, encoding="UTF-8", xml_declaration=True, pretty_print=True))


_SpecificationKey = tuple[str | None, str | None, str | None, float | None, float | None]


class _Writer:
    """Puts rows into a document, in the order of elements that the schema asks for."""

    def __init__(self, sub_element: Callable[..., Any], stamp: str) -> None:
        self._sub_element, self._stamp = sub_element, stamp
        self._specifications: dict[_SpecificationKey, str] = {}

    def write(self, root: Any, rows: Sequence[ReadingRow], descriptor: str) -> None:
        """Fill the root element."""
        information = self._add(root, "FileInformation")
        self._add(information, "Creator", "inkchest")
        self._add(information, "CreationDate", self._stamp)
        self._add(information, "Description", descriptor)
        resources = self._add(root, "Resources")
        objects = self._add(resources, "ObjectCollection")
        for number, row in enumerate(rows, 1):
            self._object(objects, str(number), row)
        specifications = self._add(resources, "ColorSpecificationCollection")
        for key, name in self._specifications.items():
            self._specification(specifications, key, name)

    def _add(self, parent: Any, tag: str, text: str | float | None = None, **attributes: str) -> Any:
        element = self._sub_element(parent, qualified(tag), {name: _carried(told) for name, told in attributes.items()})
        if text is not None:
            element.text = _carried(text) if isinstance(text, str) else write_number(text)
        return element

    def _object(self, objects: Any, number: str, row: ReadingRow) -> None:
        kind = "Target" if row.layers else "Substrate"
        element = self._add(objects, "Object", ObjectType=kind, Name=row.sample, Id=number)
        self._add(element, "CreationDate", self._stamp)
        specification = self._key(row)
        values = self._add(element, "ColorValues")
        is_below_zero = row.xyz is not None and min(row.xyz) < 0
        xyz = [str(Decimal(repr(float(part))).scaleb(2)) for part in row.xyz or ()]
        if row.spectrum:
            self._spectrum(values, row, specification)
        if row.lab:
            self._numbers(values, LAB, [write_number(part) for part in row.lab], specification)
        if xyz and not is_below_zero:
            self._numbers(values, XYZ, xyz, specification)
        if not len(values):
            template = "sample {sample} has no reading that CxF can carry"
            raise InputError(template, sample=row.sample, mend="Leave it out of the export")
        self._layers(element, row, specification)
        tags = {"xyz": " ".join(xyz)} if is_below_zero else {}
        self._tags(element, row, tags)

    def _numbers(self, values: Any, kind: tuple[str, str], numbers: Sequence[str], specification: str) -> None:
        tag, parts = kind
        value = self._add(values, tag, ColorSpecification=specification)
        for part, number in zip(parts, numbers, strict=True):
            self._add(value, part, number)

    def _key(self, row: ReadingRow) -> str:
        """Return the id of the specification that the row needs, making it when it is the first of its kind."""
        grid = (row.spectrum.start_nm, row.spectrum.step_nm) if row.spectrum else (None, None)
        key = (row.condition, row.backing, row.instrument, *grid)
        return self._specifications.setdefault(key, f"CS{len(self._specifications) + 1}")

    def _spectrum(self, values: Any, row: ReadingRow, specification: str) -> None:
        assert row.spectrum is not None
        spectrum, attributes = row.spectrum, {"ColorSpecification": specification}
        if row.measured_on and len(row.measured_on) == 10:
            attributes = {"MeasureDate": f"{row.measured_on}T00:00:00Z", **attributes}
        if _fits_range(spectrum.start_nm, spectrum.step_nm):
            text = " ".join(write_number(factor) for factor in spectrum.values)
            start = f"{spectrum.start_nm:.0f}"
            self._add(values, "ReflectanceSpectrum", text, StartWL=start, **attributes)
            return
        element = self._add(values, "CustomSpectrum", **attributes)
        for band, factor in enumerate(spectrum.values):
            nm = write_number(round(spectrum.start_nm + band * spectrum.step_nm, 4))
            self._add(element, "SpectralPoint", factor, WL=nm)

    def _layers(self, element: Any, row: ReadingRow, specification: str) -> None:
        if not row.layers:
            return
        device = self._add(element, "DeviceColorValues")
        custom = self._add(device, "ColorCustom", Name="layers in printing order", ColorSpecification=specification)
        for layer in row.layers:
            spot = self._add(custom, "SpotColor")
            self._add(spot, "Name", layer.ink)
            self._add(spot, "Percentage", layer.tint)

    def _tags(self, element: Any, row: ReadingRow, tags: Mapping[str, str]) -> None:
        collection = self._add(element, "TagCollection", Name=OURS)
        passes = " ".join(str(layer.print_pass or "-") for layer in row.layers)
        told = {detail: getattr(row, detail) for detail in TAGGED if getattr(row, detail) is not None}
        for name, value in {"passes": passes, **tags, **told}.items():
            self._add(collection, "Tag", Name=name, Value=value if isinstance(value, str) else write_number(value))

    def _specification(self, specifications: Any, key: _SpecificationKey, name: str) -> None:
        condition, backing, instrument, start_nm, step_nm = key
        element = self._add(specifications, "ColorSpecification", Id=name)
        tristimulus = self._add(element, "TristimulusSpec")
        for tag, text in zip(("Illuminant", "Observer", "Method"), (*HOUSE_LIGHT, "unknown"), strict=True):
            self._add(tristimulus, tag, text)
        measurement = self._add(element, "MeasurementSpec")
        kind = "Colorimetric_Reflectance" if start_nm is None else "Spectrum_Reflectance"
        self._add(measurement, "MeasurementType", kind)
        self._add(self._add(measurement, "GeometryChoice"), "UnknownGeometry", "not recorded")
        if start_nm is not None and step_nm is not None and _fits_range(start_nm, step_nm):
            self._add(measurement, "WavelengthRange", StartWL=f"{start_nm:.0f}", Increment=f"{step_nm:.0f}")
        if backing is not None:
            self._add(measurement, "Backing", backing)
        if instrument is not None or condition is not None:
            self._device(self._add(measurement, "Device"), condition, instrument)

    def _device(self, device: Any, condition: str | None, instrument: str | None) -> None:
        if instrument is not None:
            self._add(device, "Model", instrument)
        if condition in ILLUMINATION:
            self._add(device, "DeviceIllumination", ILLUMINATION[condition])
        elif condition is not None:
            self._add(device, "DeviceIllumination", "Custom", CustomType=condition)


def _fits_range(start_nm: float, step_nm: float) -> bool:
    """Return whether the schema's WavelengthRange can tell the grid: whole numbers, from 360 to 400 nm."""
    return 360 <= start_nm <= 400 and float(start_nm).is_integer() and float(step_nm).is_integer()


def _carried(text: str) -> str:
    """Return the text; refuse what XML cannot carry."""
    bad = _NOT_XML.search(text)
    if bad:
        told = {"text": repr(text[:40]), "character": f"U+{ord(bad[0]):04X}"}
        raise InputError("{text} holds {character}, which XML cannot carry", mend="Take the character out", **told)
    return text
