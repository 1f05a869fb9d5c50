"""A folder tree of old photos by commands: seen first, then added, its bad files told together at the end."""

from __future__ import annotations

from pathlib import Path

import pytest

from archive.cli.picture_words import forecast
from tests.cli.shop import Shop, sheet


@pytest.fixture
def drive(tmp_path: Path) -> Path:
    """Return a small drive: two pictures of a known work, one of none, one that is no picture."""
    root = tmp_path / "old drive"
    (root / "1998").mkdir(parents=True)
    sheet(root / "1998" / "QA-0042 front.jpg", colours=("#7b3fa0",))
    sheet(root / "1998" / "QA-0042 back.jpg", colours=("#1f8f8a",))
    sheet(root / "wall.jpg", colours=("#c49a1c",))
    (root / "1998" / "letter.jpg").write_text("Dear printer")
    (root / "1998" / "list.doc").write_text("twelve posters")
    return root


def test_a_dry_run_says_what_would_happen_and_the_run_does_it(shop: Shop, drive: Path) -> None:
    before = shop.json("picture", "loose")
    text = shop.do("picture", "add", str(drive), "--dry-run")
    assert "3 pictures would be added; nothing is added yet." in text
    assert "QA-0042: 2 pictures by file name, such as old drive/1998/QA-0042 back.jpg" in text
    assert "Of no known work: 1 picture in 1 folder:" in text
    assert "Cannot be read: 1 file:\n  old drive/1998/letter.jpg: " in text
    assert "Passed over: 1 name: no picture by its name, such as old drive/1998/list.doc." in text
    plan = shop.json("picture", "add", str(drive), "--dry-run")
    assert plan["works"] == [
        {"work": "QA-0042", "by": "file name", "pictures": 2, "example": "old drive/1998/QA-0042 back.jpg"}
    ]
    assert plan["loose"] == {"old drive": 1}
    assert shop.json("picture", "loose") == before

    result = shop.run("picture", "add", str(drive))
    assert result.exit_code == 1
    assert "Error: old drive/1998/letter.jpg: " in result.stderr
    assert "1 file refused, 3 pictures read." in result.stderr
    assert "of QA-0042/1 (of QA-0042 by its file name 'QA-0042 front')" in result.stdout
    shop.do("undo")
    assert shop.json("picture", "loose") == before


def test_a_work_is_made_for_a_folder_when_asked(shop: Shop, drive: Path) -> None:
    (drive / "1998" / "letter.jpg").unlink()
    plan = shop.json("picture", "add", str(drive), "--dry-run", "--works-from", "folder")
    assert plan["new_works"] == 1
    shop.do("picture", "add", str(drive), "--works-from", "folder")
    assert any(each["pictures"][0][1] == "wall.jpg" for each in shop.json("describe", "list"))
    shop.do("undo")


@pytest.mark.parametrize(
    ("done", "seconds", "words"),
    [(1, 1.0, ", 33 min to go"), (1900, 950.0, ", 50 s to go"), (1990, 995.0, ""), (2000, 1000.0, "")],
)
def test_the_forecast_goes_by_the_pace_so_far(done: int, seconds: float, words: str) -> None:
    assert forecast(done, 2000, seconds) == words
