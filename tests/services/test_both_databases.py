"""One and the same archive answers byte for byte the same on SQLite and on PostgreSQL."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from archive.services.kinds import KINDS
from demo_archive import house
from tests.cli.shop import Shop

MATCHES = [
    "#2a5ea8",
    "#6f9a63 --limit 50",
    "lab:52.3,-18.4,12.2 --order delta --limit 30",
    "lab:25,90,-90 --limit 12",
    "'dusty green' --evidence proven,seen --limit 40",
    "plum --paper 'Oatleaf 120'",
    "#f2c262 --passes 1 --limit 20",
    "#c8553d --in-house --limit 20",
    "#101010 --loaded",
    "#e9e2d0",
    "red --with Kilnsong --limit 25",
    "#7a4a7c --evidence told",
]
FINDS = [
    "",
    "tides",
    "--ink Kilnsong --over Ferrywake",
    "--paper 'Oatleaf 120' --printable",
    "--year 2018..2021",
    "--undated",
    "--colour '#2a5ea8' --limit 60",
    "--basis inferred",
]
LISTS = [
    *(f"{noun} list" for noun in KINDS),
    "swatch list --limit 5000",
    "recipe list",
    "question list",
    "profile list",
    "picture loose",
    "bin list",
    "history --limit 500",
    "check",
    "check --stale",
]
ASKED = [
    *(f"match colour {each}" for each in MATCHES),
    *(f"find {each}".rstrip() for each in FINDS),
    *LISTS,
    *(f"match picture {{{number}}}" for number in range(3)),
    *(f"work show {ref}" for ref in ("QA-0001", "QA-0012", "QA-0020")),
]


@pytest.fixture
def both(demo_folder: Path, demo_on_server: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Shop, Shop]:
    """Return the demo archive's command line on either database."""
    monkeypatch.setenv("INKCHEST_TODAY", house.TODAY)
    return Shop(demo_folder), Shop(demo_on_server)


def typed(asked: str, archive: Path) -> list[str]:
    """Return the parts of a command; a number in braces is one of the archive's pictures."""
    pictures = [str(path) for path in sorted((archive / "originals").glob("??/*"))[::40]]
    return [word.format(*pictures) for word in shlex.split(asked)]


@pytest.mark.parametrize("asked", ASKED)
def test_both_databases_answer_the_same_bytes(both: tuple[Shop, Shop], asked: str) -> None:
    words = typed(asked, both[0].folder)
    ours, theirs = (shop.do(*words, "--json") for shop in both)
    assert ours == theirs
