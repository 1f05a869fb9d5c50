"""Another workshop's evidence: what we write we read, and whatever else is refused with its place."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archive.errors import InputError, ManyErrors
from archive.exchange.evidence_json import (
    Evidence,
    EvidenceInk,
    EvidenceLayer,
    EvidenceMeasurement,
    EvidencePaper,
    EvidenceRecipe,
    EvidenceSwatch,
    is_evidence,
    read_evidence,
    write_evidence,
)
from archive.exchange.readings import Spectrum


def uid(number: int) -> str:
    return str(uuid.UUID(int=number))


READING = EvidenceMeasurement(
    uid(40),
    (48.5, 41.9, 37.4),
    "lab",
    "instrument",
    condition="M1",
    xyz=(0.205, 0.171, 0.0525),
    spectrum=Spectrum(400, 100, (0.1, 0.2, 0.3, 0.4)),
    backing="white",
    instrument="Handheld",
    measured_on="2019-05-04",
    hours_after=30.5,
    n=3,
    spread=0.25,
    colour_path="as read",
)
EVIDENCE = Evidence(
    "Quay Attic Printroom",
    "2026-01-05",
    (EvidenceInk(uid(1), "Kilnsong", "transparent", "#c8553d", 5, 95), EvidenceInk(uid(2), "Oddlight", "fluorescent")),
    (EvidencePaper(uid(10), "Oatleaf 120", False, "off-white", 120, 94),),
    (
        EvidenceRecipe(uid(20), uid(10), ()),
        EvidenceRecipe(uid(21), uid(10), (EvidenceLayer(uid(2), 100, 1), EvidenceLayer(uid(1), 60)), "FM", 106),
    ),
    (
        EvidenceSwatch(
            uid(30), uid(21), False, (READING, replace(READING, uid=uid(41), spectrum=None)), "2019", 4, 120
        ),
        EvidenceSwatch(uid(31), uid(20), True, (EvidenceMeasurement(uid(42), (92, 0, 5), "eye", "eye"),)),
    ),
)


def read(document: object) -> Evidence:
    return read_evidence(json.dumps(document).encode(), "theirs.json")


def document() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(write_evidence(EVIDENCE))
    return found


def faults(edit: Callable[[dict[str, Any]], object]) -> list[str]:
    told = document()
    edit(told)
    with pytest.raises(ManyErrors) as caught:
        read(told)
    return [str(error) for error in caught.value.errors]


def test_evidence_reads_back_equal() -> None:
    text = write_evidence(EVIDENCE)
    assert read_evidence(text.encode(), "ours.json") == EVIDENCE
    assert read_evidence(b"\xef\xbb\xbf" + text.encode(), "ours.json") == EVIDENCE
    assert write_evidence(EVIDENCE) == text
    assert is_evidence(text.encode())


def test_the_file_is_what_the_description_says() -> None:
    told = document()
    assert (told["format"], told["version"], told["workshop"]) == ("inkchest evidence", 1, "Quay Attic Printroom")
    assert told["inks"][1] == {"uid": uid(2), "name": "Oddlight", "kind": "fluorescent"}
    assert told["recipes"][1]["layers"] == [
        {"ink": uid(2), "tint": 100, "pass": 1},
        {"ink": uid(1), "tint": 60},
    ]
    assert told["swatches"][0]["measurements"][0]["spectrum"] == {
        "start_nm": 400,
        "step_nm": 100,
        "values": [0.1, 0.2, 0.3, 0.4],
    }


def test_a_file_written_by_hand_from_the_description_is_read() -> None:
    text = """{"format": "inkchest evidence", "version": 1, "workshop": "Lock-keeper's Press", "made_on": "2026-01-05",
      "inks": [{"uid": "0193a0b0-0000-7000-8000-000000000001", "name": "Ferrywake", "kind": "transparent"}],
      "papers": [{"uid": "0193a0b0-0000-7000-8000-000000000002", "name": "Chalkroad 90", "is_coloured": false}],
      "recipes": [{"uid": "0193a0b0-0000-7000-8000-000000000003", "paper": "0193a0b0-0000-7000-8000-000000000002",
        "screen": null, "layers": [{"ink": "0193a0b0-0000-7000-8000-000000000001", "tint": 37.5, "pass": 1}]}],
      "swatches": [{"uid": "0193a0b0-0000-7000-8000-000000000004", "recipe": "0193a0b0-0000-7000-8000-000000000003",
        "out_of_range": false, "measurements": [{"uid": "0193a0b0-0000-7000-8000-000000000005",
          "lab": [60, -10, -30.5], "lab_from": "lab", "method": "instrument", "condition": "M0"}]}]}"""
    found = read_evidence(text.encode(), "theirs.json")
    assert found.recipes[0].layers == (EvidenceLayer(found.inks[0].uid, 37.5, 1),)
    assert found.swatches[0].measurements[0].lab == (60.0, -10.0, -30.5)


def test_nothing_but_colours_and_how_they_were_made_has_a_place() -> None:
    keys = set()

    def collect(value: Any) -> None:
        if isinstance(value, dict):
            keys.update(value)
        for item in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            collect(item)

    collect(document())
    assert keys.isdisjoint(
        {"person", "by", "title", "work", "place", "value", "price", "note", "picture", "run", "machine"}
    )


# ---- another format, another version


@pytest.mark.parametrize(
    "told", [None, 1, "evidence", "inkchest evidence 1", "INKCHEST EVIDENCE", ["inkchest evidence"]]
)
def test_another_format_is_refused_by_its_name(told: object) -> None:
    with pytest.raises(InputError, match="no evidence: its format is"):
        read({**document(), "format": told})


@pytest.mark.parametrize("told", [None, 0, 2, "1", 1.0, True, [1]])
def test_another_version_is_refused_by_its_number(told: object) -> None:
    with pytest.raises(InputError, match="the evidence has version"):
        read({**document(), "version": told})


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "no JSON"),
        (b"[]", "no evidence"),
        (b'"x"', "no evidence"),
        (b"{", "no JSON"),
        (b"\xff\xfe{\x00}\x00", "no text in UTF-8"),
        (b'{"format": NaN}', "no JSON"),
        (b'{"format": -Infinity}', "no JSON"),
        (b'{"a": 1, "a": 2}', "'a' stands twice"),
        (b"[" * 100_000, "no JSON"),
        (b'{"a": ' * 50_000, "no JSON"),
        (b'{"format": ' + b"9" * 5000 + b"}", "no JSON"),
    ],
)
def test_what_is_no_evidence_is_refused(data: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_evidence(data, "theirs.json")


def test_a_file_that_is_too_big_is_refused_unread() -> None:
    with pytest.raises(InputError, match="more than 64 MiB"):
        read_evidence(bytes(64 * 2**20 + 1), "theirs.json")


# ---- what does not fit, with its place


def at(path: str, value: object) -> Callable[[dict[str, Any]], None]:
    """Return an edit that puts a value at a path such as recipes.1.layers.0.tint."""

    def edit(told: dict[str, Any]) -> None:
        *steps, last = path.split(".")
        target: Any = told
        for step in steps:
            target = target[int(step)] if step.isdigit() else target[step]
        target[int(last) if last.isdigit() else last] = value

    return edit


MEASURED = "swatches.0.measurements.0"


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        ("workshop", "", '$.workshop: "" is no text'),
        ("workshop", " x", "$.workshop: "),
        ("workshop", "x" * 201, "$.workshop: "),
        ("workshop", "a\nb", "holds a character that is no text"),
        ("workshop", "\ud800", "holds a character that is no text"),
        ("workshop", 7, "$.workshop: 7 is no text"),
        ("made_on", "5.1.2026", '$.made_on: "5.1.2026" is no ISO date'),
        ("made_on", "2026-02-30", "is no ISO date"),
        ("inks", {}, "$.inks: dict stands where a list belongs"),
        ("inks.0", [], "$.inks[0]: list stands where an object belongs"),
        ("inks.0.uid", "1", '$.inks[0].uid: "1" is no uid'),
        ("inks.0.uid", uid(1).upper() + "x", "is no uid"),
        ("inks.0.kind", "shiny", '$.inks[0].kind: "shiny" is none of transparent'),
        ("inks.0.lightest_tint", 101, "$.inks[0].lightest_tint: 101 is beyond 0 to 100"),
        ("inks.0.lightest_tint", True, "true stands where a number belongs"),
        ("papers.0.is_coloured", 1, "$.papers[0].is_coloured: 1 is neither true nor false"),
        ("papers.0.gsm", "120", '$.papers[0].gsm: "120" stands where a number belongs'),
        ("recipes.1.layers.0.tint", 0, "$.recipes[1].layers[0].tint: 0 is beyond 0 to 100"),
        ("recipes.1.layers.0.tint", 10**400, "is beyond 0 to 100"),
        ("recipes.1.layers.0.pass", 1.0, "$.recipes[1].layers[0].pass: 1.0 is no whole number"),
        ("recipes.1.layers.0.pass", 10, "is no whole number from 1 to 9"),
        ("recipes.1.layers", None, '$.recipes[1]: the key "layers" is missing'),
        ("recipes.1.layers", [{"ink": uid(1), "tint": 1}] * 17, "the list has 17 entries, 0 to 16 are allowed"),
        ("recipes.1.screen", "fm", "is none of FM, AM"),
        ("swatches.0.measurements", [], "the list has 0 entries, 1 to"),
        (f"{MEASURED}.lab", [1, 2], "$.swatches[0].measurements[0].lab: list stands where three numbers belong"),
        (f"{MEASURED}.lab", [116, 0, 0], "$.swatches[0].measurements[0].lab[0]: 116 is beyond 0 to 115"),
        (f"{MEASURED}.lab", [50, 301, 0], "lab[1]: 301 is beyond -300 to 300"),
        (f"{MEASURED}.condition", "M4", "is none of M0, M1, M2, M3, camera, eye"),
        (f"{MEASURED}.xyz", [20.5, 17.1, 5.2], "xyz[0]: 20.5 is beyond -0.01 to 2"),
        (f"{MEASURED}.spectrum.values", [0.5], "spectrum.values: the list has 1 entries"),
        (f"{MEASURED}.spectrum.values", [0.5, 55], "spectrum.values[1]: 55 is beyond"),
        (f"{MEASURED}.spectrum.step_nm", 0, "spectrum.step_nm: 0 is beyond"),
        (f"{MEASURED}.n", 0, "is no whole number from 1"),
        (f"{MEASURED}.hours_after", -1, "hours_after: -1 is beyond"),
        # names that lead nowhere, and things that stand twice
        ("recipes.1.paper", uid(99), f'$.recipes[1].paper: "{uid(99)}" is not in the file'),
        ("recipes.1.layers.1.ink", uid(99), "$.recipes[1].layers[1].ink: "),
        ("swatches.1.recipe", uid(99), "$.swatches[1].recipe: "),
        ("inks.1.uid", uid(1), "stands twice"),
        ("recipes.1.layers.1", {"ink": uid(1), "tint": 1, "pass": 1}, ""),
    ],
)
def test_what_does_not_fit_is_told_with_its_place(path: str, value: object, told: str) -> None:
    if not told:
        edited = document()
        at(path, value)(edited)
        assert read(edited).recipes[1].layers[1].print_pass == 1
        return
    found = faults(at(path, value))
    assert found[0].startswith("theirs.json, $")
    assert any(told in fault for fault in found)


@pytest.mark.parametrize(
    "path", ["title", "inks.0.note", "recipes.1.person", "recipes.1.layers.0.print_pass", f"{MEASURED}.who"]
)
def test_an_unknown_key_is_refused_by_name(path: str) -> None:
    key = path.rpartition(".")[2]
    (fault,) = faults(at(path, "x"))
    assert f'the key "{key}" is not known' in fault


def test_passes_that_run_backwards_are_refused() -> None:
    layers = [{"ink": uid(1), "tint": 5, "pass": 2}, {"ink": uid(2), "tint": 5, "pass": 1}]
    assert "$.recipes[1].layers: the passes run backwards" in faults(at("recipes.1.layers", layers))[0]


def test_all_faults_are_told_at_once_but_not_without_end() -> None:
    def spoil(told: dict[str, Any]) -> None:
        told["workshop"], told["inks"][0]["kind"], told["extra"] = "", "x", 1

    assert len(faults(spoil)) == 3
    assert len(faults(at("inks", [{}] * 5000))) == 200


def test_nothing_that_would_be_refused_is_written() -> None:
    for wrong in (
        replace(EVIDENCE, workshop=""),
        replace(EVIDENCE, papers=()),
        replace(EVIDENCE, inks=(replace(EVIDENCE.inks[0], lightest_tint=float("nan")), EVIDENCE.inks[1])),
    ):
        with pytest.raises(ManyErrors):
            write_evidence(wrong)


# ---- properties

TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=12).filter(
    lambda t: t == t.strip()
)
DATES = st.dates().map(str) | st.sampled_from(["2019", "2019-05"])
FACTORS = st.floats(-0.01, 2)
LABS = st.tuples(st.floats(0, 115), st.floats(-300, 300), st.floats(-300, 300))


@st.composite
def evidences(draw: st.DrawFn) -> Evidence:
    numbers = iter(draw(st.lists(st.uuids(), min_size=30, max_size=30, unique=True)))

    def new() -> str:
        return str(next(numbers))

    def some(build: Callable[[], Any], least: int = 0) -> tuple[Any, ...]:
        return tuple(build() for _ in range(draw(st.integers(least, 3))))

    percent = st.none() | st.floats(0, 100)
    kinds = st.sampled_from(["transparent", "opaque", "fluorescent", "metallic"])
    inks = some(lambda: EvidenceInk(new(), draw(TEXTS), draw(kinds), draw(st.none() | TEXTS), draw(percent)), 1)
    papers = some(lambda: EvidencePaper(new(), draw(TEXTS), draw(st.booleans()), opacity=draw(percent)), 1)
    layers = st.builds(EvidenceLayer, st.sampled_from([ink.uid for ink in inks]), st.floats(0.1, 100))
    recipes = some(
        lambda: EvidenceRecipe(new(), draw(st.sampled_from(papers)).uid, tuple(draw(st.lists(layers, max_size=3)))), 1
    )
    spectra = st.builds(
        Spectrum, st.just(400.0), st.floats(0.5, 20), st.lists(FACTORS, min_size=2, max_size=4).map(tuple)
    )

    def reading() -> EvidenceMeasurement:
        return EvidenceMeasurement(
            new(), draw(LABS), "spectrum", "instrument", spectrum=draw(st.none() | spectra), measured_on=draw(DATES)
        )

    swatches = some(
        lambda: EvidenceSwatch(new(), draw(st.sampled_from(recipes)).uid, draw(st.booleans()), some(reading, 1))
    )
    return Evidence(draw(TEXTS), draw(DATES), inks, papers, recipes, swatches)


@settings(max_examples=60)
@given(evidences())
def test_any_evidence_reads_back_equal(evidence: Evidence) -> None:
    assert read_evidence(write_evidence(evidence).encode(), "ours.json") == evidence


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)
PLACES = st.sampled_from(
    ["workshop", "inks", "inks.0", "papers.0.uid", "recipes.1.layers.0", "swatches.0", MEASURED, f"{MEASURED}.spectrum"]
)


@given(PLACES, JSON)
def test_any_other_value_is_read_or_refused_and_nothing_else(path: str, value: object) -> None:
    told = document()
    at(path, value)(told)
    with suppress(InputError):
        read(told)
