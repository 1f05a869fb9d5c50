"""Giving proposed areas their inks at a table: one key accepts, one repeats, one declines; what was said is kept."""

from __future__ import annotations

from tests.cli.shop import Shop

INKS = "Ferrywake 60 % over Dockrope 100 %"


def test_one_key_accepts_what_is_proposed_one_repeats_one_declines(shop: Shop) -> None:
    waiting = shop.json("swatch", "proposals", "lamp.jpg")
    assert [each["proposed"] for each in waiting] == ["bare paper"] + [""] * (len(waiting) - 1)
    typed = "".join(f"{answer}\n" for answer in ["", INKS, "=", *"-" * (len(waiting) - 3)])
    result = shop.run("swatch", "next", "lamp.jpg", "--paper", "Oatleaf 120", typed=typed)
    assert result.exit_code == 0, result.output
    assert f"3 accepted, {len(waiting) - 3} declined, 0 left open" in result.stdout
    assert "bare paper" in result.stderr
    kept = [each["inks"] for each in shop.json("swatch", "list", "--limit", "200") if each["method"] == "camera"]
    assert sorted(kept) == ["Dockrope 100 %, then Ferrywake 60 %"] * 2 + ["bare paper"]
    assert shop.json("swatch", "proposals", "lamp.jpg") == []


def test_a_wrong_answer_is_told_and_asked_again_and_enter_leaves_an_area_open(shop: Shop) -> None:
    waiting = shop.json("swatch", "proposals", "lamp.jpg")
    typed = "nothing of ours 50 %\n" + "-\n" * (len(waiting) - 1) + "\n"
    result = shop.run("swatch", "next", "lamp.jpg", "--paper", "Oatleaf 120", typed=typed)
    assert result.exit_code == 0, result.output
    assert "no ink called nothing of ours" in result.stderr
    assert f"0 accepted, {len(waiting) - 1} declined, 1 left open" in result.stdout
    assert len(shop.json("swatch", "proposals", "lamp.jpg")) == 1


def test_stopping_keeps_what_was_said(shop: Shop) -> None:
    waiting = shop.json("swatch", "proposals", "lamp.jpg")
    result = shop.run("swatch", "next", "lamp.jpg", typed="-\n-\n")  # then the terminal closes
    assert result.exit_code != 0
    assert len(shop.json("swatch", "proposals", "lamp.jpg")) == len(waiting) - 2
