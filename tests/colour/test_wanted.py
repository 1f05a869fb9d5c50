"""What a person may ask for, read and carried out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from archive.colour.difference import delta_e_2000
from archive.colour.spaces import lab_to_lch
from archive.colour.wanted import STEP_SIZE, STEPS, WantedColour, apply_steps, parse_wanted
from archive.errors import ColourError, InputError


def test_a_screen_colour_is_read():
    wanted = parse_wanted("#FFFFFF")
    assert (wanted.kind, wanted.reference, wanted.steps) == ("srgb", "#ffffff", ())
    assert wanted.lab == pytest.approx((100, 0, 0), abs=1e-9)
    assert wanted.is_from_screen


def test_numbers_are_read():
    assert parse_wanted("lab:46.7,42.5,-37.7").lab == (46.7, 42.5, -37.7)
    assert parse_wanted("lab:46.7,42.5,-37.7").kind == "lab"
    assert not parse_wanted("lab:46.7,42.5,-37.7").is_from_screen
    assert parse_wanted("lch:50,20,90").lab == pytest.approx((50, 0, 20), abs=1e-12)


def test_a_swatch_and_a_word_are_left_for_the_archive_to_find():
    assert parse_wanted("swatch:0192ab") == WantedColour("swatch", None, "0192ab", ())
    assert parse_wanted("brick red") == WantedColour("word", None, "brick red", ())
    assert parse_wanted("brick red").is_from_screen
    assert not parse_wanted("swatch:0192ab").is_from_screen


def test_steps_keep_their_order_and_number():
    wanted = parse_wanted("brick red +warmer+lighter + lighter")
    assert (wanted.reference, wanted.steps) == ("brick red", ("warmer", "lighter", "lighter"))


@pytest.mark.parametrize("text", [" lab: 50 ,+3 , -4 + Warmer ", "LAB:50,3,-4+warmer", "lab:50., +3.0,-4 +WARMER"])
def test_spaces_case_and_signs_do_not_matter(text):
    wanted = parse_wanted(text)
    assert (wanted.kind, wanted.lab, wanted.steps) == ("lab", (50.0, 3.0, -4.0), ("warmer",))


def test_a_word_keeps_its_letters_and_loses_spare_spaces():
    assert parse_wanted("  Tide   Böx ").reference == "Tide Böx"


@pytest.mark.parametrize(
    ("text", "mend"),
    [
        ("", "Give #rrggbb"),
        ("   ", "Give #rrggbb"),
        ("+warmer", "Give #rrggbb"),
        ("#c8553", "six digits"),
        ("c8553d", "Write #c8553d"),
        ("lab:46,7,42,5,37,7", "with a point"),
        ("lab:46,7", "with a point"),
        ("lab:a,b,c", "with a point"),
        ("lab:50,,3", "with a point"),
        ("lab:nan,0,0", "with a point"),
        ("lab:150,0,0", "scale of 0 to 100"),
        ("lch:50,-3,20", "180 degrees"),
        ("swatch:", "swatch:UID"),
        ("hsl:20,30,40", "Give #rrggbb"),
        ("46, 3", "Give #rrggbb"),
        ("brick red +brighter", "Use +warmer"),
        ("brick red +", "Use +warmer"),
        ("+warmer brick red", "Give #rrggbb"),
    ],
)
def test_what_cannot_be_read_is_refused_with_a_way_to_mend_it(text, mend):
    with pytest.raises(InputError) as caught:
        parse_wanted(text)
    assert mend in caught.value.mend


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text):
    try:
        read = parse_wanted(text).reference
    except InputError as refused:
        read = refused.mend
    assert read


@given(
    st.tuples(st.floats(0, 100), st.floats(-100, 100), st.floats(-100, 100)),
    st.lists(st.sampled_from(STEPS), max_size=5),
)
def test_numbers_come_back_as_they_were_typed(lab, steps):
    # Numbers as a person types them, without exponents.
    typed = [f"{part:.4f}" for part in lab]
    wanted = parse_wanted("lab:" + ",".join(typed) + "".join(f" +{step}" for step in steps))
    assert wanted.lab == tuple(float(part) for part in typed)
    assert wanted.steps == tuple(steps)


MIDDLING = [(50, 40, 30), (60, -10, -40), (40, -25, 20), (70, 5, 60), (55, 10, 0.5)]


@pytest.mark.parametrize("lab", MIDDLING)
@pytest.mark.parametrize("step", STEPS)
def test_a_step_with_room_is_one_step_long(lab, step):
    assert delta_e_2000(lab, apply_steps(lab, [step])) == pytest.approx(STEP_SIZE, abs=1e-6)


@pytest.mark.parametrize("lab", MIDDLING)
def test_a_step_moves_its_own_quantity_alone(lab):
    before = lab_to_lch(lab)
    for step, moved, sign in (("lighter", 0, 1), ("darker", 0, -1), ("cleaner", 1, 1), ("duller", 1, -1)):
        change = lab_to_lch(apply_steps(lab, [step])) - before
        assert change[moved] * sign > 0
        assert np.delete(change, moved) == pytest.approx((0, 0), abs=1e-9)


def way_to(hue: float, lab: np.ndarray) -> float:
    return abs((float(lab_to_lch(lab)[2]) - hue + 180) % 360 - 180)


@pytest.mark.parametrize("lab", MIDDLING)
def test_warmer_nears_orange_and_cooler_nears_blue_at_the_same_chroma(lab):
    for step, hue in (("warmer", 55), ("cooler", 235)):
        after = apply_steps(lab, [step])
        assert way_to(hue, after) < way_to(hue, np.array(lab, dtype=float))
        assert lab_to_lch(after)[:2] == pytest.approx(lab_to_lch(lab)[:2], abs=1e-9)


def test_orange_gets_no_warmer_than_orange():
    orange = apply_steps((60, 30, 40), ["warmer"] * 3)
    assert lab_to_lch(orange)[2] == pytest.approx(55)
    assert apply_steps(orange, ["warmer"]) == pytest.approx(orange, abs=1e-9)


def test_the_very_blue_warms_through_violet():
    blue = np.array([50, 40 * np.cos(np.radians(235)), 40 * np.sin(np.radians(235))])
    assert lab_to_lch(apply_steps(blue, ["warmer"]))[2] > 235


def test_a_grey_is_tinted():
    assert lab_to_lch(apply_steps((50, 0, 0), ["warmer"]))[2] == pytest.approx(55)
    assert lab_to_lch(apply_steps((50, 0, 0), ["cooler"]))[2] == pytest.approx(235)
    assert apply_steps((50, 0, 0), ["cleaner"]).tolist() == [50, 0, 0]


def test_a_brightened_paper_gets_no_lighter():
    assert apply_steps((104, 2, -8), ["lighter"]).tolist() == [104, 2, -8]


@given(
    st.tuples(st.floats(0, 100), st.floats(-80, 80), st.floats(-80, 80)),
    st.lists(st.sampled_from(STEPS), max_size=8),
)
def test_steps_never_leave_the_scales(lab, steps):
    L, C, _ = lab_to_lch(apply_steps(lab, steps))
    assert 0 <= L <= 100
    assert 0 <= C <= 128 + 1e-9
    assert apply_steps(lab, []).tolist() == list(lab)


@pytest.mark.parametrize(("lab", "steps"), [((500, 0, 0), []), (np.zeros((2, 3)), []), ((50, 0), ["warmer"])])
def test_what_is_not_one_colour_takes_no_steps(lab, steps):
    with pytest.raises(ColourError):
        apply_steps(lab, steps)


def test_an_unknown_step_is_refused():
    with pytest.raises(InputError, match="no step"):
        apply_steps((50, 0, 0), ["brighter"])
