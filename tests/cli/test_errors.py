"""Bad input is refused in words: which file, row and field, what is wrong; and nothing is written."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.shop import READINGS, Shop, noise

HEAD = "sample,paper,ink_1,tint_1,lab_l,lab_a,lab_b\n"
CGATS = """CGATS.17
ORIGINATOR "Quay Attic Printroom"
NUMBER_OF_FIELDS 6
BEGIN_DATA_FORMAT
SAMPLE_ID CMYK_C CMYK_Y LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
1 100 0 40.2 2.1 -41.0
2 0 100 74.8 9.6 62.3
END_DATA
"""
INKS = ("--ink", "CMYK_C=Ferrywake", "--ink", "CMYK_Y=Dockrope", "--paper", "Oatleaf 120")

READINGS_FILES = [
    ("cut short", "cut.csv", READINGS[: READINGS.rindex("A5") + 20], ("cut.csv", "line 7", "the header 11")),
    ("a cell too few", "cells.csv", HEAD + "A1,Oatleaf 120,Ferrywake,100,50,1\n", ("cells.csv", "line 2", "6 cells")),
    ("empty", "empty.csv", "", ("empty.csv", "the file is empty")),
    ("a head alone", "head.csv", HEAD, ("head.csv", "no rows")),
    ("no number", "nan.csv", HEAD + "A1,Oatleaf 120,Ferrywake,100,50,nan,1\n", ("nan.csv", "line 2", "lab_a", "nan")),
    ("beyond L*", "light.csv", HEAD + "A1,Oatleaf 120,Ferrywake,100,140,2,1\n", ("line 2", "lab_l", "140", "115")),
    ("tint 130", "tint.csv", HEAD + "A1,Oatleaf 120,Ferrywake,130,40,2,1\n", ("line 2", "tint_1", "130", "0 to 100")),
    (
        "unknown inks, all told",
        "inks.csv",
        HEAD + "A1,Oatleaf 120,Ferywake,100,40,2,1\nA2,Oatleaf 120,Dokrope,100,40,2,1\n",
        ("2 things are wrong", "line 2, ink_1", "Did you mean Ferrywake?", "line 3, ink_1", "Did you mean Dockrope?"),
    ),
    (
        "unknown paper",
        "paper.csv",
        HEAD + "A1,Oatlef 120,Ferrywake,100,40,2,1\n",
        ("line 2, paper", "Did you mean Oatleaf 120?"),
    ),
    (
        "wrong count",
        "count.txt",
        CGATS.replace("SETS 2", "SETS 3"),
        ("count.txt", "NUMBER_OF_SETS says 3", "2 data lines", "correct the count"),
    ),
    ("no end", "noend.txt", CGATS[: CGATS.index("END_DATA\n")], ("noend.txt", "line 8", "END_DATA is missing")),
]


@pytest.mark.parametrize(
    ("name", "text", "words"), [case[1:] for case in READINGS_FILES], ids=[case[0] for case in READINGS_FILES]
)
def test_a_wrong_file_of_readings_is_refused_whole(
    name: str, text: str, words: tuple[str, ...], shop: Shop, tmp_path: Path
) -> None:
    (tmp_path / name).write_text(text, encoding="utf-8")
    inks = INKS if name.endswith(".txt") else ()
    said = shop.refused("readings", "import", str(tmp_path / name), *inks)
    assert [word for word in words if word not in said] == []


def test_a_binary_file_of_readings_is_refused(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "strip.csv").write_bytes(bytes(range(256)) * 16)
    said = shop.refused("readings", "import", str(tmp_path / "strip.csv"))
    assert "strip.csv: the file is binary" in said
    assert "Save it as text" in said


def test_columns_of_a_press_need_their_inks_named(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "press.txt").write_text(CGATS, encoding="utf-8")
    said = shop.refused("readings", "import", str(tmp_path / "press.txt"))
    assert "CMYK_C, CMYK_Y" in said
    assert "--ink FIELD=INK" in said
    assert "2 added" in shop.do("readings", "import", str(tmp_path / "press.txt"), *INKS)


def test_a_dry_run_reports_and_writes_nothing(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "press.txt").write_text(CGATS, encoding="utf-8")
    before = shop.rows()
    assert "2 would be added" in shop.do("readings", "import", str(tmp_path / "press.txt"), *INKS, "--dry-run")
    assert shop.rows() == before


def test_a_picture_larger_than_the_profile_allows_is_refused(shop: Shop, tmp_path: Path) -> None:
    shop.do("profile", "set", "largest_megapixels", "1")
    large = noise(tmp_path / "large.jpg", size=(1400, 1000))
    for command in (["work", "add", "--picture", str(large)], ["match", "picture", str(large)]):
        said = shop.refused(*command)
        assert "large.jpg: it has 1.4 megapixels, more than the 1.0 allowed" in said
        assert "smaller copy" in said


def test_text_called_a_picture_is_refused(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "notes.jpg").write_text("blue over yellow, I think\n" * 50, encoding="utf-8")
    for command in (["work", "add", "--picture"], ["run", "add", "--picture"], ["match", "picture"]):
        said = shop.refused(*command, str(tmp_path / "notes.jpg"))
        assert "notes.jpg" in said
        assert "it holds text" in said
        assert "Save it as JPEG" in said


def test_one_bad_file_does_not_keep_the_others_out(shop: Shop, desk: Path) -> None:
    phone = desk / "phone"
    phone.mkdir()
    (phone / "notes.jpg").write_text("no picture", encoding="utf-8")
    noise(phone / "sheet.jpg", size=(400, 300))
    result = shop.run("picture", "add", str(phone), "--json")
    assert result.exit_code == 1
    assert [(each["file"].rpartition("/")[2], each["status"]) for each in json.loads(result.stdout)] == [
        ("notes.jpg", "refused"),
        ("sheet.jpg", "added"),
    ]
    assert "notes.jpg" in result.stderr


REFUSALS = [
    ("a place inside itself", "place edit Storeroom --in Storeroom", "cannot be inside itself"),
    ("a place inside its own", "place edit Storeroom --in 'drawer 5'", "cannot be inside itself"),
    ("a name taken", "ink add FERRYWAKE", "called Ferrywake already"),
    ("an ink in use", "ink remove Ferrywake", "Retire it instead: `inkchest ink edit 'Ferrywake' --no-in-house`"),
    ("a word that is none", "ink add Sootwell --kind shiny", "Use transparent, opaque, fluorescent, metallic"),
    ("a weight in words", "paper add Thick --gsm heavy", "heavy is no number"),
    ("a day in words", "copy edit QA-0042/1 --until soon", "Write it as 2024-05-31"),
    ("a work misspelt", "work show QA-42", "Did you mean QA-0042"),
    ("a colour that is none", "match colour blurple-ish", "is no colour word"),
    ("a lightness that is none", "match colour lab:140,0,0", "between 0 and 115"),
    ("an unknown ink asked", "match colour red --with Ferywake", "--with: no ink called Ferywake"),
    ("an unknown paper asked", "match colour red --paper Oatlef", "Did you mean Oatleaf 120?"),
    ("evidence that is none", "match colour red --evidence provn", "Use proven, worked_out, seen, told, guess"),
    ("a tint told too high", "work add --inks 'Ferrywake 130 %'", "A tint is 0 to 100 percent"),
    ("a point that is none", "swatch read tides.jpg --at here", "Give X,Y in pixels: 640,420"),
    ("a point outside", "swatch read tides.jpg --at 900,20", "leaves the picture, which is 240 by 320"),
    ("a change that never was", "undo 999", "`inkchest history` lists the changes"),
    ("a setting that is none", "profile set colour blue", "See `inkchest profile list`"),
    ("a file that is not there", "readings import gone.csv", "gone.csv: cannot read the file"),
]


@pytest.mark.parametrize(("typed", "words"), [case[1:] for case in REFUSALS], ids=[case[0] for case in REFUSALS])
def test_what_cannot_be_done_is_told_with_its_mending(typed: str, words: str, shop: Shop) -> None:
    assert words in shop.refused(*shlex.split(typed))


def test_errors_are_words_under_json_too(shop: Shop) -> None:
    said = shop.refused("ink", "show", "Ferywake", "--json")
    assert said == "Error: no ink called Ferywake. Did you mean Ferrywake?\n"


def test_a_folder_that_is_no_archive_is_refused(tmp_path: Path) -> None:
    for command in (["ink", "list"], ["match", "colour", "red"], ["check"], ["history"], ["picture", "loose"]):
        said = Shop(tmp_path).refused(*command)
        assert f"{tmp_path}: no archive here" in said
        assert "inkchest start DIR" in said
    assert list(tmp_path.iterdir()) == []


def test_the_later_of_two_editors_gets_both_values(shop: Shop) -> None:
    seen = shop.json("ink", "show", "Dockrope")["note"]
    shop.do("ink", "edit", "Dockrope", "--note", "runs thin in the cold", "--seen", f"note={seen}", "--by", "Wren")
    said = shop.refused("ink", "edit", "Dockrope", "--note", "order two tins", "--seen", f"note={seen}", "--by", "Pip")
    assert "ink Dockrope: note was changed meanwhile" in said
    assert "runs thin in the cold" in said
    assert "order two tins" in said


def test_wrong_usage_is_told_with_how_it_is_meant(shop: Shop) -> None:
    assert "Did you mean match" in shop.misunderstood("mtch")
    assert "inkchest ink has no command 'ad'. Did you mean add?" in shop.misunderstood("ink", "ad")
    assert "Put it in quotes" in shop.misunderstood("match", "colour")
    assert "Give 1 or more" in shop.misunderstood("match", "colour", "red", "--limit", "0")
    assert "Give 1 or more" in shop.misunderstood("match", "colour", "red", "--passes", "0")
    assert "Missing argument 'NAME'" in shop.misunderstood("ink", "add")
    assert "Which ink? Name it too" in shop.misunderstood("history", "ink")
    assert "'gadget' is not one of" in shop.misunderstood("claim", "list", "gadget", "x")
    assert "Write FIELD=VALUE" in shop.misunderstood("ink", "edit", "Ferrywake", "--seen", "note")


@pytest.mark.parametrize("command", [["bin", "empty"], ["person", "forget", "Wren Tallow"]])
def test_what_cannot_be_taken_back_is_asked_first(command: list[str], shop: Shop) -> None:
    before = shop.rows()
    for typed in ("n\n", ""):
        result = shop.run(*command, typed=typed)
        assert result.exit_code == 1
        assert "for good?" in result.stderr
        assert "Nothing was done." in result.stderr
        assert result.stdout == ""
        assert shop.rows() == before
    assert shop.run(*command, typed="y\n").exit_code == 0
    assert shop.rows() != before


def test_bare_inkchest_says_what_to_do_next(shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "Ask for a colour: inkchest match colour" in shop.run().stderr
    monkeypatch.chdir(tmp_path)
    nothing = shop.run(INKCHEST_ARCHIVE=None)
    assert nothing.exit_code == 0
    assert "inkchest start DIR" in nothing.stderr
    assert "inkchest demo DIR" in nothing.stderr
    assert "gone: no archive here" in Shop(tmp_path / "gone").run().stderr


# --- real processes: what a terminal does to a command


def process(shop: Shop, *arguments: str, **more: object) -> subprocess.Popen[bytes]:
    environment = {**os.environ, "INKCHEST_ARCHIVE": str(shop.folder)}
    code = "from archive.cli import main; main(prog_name='inkchest')"
    return subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**environment, **more},  # type: ignore[dict-item]
    )


def test_a_reader_that_stops_listening_is_no_error(shop: Shop) -> None:
    started = process(shop, "profile", "list")
    assert started.stdout is not None
    assert started.stderr is not None
    started.stdout.close()
    assert started.stderr.read() == b""
    started.stderr.close()
    assert started.wait(timeout=30) == 1


def test_ctrl_c_stops_in_words(shop: Shop, desk: Path) -> None:
    many = desk / "many"
    many.mkdir()
    first = noise(many / "0.jpg", size=(1500, 1000))
    for number in range(1, 60):
        shutil.copyfile(first, many / f"{number}.jpg")
        with (many / f"{number}.jpg").open("ab") as stream:  # a tail tells the files apart
            stream.write(str(number).encode())
    started = process(shop, "picture", "add", str(many))
    deadline = time.monotonic() + 30
    while len(shop.json("picture", "loose")) < 3 and time.monotonic() < deadline:
        time.sleep(0.05)
    started.send_signal(signal.SIGINT)
    out, err = started.communicate(timeout=30)
    assert started.returncode == 130
    assert out == b""
    assert err.decode() == "\nStopped. What was finished is kept, the rest was not begun.\n"
    assert 3 <= len(shop.json("picture", "loose")) < 60
    assert shop.json("check") == [] or not any(each["is_harm"] for each in shop.json("check"))


def test_letters_that_a_terminal_lacks_stop_nothing(shop: Shop) -> None:
    started = process(shop, "match", "colour", "#2a5ea8", PYTHONIOENCODING="cp1252", PYTHONUTF8="0")
    out, err = started.communicate(timeout=30)
    assert started.returncode == 0, err
    assert b"?E00" in out
    started = process(shop, "match", "colour", "#2a5ea8", "--json", PYTHONIOENCODING="cp1252", PYTHONUTF8="0")
    out, err = started.communicate(timeout=30)
    assert started.returncode == 0, err
    assert json.loads(out.decode("cp1252"))["matches"]
