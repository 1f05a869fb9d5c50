"""The first evening, by commands alone: phone photos, two ink names a work, nothing measured."""

from __future__ import annotations

from pathlib import Path

from tests.cli.shop import Shop, sheet


def test_the_first_evening_answers_a_question(tmp_path: Path) -> None:
    shop = Shop(tmp_path / "chest")
    assert "An empty archive lies in" in shop.do("start", str(shop.folder))
    assert "name the inks" in shop.run().stderr

    # the two inks in the house, by eye
    shop.do("ink", "add", "Ferrywake", "--looks", "#2a5ea8")
    shop.do("ink", "add", "Dockrope", "--looks", "#c9a227")
    assert "enter a print" in shop.run().stderr

    # a box of photos from the phone, and one more that comes twice
    phone = tmp_path / "phone"
    phone.mkdir()
    green = sheet(phone / "green.jpg", colours=("#6f9a63",))
    sheet(phone / "blue.jpg", colours=("#2a5ea8",))
    assert shop.do("picture", "add", str(phone)).count("added ") == 2
    assert shop.do("picture", "add", str(phone)).count("known ") == 2

    # what somebody remembers of one
    said = shop.run(
        *("work", "add", "--title", "Nine Tides", "--inks", "blue? over yellow, about half"),
        *("--picture", str(green), "--place", "drawer 5", "--said-by", "Wren Tallow"),
    )
    assert said.exit_code == 0
    assert "Added work W-0001, Nine Tides." in said.stdout
    assert "no ink called 'yellow'" in said.stderr
    assert "it now belongs to the copy" in said.stderr
    layers = shop.json("work", "show", "W-0001")["variants"][0]["inks"]
    assert layers.index("yellow") < layers.index("blue?")
    assert "40 to 60 %" in layers
    assert [each["name"] for each in shop.json("picture", "loose")] == ["blue.jpg"]

    # the question
    answer = shop.json("match", "colour", "#6f9a63")
    best = answer["matches"][0]
    assert best["work"] == {"ref": "W-0001", "title": "Nine Tides"}
    assert best["place"] == "drawer 5"
    assert best["evidence"] == "told"  # the inks are guessed at, so nothing better
    assert best["verdict"] == "related"  # a picture without a colour card is no measurement
    text = shop.do("match", "colour", "#6f9a63")
    assert text.index("yellow?") < text.index("blue? 40 to 60 %") < text.index("lies in drawer 5")
    prints = shop.json("match", "picture", str(green))["prints"]
    assert prints[0]["work"] == "W-0001"

    # somebody is surer: the told inks become names of the house
    shop.do("variant", "tell", "W-0001", "Ferrywake about half over Dockrope", "--said-by", "Pip Saltmarsh")
    assert shop.json("match", "colour", "#6f9a63")["matches"][0]["evidence"] == "seen"
    claims = shop.json("claim", "list", "variant", "W-0001")
    assert {each["by"] for each in claims} == {"Wren Tallow", "Pip Saltmarsh"}

    # kept, checked, and taken back
    assert "Every one of 2 was read back and is whole." in shop.do("backup", str(tmp_path / "stick"))
    assert shop.do("check") == "All is whole.\n"
    assert "tell the inks of W-0001" in shop.do("undo")
    assert shop.json("match", "colour", "#6f9a63")["matches"][0]["evidence"] == "told"
    shop.do("restore", str(tmp_path / "stick"), str(tmp_path / "again"))
    again = Shop(tmp_path / "again")
    assert again.json("match", "colour", "#6f9a63")["matches"][0]["evidence"] == "seen"
    assert again.do("check") == "All is whole.\n"
