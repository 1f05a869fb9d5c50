"""Lists of works and evidence by commands: shown first, written when one says yes."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.shop import THEIRS, Shop

LIST = "\ufeffNr;Titel;Farben;Shelf mark\n0042;Peel;Ferywake;K 3\n0043;Bus Stop Choir;;\n"


def written(desk: Path, text: str) -> str:
    (desk / "works.csv").write_text(text, encoding="utf-8")
    return str(desk / "works.csv")


def test_a_list_is_shown_before_it_is_written_and_no_writes_nothing(shop: Shop, desk: Path) -> None:
    before = shop.rows()
    result = shop.run("work", "import", written(desk, LIST), typed="n\n")
    assert result.exit_code == 1
    assert shop.rows() == before
    for words in (
        "column Nr: ref",
        "column Shelf mark: kept, not read (perhaps place?)",
        "row: ref '0042'; title 'Peel'; inks 'Ferywake'",
        "no ink called Ferywake: kept as said; perhaps Ferrywake is meant",
        "2 rows, 2 would be added",
        "Nothing was done.",
    ):
        assert words in result.stderr


def test_yes_writes_the_list_and_the_map_is_remembered(shop: Shop, desk: Path) -> None:
    path = written(desk, LIST)
    result = shop.run("work", "import", path, "--map", "Shelf mark=place", typed="y\n")
    assert result.exit_code == 0, result.output
    assert result.stdout == "works.csv: 2 rows, 2 added.\n"
    assert shop.json("work", "show", "0042")["copies"][0]["place"] == "K 3"
    again = shop.json("work", "import", path, "--yes")
    assert (again["added"], again["known"]) == (0, 2)
    assert again["columns"][3] == {"column": "Shelf mark", "field": "place", "how": "remembered", "suggestion": None}
    assert "import works from works.csv" in shop.do("undo")
    assert "no work called 0042" in shop.refused("work", "show", "0042")


def test_a_difference_is_shown_and_left(shop: Shop, desk: Path) -> None:
    shop.do("work", "import", written(desk, LIST), "--yes")
    result = shop.run("work", "import", written(desk, LIST.replace("Peel", "Pear")), "--yes")
    assert "differs: line 2, 0042, title: the archive has 'Peel', the list 'Pear'" in result.stderr
    assert "1 difference left as the archive has it" in result.stdout
    assert shop.json("work", "show", "0042")["title"] == "Peel"


def test_bad_lists_are_refused_in_words(shop: Shop, desk: Path) -> None:
    assert "no column Titl" in shop.refused("work", "import", written(desk, LIST), "--map", "Titl=title")
    assert "is no pair" in shop.refused("work", "import", written(desk, LIST), "--map", "title")
    assert "the ref 0042 stands in the lines 2, 3" in shop.refused(
        "work", "import", written(desk, LIST.replace("0043", "0042")), "--yes"
    )
    assert "cannot read the file" in shop.refused("work", "import", str(desk / "none.csv"))


def test_evidence_of_another_schema_is_named_and_nothing_is_written(shop: Shop, desk: Path) -> None:
    (desk / "odd.json").write_text(json.dumps({**THEIRS, "version": 3}), encoding="utf-8")
    assert "version 3" in shop.refused("evidence", "in", str(desk / "odd.json"))
    del (recipe := dict(THEIRS["recipes"][0]))["layers"]
    (desk / "odd.json").write_text(json.dumps({**THEIRS, "recipes": [recipe]}), encoding="utf-8")
    assert "$.recipes[0]" in shop.refused("evidence", "in", str(desk / "odd.json"))


def test_the_same_evidence_again_adds_nothing(shop: Shop, desk: Path) -> None:
    before = shop.rows()
    again = shop.do("evidence", "in", str(desk / "theirs.json"))
    assert "5 known already" in again
    assert shop.rows() == before


def test_readings_go_out_as_cxf_by_the_name_of_the_file(shop: Shop, desk: Path) -> None:
    assert shop.json("readings", "export", str(desk / "out.cxf"))["format"] == "cxf"
    assert b"CxF3-core" in (desk / "out.cxf").read_bytes()
    assert "6 rows" in shop.do("readings", "export", str(desk / "out.txt"), "--format", "cxf")
