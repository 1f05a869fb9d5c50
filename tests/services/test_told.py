"""Reading inks as people tell them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from archive.catalogue.database import Catalogue
from archive.errors import InputError
from archive.services.claims import list_claims
from archive.services.told import Told, ToldLayer, read_told
from archive.services.work_cards import work_card
from tests.services.keeping import enter, photo


def test_scenario_11_a_photo_and_two_ink_names_are_a_record(catalogue: Catalogue, tmp_path: Path) -> None:
    card = enter(catalogue, None, photo(tmp_path / "tides.png"), inks="blue, yellow?")
    with catalogue.read() as session:
        shown = work_card(session, card.record.label)
        claims = list_claims(session, "variant", f"{card.record.label}a")
    assert len(shown.pictures) == 1
    assert shown.variants[0]["words"] == "blue, yellow?"
    assert shown.variants[0]["inks"] == "blue (tint unknown) and yellow? (tint unknown) (order unknown)"
    assert [(claim.field, claim.basis) for claim in claims] == [("inks", "inferred")]


def layers(text: str, *known: str) -> list[tuple[str, bool, float | None, float | None]]:
    told = read_told(text, known_inks=known)
    return [(layer.ink, layer.is_sure, layer.tint_low, layer.tint_high) for layer in told.layers]


@pytest.mark.parametrize(
    "text",
    ["blue over yellow", "blue on top of yellow", "blue printed over yellow", "yellow then blue", "yellow -> blue",
     "yellow → blue", "yellow under blue", "  blue   OVER yellow "],
)  # fmt: skip
def test_ways_of_saying_that_yellow_was_first(text: str) -> None:
    told = read_told(text)
    assert [layer.ink for layer in told.layers] == ["yellow", "blue"]
    assert told.order_known
    assert told.words == " ".join(text.split())


@pytest.mark.parametrize("text", ["blue and yellow", "blue + yellow", "blue & yellow", "blue / yellow", "blue; yellow",
                                  "blue with yellow", "blue, yellow"])  # fmt: skip
def test_ways_of_leaving_the_order_open(text: str) -> None:
    told = read_told(text)
    assert [layer.ink for layer in told.layers] == ["blue", "yellow"]
    assert not told.order_known


def test_three_inks_in_a_row() -> None:
    assert [layer.ink for layer in read_told("black over blue over yellow").layers] == ["yellow", "blue", "black"]
    assert [layer.ink for layer in read_told("yellow then blue then black").layers] == ["yellow", "blue", "black"]


def test_one_ink_has_an_order() -> None:
    assert read_told("Ferrywake") == Told((ToldLayer("Ferrywake", True),), True, "Ferrywake")


def test_a_question_mark_is_a_doubt_of_that_ink() -> None:
    assert layers("blue? over yellow") == [("yellow", True, None, None), ("blue", False, None, None)]
    assert layers("blue ?, yellow") == [("blue", False, None, None), ("yellow", True, None, None)]


@pytest.mark.parametrize(
    ("amount", "low", "high"),
    [
        ("60 %", 60, 60),
        ("60%", 60, 60),
        ("62.5 percent", 62.5, 62.5),
        ("40-60 %", 40, 60),
        ("60 to 40 %", 40, 60),
        ("40–60 per cent", 40, 60),
        ("about 60 %", 50, 70),
        ("ca. 95 %", 85, 100),
        ("half", 50, 50),
        ("about half", 40, 60),
        ("three quarters", 75, 75),
        ("a third", 33, 33),
        ("solid", 100, 100),
        ("0 %", 0, 0),
    ],
)
def test_ways_of_saying_an_amount(amount: str, low: float, high: float) -> None:
    assert layers(f"blue {amount} over yellow") == [("yellow", True, None, None), ("blue", True, low, high)]
    assert layers(f"{amount} blue over yellow")[1] == ("blue", True, low, high)
    # behind a comma it belongs to the ink that was named first
    assert layers(f"blue over yellow, {amount}")[1] == ("blue", True, low, high)
    assert layers(f"blue and yellow, {amount}")[0] == ("blue", True, low, high)


def test_light_and_dark_are_ranges() -> None:
    for word in ("light", "dark", "pale", "very light"):
        ((ink, _, low, high),) = layers(f"{word} blue")
        assert ink == "blue"
        assert low is not None
        assert high is not None
        assert 0 <= low < high <= 100


def test_a_house_name_is_kept_whole_whatever_words_are_in_it() -> None:
    known = ("Salt and Light", "Half Moon", "Light")
    assert layers("salt AND light over half moon, 40 %", *known) == [
        ("Half Moon", True, None, None),
        ("Salt and Light", True, 40, 40),
    ]
    assert layers("light light", "Light") == layers("light light", "Light")


@pytest.mark.parametrize("text", ["", "   ", ",", "?", "60 %", "about half", " , ,"])
def test_words_that_name_no_ink_are_refused(text: str) -> None:
    with pytest.raises(InputError, match="no ink is named"):
        read_told(text)


def test_more_than_all_of_it_is_refused() -> None:
    with pytest.raises(InputError, match=r"a tint of 140 %.*0 to 100"):
        read_told("blue 140 %")


_WORDS = st.sampled_from(
    ["blue", "Ferrywake", "over", "then", "and", ",", "?", "half", "about", "60 %", "40-60", "%", "->", "+", "light"]
)


@given(st.one_of(st.text(max_size=60), st.lists(_WORDS, max_size=12).map(" ".join)))
@example("\x000\x00")
@example("9" * 400 + " %")
@example("٣ %  ink")
@example("over over over")
def test_any_words_are_read_or_refused(text: str) -> None:
    try:
        told = read_told(text, known_inks=("Ferrywake", "Half Moon"))
    except InputError:
        return
    assert told.layers
    assert told.words == " ".join(text.split())
    for layer in told.layers:
        assert layer.ink.strip()
        assert (layer.tint_low is None) == (layer.tint_high is None)
        if layer.tint_low is not None and layer.tint_high is not None:
            assert 0 <= layer.tint_low <= layer.tint_high <= 100


@given(st.lists(st.sampled_from(["Ferrywake", "Dockrope", "Kilnsong", "Nettlecoat"]), min_size=1, unique=True))
def test_what_is_said_in_both_directions_is_the_same_order(inks: list[str]) -> None:
    forward, backward = read_told(" then ".join(inks)), read_told(" over ".join(reversed(inks)))
    assert forward.layers == backward.layers == tuple(ToldLayer(ink, True) for ink in inks)
    assert forward.order_known
    assert backward.order_known
