"""Another workshop's evidence: chosen inks, papers, recipes and measurements as one JSON file of our own.

The file holds what a colour was made with and how it measured, and nothing else: no persons, places, values, titles,
pictures or free notes. It is read strictly: what is not described here is refused, with its place in the file.

The document is an object in UTF-8; a key with `?` may be missing or null, every other must be there:

    format        "inkchest evidence"
    version       1
    workshop      who says so: the origin that the evidence carries from then on (1 to 200 characters)
    made_on       the day of the export, ISO date
    inks          [{uid, name, kind, looks?, lightest_tint?, closing_tint?}]
                  kind: transparent, opaque, fluorescent or metallic; looks: a colour by eye, in words; tints in percent
    papers        [{uid, name, shade?, gsm?, is_coloured, opacity?}]    opacity in percent
    recipes       [{uid, paper, screen?, lpi?, layers}]
                  paper: a uid of `papers`; screen: FM or AM; layers in printing order, none for bare paper:
                  [{ink, tint, pass?}]    ink: a uid of `inks`; tint in percent, above 0; pass 1 to 9, never falling
    swatches      [{uid, recipe, printed_on?, density?, speed?, out_of_range, measurements}]
                  recipe: a uid of `recipes`; density and speed as the machine was set; one measurement or more:
                  [{uid, lab, lab_from, method, condition?, xyz?, spectrum?, backing?, instrument?, measured_on?,
                    hours_after?, n?, spread?, colour_path?}]
                  lab: [L*, a*, b*] under D50 for 2 degrees; lab_from: lab, spectrum, xyz, picture or eye;
                  method: instrument, camera, picture or eye; condition: M0 to M3, camera or eye; xyz: Y = 1 for a
                  perfect white; spectrum: {start_nm, step_nm, values}, reflectance factors

A uid is a UUID in lower case and stands once. Dates are ISO: a day, a month or a year. A list has at most 100,000
entries, a recipe 16 layers, a spectrum 1000 values, the file 64 MiB.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from archive.errors import ArchiveError, InputError, ManyErrors
from archive.exchange.readings import (
    AB_LIMIT,
    CONDITIONS,
    FACTOR_LIMIT,
    FACTOR_NOISE,
    L_LIMIT,
    NM_LEAST,
    NM_MOST,
    Spectrum,
    Triple,
)
from archive.exchange.text import read_date

FORMAT = "inkchest evidence"
VERSION = 1
_MOST_BYTES = 64 * 2**20
_MOST_ENTRIES = 100_000
_MOST_LAYERS = 16
_MOST_BANDS = 1000
_MOST_ERRORS = 200
_LONGEST_TEXT = 200
_UID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_NOT_TEXT = re.compile("[\x00-\x1f\x7f\ud800-\udfff]")


@dataclass(frozen=True, slots=True)
class EvidenceInk:
    """An ink by the name its workshop gives it."""

    uid: str
    name: str
    kind: str
    looks: str | None = None
    lightest_tint: float | None = None
    closing_tint: float | None = None


@dataclass(frozen=True, slots=True)
class EvidencePaper:
    """A paper; its white is the measurement of a recipe without layers."""

    uid: str
    name: str
    is_coloured: bool
    shade: str | None = None
    gsm: float | None = None
    opacity: float | None = None


@dataclass(frozen=True, slots=True)
class EvidenceLayer:
    """One ink (a uid) at its tint in percent; the pass where it is known."""

    ink: str
    tint: float
    print_pass: int | None = None


@dataclass(frozen=True, slots=True)
class EvidenceRecipe:
    """Layers in printing order on a paper (a uid)."""

    uid: str
    paper: str
    layers: tuple[EvidenceLayer, ...]
    screen: str | None = None
    lpi: float | None = None


@dataclass(frozen=True, slots=True)
class EvidenceMeasurement:
    """One reading of a swatch, as the archive keeps it."""

    uid: str
    lab: Triple
    lab_from: str
    method: str
    condition: str | None = None
    xyz: Triple | None = None
    spectrum: Spectrum | None = None
    backing: str | None = None
    instrument: str | None = None
    measured_on: str | None = None
    hours_after: float | None = None
    n: int | None = None
    spread: float | None = None
    colour_path: str | None = None


@dataclass(frozen=True, slots=True)
class EvidenceSwatch:
    """A printed patch of a recipe (a uid) with its readings."""

    uid: str
    recipe: str
    out_of_range: bool
    measurements: tuple[EvidenceMeasurement, ...]
    printed_on: str | None = None
    density: float | None = None
    speed: float | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one workshop gives another: every uid that is named is among the things that are given."""

    workshop: str
    made_on: str
    inks: tuple[EvidenceInk, ...]
    papers: tuple[EvidencePaper, ...]
    recipes: tuple[EvidenceRecipe, ...]
    swatches: tuple[EvidenceSwatch, ...]


