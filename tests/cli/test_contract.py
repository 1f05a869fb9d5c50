"""Every command runs, in words and as JSON, and the JSON has the keys that were promised."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click
import pytest

from archive.cli.reference import walk
from tests.cli.contract import CASES, MATCH_OF_WORK, Case
from tests.cli.shop import Shop


def faults(value: Any, form: Any, path: str = "") -> list[str]:
    """Return where a value leaves its form."""
    if form is ...:
        return []
    if form is None:
        return [] if value is None else [f"{path} is no null"]
    if isinstance(form, list):
        if not isinstance(value, list) or not value:
            return [f"{path} is no filled array"]
        return [fault for number, each in enumerate(value) for fault in faults(each, form[0], f"{path}[{number}]")]
    if not isinstance(value, dict) or set(value) != set(form):
        return [f"{path} is {value!r}, not an object with {sorted(form)}"]
    return [fault for key, inside in form.items() for fault in faults(value[key], inside, f"{path}.{key}")]


def typed(case: Case, desk: Path, uids: dict[str, str]) -> list[str]:
    return [word.format(desk=desk, **uids) for word in case.words]


def name(case: Case) -> str:
    return " ".join(case.words[:2])


@pytest.mark.parametrize("case", CASES, ids=name)
def test_json_has_exactly_the_promised_keys(case: Case, shop: Shop, desk: Path, uids: dict[str, str]) -> None:
    assert faults(shop.json(*typed(case, desk, uids)), case.form) == []


@pytest.mark.parametrize("case", CASES, ids=name)
def test_text_says_what_was_done(case: Case, shop: Shop, desk: Path, uids: dict[str, str]) -> None:
    text = shop.do(*typed(case, desk, uids))
    assert case.says.format(**uids) in text
    assert text.endswith("\n")
    assert not text.endswith("\n\n")


def test_every_command_stands_in_the_contract() -> None:
    # `demo` takes half a minute and is built once by the tests of the demo archive
    leaves = {found.removeprefix("inkchest ") for found, command in walk() if not isinstance(command, click.Group)}
    promised = {_command(case, leaves) for case in CASES}
    assert promised == leaves - {"demo"}


def _command(case: Case, leaves: set[str]) -> str:
    """Return the command that a case types: one to three words."""
    starts = [" ".join(case.words[:count]) for count in (3, 2, 1)]
    return next(start for start in starts if start in leaves)


def test_a_match_on_a_work_names_its_run_and_where_it_lies(shop: Shop) -> None:
    found = shop.json("match", "colour", "#2a5ea8", "--evidence", "seen")["matches"]
    assert found
    assert faults(found, [MATCH_OF_WORK]) == []
    assert found[0]["work"] == {"ref": "QA-0042", "title": "Nine Tides"}
    assert found[0]["place"] == "Storeroom / Plan chest 2 / drawer 5"
    assert found[0]["settings"]["machine"] == "Upstairs"


def test_an_answer_out_of_reach_says_what_it_misses(shop: Shop) -> None:
    answer = shop.json("match", "colour", "lab:20,60,30", "--evidence", "proven")
    assert set(answer["out_of_reach"]) == {"nearest_lab", "delta_e_2000", "misses", "what_next"}
    assert answer["matches"][0]["verdict"] == "far"
    assert "Out of reach: " in shop.do("match", "colour", "lab:20,60,30", "--evidence", "proven")


def test_an_answer_without_matches_is_done(shop: Shop) -> None:
    assert shop.json("match", "colour", "red", "--with", "Tinhymn")["matches"] == []
    assert "Nothing to show." in shop.do("match", "colour", "red", "--with", "Tinhymn")


def test_json_numbers_keep_four_decimals(shop: Shop) -> None:
    text = shop.do("match", "colour", "dusty green", "--json")
    decimals = [number.partition(".")[2] for number in _numbers(json.loads(text, parse_float=str))]
    assert decimals
    assert max(len(part) for part in decimals) <= 4


def _numbers(value: Any) -> list[str]:
    if isinstance(value, dict):
        return [number for each in value.values() for number in _numbers(each)]
    if isinstance(value, list):
        return [number for each in value for number in _numbers(each)]
    return [value] if isinstance(value, str) and value.lstrip("-").replace(".", "", 1).isdigit() else []


@pytest.mark.parametrize(
    "words",
    [
        ["--archive", "{chest}", "--json", "--by", "Wren Tallow", "ink", "add", "Sootwell"],
        ["ink", "--archive", "{chest}", "--json", "--by", "Wren Tallow", "add", "Sootwell"],
        ["ink", "add", "Sootwell", "--archive", "{chest}", "--json", "--by", "Wren Tallow"],
        ["ink", "add", "--json", "Sootwell", "--by", "Wren Tallow", "--archive", "{chest}"],
    ],
)
def test_shared_options_are_taken_before_and_after_the_command(words: list[str], shop: Shop, desk: Path) -> None:
    elsewhere = Shop(desk / "nowhere")
    found = json.loads(elsewhere.do(*(word.format(chest=shop.folder) for word in words)))
    assert found["name"] == "Sootwell"
    assert shop.json("history", "--limit", "1")[0]["by"] == "Wren Tallow"


def test_the_folder_one_stands_in_is_the_archive(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(shop.folder / "originals")
    assert "Ferrywake" in shop.do("ink", "list", INKCHEST_ARCHIVE=None)
