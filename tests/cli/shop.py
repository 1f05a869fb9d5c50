"""A small archive built by the commands themselves, and the ways tests use them."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from click.testing import CliRunner, Result
from PIL import Image

from archive.cli import main
from tests.studio.storeroom import Stand, random_print, written

# Five patches of one pair on one paper, the paper itself, and one overprint in the other order.
READINGS = """sample,paper,ink_1,tint_1,ink_2,tint_2,lab_l,lab_a,lab_b,condition,measured_on
paper,Oatleaf 120,,,,,93.1,0.2,4.9,M1,2024-05-04
A1,Oatleaf 120,Ferrywake,100,,,40.2,2.1,-41.0,M1,2024-05-04
A2,Oatleaf 120,Dockrope,100,,,74.8,9.6,62.3,M1,2024-05-04
A3,Oatleaf 120,Dockrope,100,Ferrywake,60,52.3,-18.4,12.2,M1,2024-05-04
A4,Oatleaf 120,Ferrywake,60,Dockrope,100,55.0,-12.1,20.6,M1,2024-05-04
A5,Chalkroad 90,Dockrope,100,Ferrywake,60,50.1,-17.0,9.9,M1,2024-05-04
"""


def sheet(path: Path, *, colours: tuple[str, ...] = ("#2a5ea8", "#6f9a63"), size: tuple[int, int] = (240, 320)) -> Path:
    """Write a picture of an off-white sheet with a band of each colour, as a JPEG without noise to speak of."""
    picture = Image.new("RGB", size, "#eeebe1")
    height = size[1] // (2 * len(colours) + 1)
    for number, colour in enumerate(colours):
        band = Image.new("RGB", (size[0] * 3 // 4, height), colour)
        picture.paste(band, (size[0] // 8, height * (2 * number + 1)))
    picture.save(path, quality=95)
    return path


def noise(path: Path, *, size: tuple[int, int]) -> Path:
    """Write a picture of coarse random fields, the same every time."""
    fields = np.random.default_rng(5).integers(0, 255, (size[1] // 40, size[0] // 40, 3), dtype=np.uint8)
    Image.fromarray(fields).resize(size, Image.Resampling.NEAREST).save(path, quality=90)
    return path


def stand_shots(desk: Path) -> None:
    """Write what a copy stand gives: a white sheet, a colour card, and prints beside it, one of them three times."""
    stand = Stand(size=(1000, 750), px_per_mm=1.625)
    written(desk / "white.jpg", stand.white())
    written(desk / "card.jpg", stand.card().jpeg)
    for name, layout, tilt in (("lamp", 1, 0.0), ("choir", 2, 0.0), ("peel", 1, 5.0), ("peel_again", 1, 0.0)):
        shot = stand.sheet(random_print(layout), tilt_deg=tilt, shot=len(name))
        written(desk / f"{name}.jpg", shot.jpeg, taken="2025-03-14 10:00:00")


# One solid of another workshop on a paper of its own.
THEIRS: dict[str, Any] = {
    "format": "inkchest evidence",
    "version": 1,
    "workshop": "Lark Lane Press",
    "made_on": "2024-06-01",
    "inks": [{"uid": "0192a000-0000-7000-8000-000000000001", "name": "Marshlight", "kind": "transparent"}],
    "papers": [{"uid": "0192a000-0000-7000-8000-000000000002", "name": "Fenwhite 100", "is_coloured": False}],
    "recipes": [
        {
            "uid": "0192a000-0000-7000-8000-000000000003",
            "paper": "0192a000-0000-7000-8000-000000000002",
            "layers": [{"ink": "0192a000-0000-7000-8000-000000000001", "tint": 100, "pass": 1}],
        }
    ],
    "swatches": [
        {
            "uid": "0192a000-0000-7000-8000-000000000004",
            "recipe": "0192a000-0000-7000-8000-000000000003",
            "out_of_range": False,
            "measurements": [
                {
                    "uid": "0192a000-0000-7000-8000-000000000005",
                    "lab": [70.0, 20.0, 15.0],
                    "lab_from": "lab",
                    "method": "instrument",
                }
            ],
        }
    ],
}


def eleven(path: Path, patches: list[dict[str, Any]]) -> None:
    """Write readings of a strip: colours that fall evenly from the paper's with the tints of two inks."""
    rows = [
        (93 - 0.18 * a - 0.4 * b, 0.05 * a - 0.1 * b, 5 + 0.5 * a - 0.4 * b) for a, b in (p["tints"] for p in patches)
    ]
    lines = ["lab_l,lab_a,lab_b", *(",".join(f"{part:.2f}" for part in row) for row in rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


@dataclass
class Shop:
    """An archive's folder, and the command line that stands in front of it."""

    folder: Path
    environment: dict[str, str | None] = field(default_factory=dict)

    def run(self, *arguments: str, typed: str | None = None, **environment: str | None) -> Result:
        """Return what a command did, whatever its exit code; a bug keeps its traceback."""
        told = {
            "INKCHEST_ARCHIVE": str(self.folder),
            "COLUMNS": None,
            "FORCE_COLOR": None,
            "NO_COLOR": None,
            "COLORTERM": None,
            "TERM": "dumb",
            **self.environment,
            **environment,
        }
        result = CliRunner().invoke(main, list(arguments), input=typed, env=told, prog_name="inkchest")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    def do(self, *arguments: str, **more: Any) -> str:
        """Return what a command printed; it must be done."""
        result = self.run(*arguments, **more)
        assert result.exit_code == 0, result.output
        return result.stdout

    def json(self, *arguments: str) -> Any:
        """Return the JSON that a command printed; it must be done."""
        return json.loads(self.do(*arguments, "--json"))

    def refused(self, *arguments: str, **more: Any) -> str:
        """Return the words of a refusal: exit code 1, the words once and on standard error, nothing written."""
        before = self.rows()
        result = self.run(*arguments, **more)
        assert result.exit_code == 1, result.output
        assert result.stdout == ""
        assert result.stderr.count("Error: ") == 1, result.stderr
        assert "Traceback" not in result.stderr
        assert self.rows() == before
        return result.stderr

    def misunderstood(self, *arguments: str) -> str:
        """Return the words of wrong usage: exit code 2, how it is meant, nothing written."""
        before = self.rows()
        result = self.run(*arguments)
        assert result.exit_code == 2, result.output
        assert result.stderr.startswith("Usage: inkchest")
        assert self.rows() == before
        return result.stderr

    def rows(self) -> list[str]:
        """Return every row of the catalogue."""
        database = self.folder / "archive.sqlite3"
        if not database.is_file():
            return []
        connection = sqlite3.connect(database)
        try:
            return list(connection.iterdump())
        finally:
            connection.close()


def fill(shop: Shop, desk: Path) -> None:
    """Enter a workshop by commands only: its house, a work with a picture, a run, readings; `kept` is a backup."""
    shop.do("start", str(shop.folder))
    shop.do("profile", "set", "ref_prefix", "QA-")
    for name, looks in (("Ferrywake", "#2a5ea8"), ("Dockrope", "#c9a227"), ("Kilnsong", "#d1462f")):
        shop.do("ink", "add", name, "--looks", looks)
    shop.do("ink", "add", "Tinhymn", "--kind", "metallic")
    shop.do("paper", "add", "Oatleaf 120", "--shade", "off-white", "--gsm", "120", "--sheets-left", "800")
    for name in ("Chalkroad 90", "Duskmoth 140"):
        shop.do("paper", "add", name)
    for name in ("Upstairs", "Backroom"):
        shop.do("machine", "add", name)
    shop.do("drum", "add", "1", "--ink", "Ferrywake", "--machine", "Upstairs", "--position", "1")
    shop.do("drum", "add", "2", "--ink", "Dockrope", "--machine", "Upstairs", "--position", "2")
    shop.do("filling", "add", "F-1", "--drum", "1", "--since", "2024-05-01", "--mix", "Ferrywake=3")
    shop.do("filling", "add", "F-2", "--ink", "Dockrope", "--since", "2024-06-01", "--mix", "Dockrope=1")
    for name in ("Wren Tallow", "Pip Saltmarsh"):
        shop.do("person", "add", name)
    for name in ("Storeroom / Plan chest 2 / drawer 5", "Attic"):
        shop.do("place", "add", name)
    tides = sheet(desk / "tides.jpg")
    shop.do(
        *("work", "add", "QA-0042", "--title", "Nine Tides", "--inks", "Ferrywake 60 % over Dockrope"),
        *("--paper", "Oatleaf 120", "--picture", str(tides), "--place", "drawer 5", "--date", "about 1998"),
        *("--maker", "Wren Tallow=drawing", "--said-by", "Wren Tallow", "--role", "reference"),
    )
    shop.do("file", "add", "--variant", "QA-0042a", "--name", "tides_blue.tif", "--lies-at", "grey disk")
    shop.do("run", "add", "QA-0042", "--machine", "Upstairs", "--density", "3", "--good", "120", "--filling", "F-1")
    (desk / "strip.csv").write_text(READINGS, encoding="utf-8")
    shop.do("readings", "import", str(desk / "strip.csv"))
    shop.do("picture", "add", str(sheet(desk / "loose.jpg", colours=("#d1462f",))))
    (desk / "list.csv").write_text("Nr;Titel\n0007;Peel\n", encoding="utf-8")
    (desk / "theirs.json").write_text(json.dumps(THEIRS), encoding="utf-8")
    shop.do("evidence", "in", str(desk / "theirs.json"))
    shop.do("profile", "set", "workshop_name", "Quay Attic Printroom")
    shop.do("find", "--ink", "Ferrywake", "--keep", "blue ones")
    shop.do("work", "add", "M17", "--place", "Attic")
    shop.do("work", "add", "M18", "--place", "Attic", "--picture", str(sheet(desk / "box.jpg", colours=("#0a6e4f",))))
    shop.do("place", "add", "Cellar")
    shop.do("place", "quarantine", "Cellar", "--why", "damp")
    shop.do("inquiry", "add", "QA-0042", "paper", "--ask", "Wren Tallow")
    shop.do("drum", "add", "8")
    shop.do("drum", "remove", "8")
    shop.do("strip", "make", "--inks", "Dockrope,Ferrywake", "--machine", "Upstairs", "--to", str(desk))
    eleven(desk / "eleven.csv", shop.json("strip", "show", "S-1")["patches"])
    stand_shots(desk)
    shop.do("profile", "set", "card_mm", "140,107")
    shop.do("sitting", "open", "--white", str(desk / "white.jpg"), "--card", str(desk / "card.jpg"))
    shop.do("sitting", "take", str(desk / "lamp.jpg"))
    shop.do("swatch", "propose", "lamp.jpg")
    shop.do("work", "add", "M19")
    shop.do("sitting", "take", str(desk / "peel.jpg"), str(desk / "peel_again.jpg"), "--work", "M19")
    shop.do("picture", "join", "peel.jpg", "peel_again.jpg")
    Shop(desk / "other").do("start", str(desk / "other"))
    shop.do("backup", str(desk / "kept"))
    shop.do("pack", str(desk / "packed"))