def is_evidence(data: bytes) -> bool:
    """Return whether a file's bytes begin as a file of evidence does."""
    return data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{") and FORMAT.encode() in data[:4096]


def write_evidence(evidence: Evidence) -> str:
    """Return the evidence as JSON that `read_evidence` reads back equal; the same evidence gives the same text.

    Raises
    ------
    ManyErrors
        Something in it is off its scale, or names what is not given: no reader would take the file.
    """
    document = {"format": FORMAT, "version": VERSION, **_plain(evidence)}
    _Judge("the evidence").evidence(document)
    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


_SPELLED = {"print_pass": "pass"}  # a key that no dataclass can have


def _plain(value: Any) -> Any:
    """Return dataclasses and tuples as objects and lists, without what is None."""
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if not hasattr(value, "__dataclass_fields__"):
        return value
    told = {field.name: getattr(value, field.name) for field in fields(value)}
    return {_SPELLED.get(name, name): _plain(item) for name, item in told.items() if item is not None}


def read_evidence(data: bytes, name: str) -> Evidence:
    """Return the evidence in a file's bytes, read strictly.

    Raises
    ------
    ManyErrors
        All that does not fit the description above, each with its place, such as `$.recipes[3].layers[0].tint`.
    InputError
        The file is no JSON in UTF-8, is too big, or is of another format or version.
    """
    if len(data) > _MOST_BYTES:
        raise InputError("the file has more than 64 MiB", where=name, mend="Ask for less at a time")
    try:
        text = data.decode("utf-8-sig")
        document = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except UnicodeDecodeError as exc:
        raise InputError("the file is no text in UTF-8", where=name, mend="Copy it again") from exc
    except _TwiceError as exc:
        raise InputError(
            "the key {key} stands twice in one object", key=str(exc), where=name, mend="Copy it again"
        ) from exc
    except (ValueError, RecursionError) as exc:
        where = f"{name}, line {exc.lineno}" if isinstance(exc, json.JSONDecodeError) else name
        raise InputError("the file is no JSON", where=where, mend="Copy it again: it may be cut short") from exc
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        told = document.get("format") if isinstance(document, dict) else None
        mend = 'The format has to be "inkchest evidence"'
        raise InputError("the file is no evidence: its format is {told}", told=_short(told), where=name, mend=mend)
    version = document.get("version")
    if version != VERSION or isinstance(version, bool | float):
        mend = "Version 1 is read here: update inkchest, or ask for version 1"
        raise InputError("the evidence has version {told}", told=_short(version), where=name, mend=mend)
    return _Judge(name).evidence(document)


class _TwiceError(Exception):
    """A key stands twice in one object."""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise _TwiceError(repr(key[:40]))
        found[key] = value
    return found


def _no_constant(word: str) -> float:
    raise ValueError(f"{word} is no JSON")


def _short(value: object) -> str:
    text = json.dumps(value) if isinstance(value, str | int | float | bool | None) else type(value).__name__
    return text if len(text) <= 60 else f"{text[:59]}…"


_Reader = Callable[[Any, str], Any]  # of a value and its place; what is wrong is kept by the judge
_Shape = Mapping[str, tuple[str, bool, _Reader]]  # key: (attribute, whether it must be there, reader)


def _must(reader: _Reader, name: str = "") -> tuple[str, bool, _Reader]:
    return name, True, reader


def _may(reader: _Reader, name: str = "") -> tuple[str, bool, _Reader]:
    return name, False, reader


class _Judge:
    """Reads a document against its description and keeps everything that does not fit."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._errors: list[ArchiveError] = []

    def evidence(self, document: Any) -> Evidence:
        """Return the evidence of a document.

        Raises
        ------
        ManyErrors
            It does not fit the description.
        """
        shape = {
            "format": _must(self._one_of(FORMAT)),
            "version": _must(self._whole(VERSION, VERSION)),
            "workshop": _must(self._text),
            "made_on": _must(self._date),
            "inks": _must(self._list(self._object(EvidenceInk, self._ink()))),
            "papers": _must(self._list(self._object(EvidencePaper, self._paper()))),
            "recipes": _must(self._list(self._object(EvidenceRecipe, self._recipe()))),
            "swatches": _must(self._list(self._object(EvidenceSwatch, self._swatch()))),
        }
        found = self._object(_Document, shape)(document, "$")
        if found is not None:
            self._check_names(found)
        if self._errors:
            mend = "Nothing was read from it. Ask its maker for another export"
            raise ManyErrors(self._errors, where=self._name, mend=mend)
        return Evidence(found.workshop, found.made_on, found.inks, found.papers, found.recipes, found.swatches)

    def _ink(self) -> _Shape:
        tint = self._number(0, 100)
        kind = self._one_of("transparent", "opaque", "fluorescent", "metallic")
        return {
            "uid": _must(self._uid),
            "name": _must(self._text),
            "kind": _must(kind),
            "looks": _may(self._text),
            "lightest_tint": _may(tint),
            "closing_tint": _may(tint),
        }

    def _paper(self) -> _Shape:
        return {
            "uid": _must(self._uid),
            "name": _must(self._text),
            "shade": _may(self._text),
            "gsm": _may(self._number(1, 2000)),
            "is_coloured": _must(self._flag),
            "opacity": _may(self._number(0, 100)),
        }

    def _recipe(self) -> _Shape:
        layer: _Shape = {
            "ink": _must(self._uid),
            "tint": _must(self._number(0, 100, above=True)),
            "pass": _may(self._whole(1, 9), "print_pass"),
        }
        return {
            "uid": _must(self._uid),
            "paper": _must(self._uid),
            "screen": _may(self._one_of("FM", "AM")),
            "lpi": _may(self._number(1, 1000)),
            "layers": _must(self._list(self._object(EvidenceLayer, layer), most=_MOST_LAYERS)),
        }

    def _swatch(self) -> _Shape:
        readings = self._list(self._object(EvidenceMeasurement, self._measurement()), least=1)
        return {
            "uid": _must(self._uid),
            "recipe": _must(self._uid),
            "printed_on": _may(self._date),
            "density": _may(self._number(0, 20)),
            "speed": _may(self._number(0, 300)),
            "out_of_range": _must(self._flag),
            "measurements": _must(readings),
        }

    def _measurement(self) -> _Shape:
        ab, factor = self._number(-AB_LIMIT, AB_LIMIT), self._number(FACTOR_NOISE, FACTOR_LIMIT)
        nm: _Shape = {
            "start_nm": _must(self._number(NM_LEAST, NM_MOST)),
            "step_nm": _must(self._number(0, NM_MOST, above=True)),
            "values": _must(self._list(factor, least=2, most=_MOST_BANDS)),
        }
        return {
            "uid": _must(self._uid),
            "lab": _must(self._three(self._number(0, L_LIMIT), ab, ab)),
            "lab_from": _must(self._one_of("lab", "spectrum", "xyz", "picture", "eye")),
            "method": _must(self._one_of("instrument", "camera", "picture", "eye")),
            "condition": _may(self._one_of(*CONDITIONS)),
            "xyz": _may(self._three(factor, factor, factor)),
            "spectrum": _may(self._object(Spectrum, nm)),
            **{key: _may(self._text) for key in ("backing", "instrument", "colour_path")},
            "measured_on": _may(self._date),
            "hours_after": _may(self._number(0, 1e6)),
            "n": _may(self._whole(1, 10**6)),
            "spread": _may(self._number(0, 1000)),
        }

    def _fail(self, place: str, template: str, mend: str = "", **values: Any) -> None:
        if len(self._errors) < _MOST_ERRORS:
            self._errors.append(InputError(template, where=f"{self._name}, {place}", mend=mend, **values))

    def _object(self, kind: type, shape: _Shape) -> _Reader:
        def read(value: Any, place: str) -> Any:
            if not isinstance(value, dict):
                return self._fail(place, "{value} stands where an object belongs", value=_short(value))
            before = len(self._errors)
            for key in value:
                if key not in shape:
                    self._fail(place, "the key {key} is not known", "Take it out", key=_short(key))
            found = {}
            for key, (attribute, must_be, reader) in shape.items():
                if value.get(key) is not None:
                    found[attribute or key] = reader(value[key], f"{place}.{key}")
                elif must_be:
                    self._fail(place, "the key {key} is missing", key=_short(key))
            return kind(**found) if len(self._errors) == before and before < _MOST_ERRORS else None

        return read

    def _list(self, item: _Reader, least: int = 0, most: int = _MOST_ENTRIES) -> _Reader:
        def read(value: Any, place: str) -> Any:
            if not isinstance(value, list):
                return self._fail(place, "{value} stands where a list belongs", value=_short(value))
            if not least <= len(value) <= most:
                template = "the list has {found} entries, {least} to {most} are allowed"
                return self._fail(place, template, found=len(value), least=least, most=most)
            return tuple(item(entry, f"{place}[{number}]") for number, entry in enumerate(value))

        return read

    def _three(self, *parts: _Reader) -> _Reader:
        def read(value: Any, place: str) -> Any:
            if not isinstance(value, list) or len(value) != 3:
                return self._fail(place, "{value} stands where three numbers belong", value=_short(value))
            return tuple(part(value[number], f"{place}[{number}]") for number, part in enumerate(parts))

        return read

    def _number(self, low: float, high: float, *, above: bool = False) -> _Reader:
        def read(value: Any, place: str) -> Any:
            if isinstance(value, bool) or not isinstance(value, int | float):
                return self._fail(place, "{value} stands where a number belongs", value=_short(value))
            if not low <= value <= high or (above and value == low):  # NaN lies nowhere
                template = "{value} is beyond {low:g} to {high:g}"
                return self._fail(place, template, value=_short(value), low=low, high=high)
            return float(value)

        return read

    def _whole(self, low: int, high: int) -> _Reader:
        def read(value: Any, place: str) -> Any:
            if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
                template = "{value} is no whole number from {low} to {high}"
                return self._fail(place, template, value=_short(value), low=low, high=high)
            return value

        return read

    def _one_of(self, *words: str) -> _Reader:
        def read(value: Any, place: str) -> Any:
            if not isinstance(value, str) or value not in words:
                return self._fail(place, "{value} is none of {words}", value=_short(value), words=", ".join(words))
            return value

        return read

    def _text(self, value: Any, place: str) -> Any:
        if not isinstance(value, str) or not 0 < len(value) <= _LONGEST_TEXT or value != value.strip():
            template = "{value} is no text of 1 to 200 characters without blanks round it"
            return self._fail(place, template, value=_short(value))
        if _NOT_TEXT.search(value):
            return self._fail(place, "{value} holds a character that is no text", value=_short(value))
        return value

    def _flag(self, value: Any, place: str) -> Any:
        if not isinstance(value, bool):
            return self._fail(place, "{value} is neither true nor false", value=_short(value))
        return value

    def _uid(self, value: Any, place: str) -> Any:
        if not isinstance(value, str) or not _UID.fullmatch(value):
            return self._fail(place, "{value} is no uid", "A uid is a UUID in lower case", value=_short(value))
        return value

    def _date(self, value: Any, place: str) -> Any:
        try:
            return read_date(value if isinstance(value, str) and value == value.strip() else "")
        except InputError:
            return self._fail(place, "{value} is no ISO date", value=_short(value))

    def _check_names(self, found: _Document) -> None:
        """Tell of uids that stand twice or name nothing, and of passes that run backwards."""
        inks, papers, recipes = (
            self._uids(things, f"$.{key}")
            for key, things in (("inks", found.inks), ("papers", found.papers), ("recipes", found.recipes))
        )
        self._uids(found.swatches, "$.swatches")
        self._uids([m for swatch in found.swatches for m in swatch.measurements], "$.swatches[].measurements")
        for number, recipe in enumerate(found.recipes):
            place = f"$.recipes[{number}]"
            self._check_name(recipe.paper, papers, f"{place}.paper")
            for layer_number, layer in enumerate(recipe.layers):
                self._check_name(layer.ink, inks, f"{place}.layers[{layer_number}].ink")
            passes = [layer.print_pass for layer in recipe.layers if layer.print_pass is not None]
            if passes != sorted(passes):
                self._fail(f"{place}.layers", "the passes run backwards", "Layers stand in printing order")
        for number, swatch in enumerate(found.swatches):
            self._check_name(swatch.recipe, recipes, f"$.swatches[{number}].recipe")

    def _uids(self, things: Sequence[Any], place: str) -> set[str]:
        known: set[str] = set()
        for number, thing in enumerate(things):
            if thing.uid in known:
                self._fail(f"{place}[{number}].uid", "{uid} stands twice", uid=_short(thing.uid))
            known.add(thing.uid)
        return known

    def _check_name(self, uid: str, known: set[str], place: str) -> None:
        if uid not in known:
            self._fail(place, "{uid} is not in the file", uid=_short(uid))


@dataclass(frozen=True, slots=True)
class _Document:
    """The whole document, with what tells its kind."""

    format: str
    version: int
    workshop: str
    made_on: str
    inks: tuple[EvidenceInk, ...]
    papers: tuple[EvidencePaper, ...]
    recipes: tuple[EvidenceRecipe, ...]
    swatches: tuple[EvidenceSwatch, ...]
