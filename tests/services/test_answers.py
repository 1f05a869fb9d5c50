"""What a wanted colour gets for an answer: the contract, and the scenarios of the trade."""

from __future__ import annotations

import dataclasses
import json
import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Layer, Measurement, Paper, Recipe, Swatch
from archive.colour.difference import R95
from archive.colour.spaces import lab_to_hex
from archive.errors import InputError, NotFoundError
from archive.services.answers import Match
from archive.services.lookup import find_record
from archive.services.pictures import add_pictures
from archive.services.profile import set_profile
from archive.services.recipes import recipe_key
from archive.services.swatch_list import list_swatches, name_swatch
from archive.services.told import read_told
from archive.services.works import copy_for_pictures, tell_variant
from tests.acts import act
from tests.archives import Archives
from tests.services.make import CHALKROAD, OATLEAF, Patch, add, ask, bring_in, delta_e, enter_house, lab_text

WHITE = Patch("white", (93, -0.5, 5))
OVERPRINT = [("Dockrope", 100, 1), ("Ferrywake", 60, 1)]
GREEN = (47.0, -24.0, 12.0)


@pytest.fixture
def house(catalogue: Catalogue, monkeypatch: pytest.MonkeyPatch) -> Catalogue:
    monkeypatch.setenv("INKCHEST_TODAY", "2025-03-14")
    enter_house(catalogue, Nettlecoat={"in-house": False})
    return catalogue


def shown(match: Match) -> list[tuple[str, float | None]]:
    return [(layer["ink"], layer["tint"]) for layer in match.layers]


def add_print(
    catalogue: Catalogue, folder: Path, lab: tuple[float, float, float], inks: str, ref: str, title: str = "Nine Tides"
) -> str:
    """Add a work whose one copy has a photo without a colour card: a flat colour on bare paper."""
    add(catalogue, "work", ref, title=title)
    variant = add(catalogue, "variant", None, work=ref)
    add(catalogue, "copy", f"{ref}/1", of=variant)
    with catalogue.write(act("tell")) as session:
        paper_id = find_record(session, "paper", OATLEAF).id
        names = ("Ferrywake", "Dockrope", "Oddlight", "Kilnsong")
        tell_variant(session, find_record(session, "variant", variant), read_told(inks, known_inks=names), paper_id)
    pixels = np.full((300, 400, 3), [248, 244, 233], np.uint8)
    pixels[60:240, 80:320] = [int(lab_to_hex(lab)[at : at + 2], 16) for at in (1, 3, 5)]
    pixels[0, : int(ref[-4:])] = (240, 236, 226)  # no two photos have the same bytes
    path = folder / f"{ref}.png"
    Image.fromarray(pixels).save(path)
    (outcome,) = add_pictures(
        catalogue, [path], act("add"), target=lambda session, _: copy_for_pictures(session, f"{ref}/1")
    )
    assert outcome.picture is not None
    return outcome.picture


# --- the contract


def test_the_keys_are_those_of_the_contract(house: Catalogue, tmp_path: Path) -> None:
    add(house, "machine", "Upstairs")
    bring_in(house, tmp_path, WHITE, Patch("1", GREEN, OVERPRINT, more={"machine": "Upstairs", "screen": "FM"}))
    answer = ask(house, "#3f7059", paper=OATLEAF)
    made = dataclasses.asdict(answer)
    assert list(made) == ["wanted", "out_of_reach", "left_out", "matches", "notes"]  # notes are one more
    assert list(made["wanted"]) == ["lab", "given", "relative_to_paper", "paper"]
    assert [list(each) for each in made["left_out"]] == [["what", "why"]]
    assert list(made["matches"][0]) == [
        *("rank", "evidence", "aged", "delta_e_2000", "uncertainty", "reprint", "verdict", "why_here"),
        *("lab", "in_words", "paper", "layers", "passes", "drum_changes", "settings"),
        *("printable_now", "loaded", "why_not_now", "where_now"),
        *("work", "copy", "picture", "place", "swatch", "measured_on", "also", "notes"),
    ]
    assert [list(layer) for layer in made["matches"][0]["layers"]] == [["ink", "tint", "pass"]] * 2
    assert list(made["matches"][0]["settings"]) == ["machine", "density", "speed", "screen", "fillings"]
    json.dumps(made)  # plain values all through
    far = ask(house, "lab:20,80,-80").out_of_reach
    assert far is not None
    assert list(far) == ["nearest_lab", "delta_e_2000", "misses", "what_next"]


# --- scenarios


def test_scenario_28_a_colour_near_a_proven_overprint_comes_first_with_all_that_is_needed(
    house: Catalogue, tmp_path: Path
) -> None:
    add(house, "machine", "Upstairs")
    add(house, "drum", "2", ink="Ferrywake", machine="Upstairs", position=2)
    add(house, "drum", "3", ink="Dockrope", machine="Upstairs", position=1)
    add(house, "filling", "D02-4", ink="Ferrywake", drum="2")
    add(house, "place", "Plan chest 2", kind="chest")
    place = add(house, "place", "drawer 5", kind="drawer", **{"in": "Plan chest 2"})
    picture = add_print(house, tmp_path, GREEN, "Ferrywake 60 % over Dockrope 100 %", "QA-0042")
    with house.write(act()) as session:
        find_record(session, "copy", "QA-0042/1").place_id = find_record(session, "place", place).id
    run = add(
        house,
        "run",
        "R-7",
        variant="QA-0042",
        printed_on="2019-05-04",
        machine="Upstairs",
        density=4,
        speed=3,
        screen="FM",
        filling=["D02-4"],
    )
    two_passes = [("Dockrope", 100, 1), ("Kilnsong", 20, 1), ("Ferrywake", 60, 2)]
    bring_in(
        house,
        tmp_path,
        WHITE,
        Patch("1", GREEN, OVERPRINT, more={"run": run, "measured_on": "2019-05-06", "spread": 0.5}),
        Patch("2", (47.2, -25.5, 13), two_passes),
        Patch("3", (70, 2, 60), [("Dockrope", 100)]),
    )
    wanted = (47.2, -25.5, 13.0)
    first = ask(house, lab_text(wanted), passes=1).matches[0]
    assert shown(first) == [("Dockrope", 100), ("Ferrywake", 60)]
    assert first.delta_e_2000 == pytest.approx(float(delta_e(wanted, GREEN)), abs=1e-9)
    assert (first.evidence, first.verdict, first.passes, first.drum_changes) == ("proven", "same", 1, 0)
    # reading 0.3 and place 0.9 an axis, the day 1.5 for either run; 2.80 is the 95 % radius of three axes
    assert first.uncertainty == pytest.approx(2.80 * np.sqrt(0.3**2 + 0.9**2), abs=1e-9)
    assert first.reprint == pytest.approx(2.80 * np.sqrt(0.3**2 + 0.9**2 + 1.5**2), abs=1e-9)
    assert (first.work, first.copy) == ({"ref": "QA-0042", "title": "Nine Tides"}, "QA-0042/1")
    assert (first.place, first.where_now, first.picture) == ("Plan chest 2 / drawer 5", "here", picture)
    assert (first.printable_now, first.loaded, first.why_not_now) == (True, True, None)
    assert first.settings == {"machine": "Upstairs", "density": 4, "speed": 3, "screen": "FM", "fillings": ["D02-4"]}
    assert (first.measured_on, first.paper) == ("2019-05-06", OATLEAF)
    assert first.why_here == "printed and measured, on Oatleaf 120, loaded now, one pass"
    assert shown(ask(house, lab_text(wanted)).matches[0]) == [("Dockrope", 100), ("Kilnsong", 20), ("Ferrywake", 60)]


def test_scenario_9_a_frame_without_a_colour_card_is_related_at_best_and_below_what_is_measured(
    house: Catalogue, tmp_path: Path
) -> None:
    bring_in(house, tmp_path, WHITE, Patch("1", (47, -20, 5), OVERPRINT))
    sure = add_print(house, tmp_path, GREEN, "Ferrywake over Dockrope", "QA-0001")
    doubtful = add_print(house, tmp_path, GREEN, "Ferrywake? over Dockrope", "QA-0002")
    seen = next(match for match in ask(house, lab_text(GREEN)).matches if match.evidence == "seen")
    answer = ask(house, lab_text(seen.lab))
    by_kind = {match.evidence: match for match in reversed(answer.matches)}
    assert {kind: match.picture for kind, match in by_kind.items()} == {"proven": None, "seen": sure, "told": doubtful}
    assert by_kind["seen"].delta_e_2000 < 0.01 < 3 < by_kind["proven"].delta_e_2000
    assert [match.evidence for match in answer.matches[:3]] == ["proven", "seen", "told"]
    assert by_kind["seen"].verdict == by_kind["told"].verdict == "related"
    assert by_kind["seen"].uncertainty > 6
    assert [layer["tint"] for layer in by_kind["seen"].layers] == [None, None]
    assert [layer.get("sure") for layer in by_kind["told"].layers] == [None, False]


def test_scenario_26_a_metallic_ink_is_not_offered_and_the_reason_is_told(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, WHITE, Patch("1", (60, 2, 8), [("Tinhymn", 100)]), Patch("2", GREEN, OVERPRINT))
    answer = ask(house, "lab:60,2,8", limit=50)
    assert [shown(match) for match in answer.matches] == [[("Dockrope", 100), ("Ferrywake", 60)]]
    assert answer.left_out == ({"what": "Tinhymn", "why": "metallic: found by name only"},)
    with pytest.raises(NotFoundError, match="Tinhymn is metallic: it is found by name only"):
        ask(house, "Tinhymn")


def test_scenario_27_another_paper_stands_below_an_equal_match_and_says_so(house: Catalogue, tmp_path: Path) -> None:
    bring_in(
        house, tmp_path, WHITE, Patch("1", GREEN, OVERPRINT, paper=CHALKROAD), Patch("2", (47, -22, 12), OVERPRINT)
    )
    first, second = ask(house, lab_text(GREEN), paper=OATLEAF).matches
    assert (first.paper, second.paper) == (OATLEAF, CHALKROAD)
    assert first.delta_e_2000 > second.delta_e_2000 == 0
    assert "other paper: Chalkroad 90" in second.notes
    assert "on Chalkroad 90" in second.why_here
    first, second = ask(house, lab_text(GREEN)).matches  # none asked: any will do
    assert (first.paper, second.paper) == (CHALKROAD, OATLEAF)


def test_scenario_29_a_colour_out_of_reach_names_the_nearest_and_how_it_misses(
    house: Catalogue, tmp_path: Path
) -> None:
    bring_in(house, tmp_path, WHITE, Patch("1", (60, 30, 30), [("Kilnsong", 50)]), Patch("2", GREEN, OVERPRINT))
    for wanted, misses in (((35, 28, 28), "too light"), ((58, 85, 85), "too dull"), ((60, 5, 48), "too red")):
        answer = ask(house, lab_text(wanted))
        out = answer.out_of_reach
        assert out is not None
        assert out["nearest_lab"] == (60, 30, 30)
        assert out["delta_e_2000"] == pytest.approx(float(delta_e(wanted, (60, 30, 30))), abs=1e-9)
        assert misses in out["misses"]
        assert out["what_next"]
        assert [match.verdict for match in answer.matches] == ["far", "far"]  # the nearest are shown all the same
    assert ask(house, "lab:58,32,30").out_of_reach is None


def test_scenario_30_a_retired_drum_comes_last_with_the_reason_and_the_best_printable_first(
    house: Catalogue, tmp_path: Path
) -> None:
    retired = [("Nettlecoat", 80)]
    bring_in(house, tmp_path, WHITE, Patch("1", GREEN, retired), Patch("2", (45, -30, 20), OVERPRINT))
    first, last = ask(house, lab_text(GREEN)).matches
    assert (shown(first), first.printable_now) == ([("Dockrope", 100), ("Ferrywake", 60)], True)
    assert (shown(last), last.printable_now, last.loaded) == ([("Nettlecoat", 80)], False, False)
    assert last.why_not_now == "Nettlecoat is retired: no drum in the house"
    assert "not printable now" in last.why_here
    assert [shown(match) for match in ask(house, lab_text(GREEN), in_house=True).matches] == [shown(first)]


def test_scenario_31_equals_stand_by_passes_then_uid_whatever_row_came_first(
    archives: Archives, tmp_path: Path
) -> None:
    rows = [(number, tint) for number, tint in enumerate([10.0, 20.0, 30.0, 40.0, 50.0, 60.0])]
    orders = []
    for seed in range(4):
        catalogue = archives.start(tmp_path / f"archive-{seed}")
        enter_house(catalogue)
        mixed = rows.copy()
        random.Random(seed).shuffle(mixed)
        with catalogue.write(act()) as session:
            paper: Paper = find_record(session, "paper", OATLEAF)
            inks = [find_record(session, "ink", name).id for name in ("Dockrope", "Ferrywake")]
            for number, tint in mixed:
                passes = (1, 2 if number % 2 else 1)  # every second one took two
                recipe = Recipe(key=f"{recipe_key(paper.id, (), None)}{number}", paper_id=paper.id)
                recipe.layers = [
                    Layer(position=at + 1, print_pass=passes[at], ink_id=inks[at], tint_low=tint, tint_high=tint)
                    for at in (0, 1)
                ]
                session.add(recipe)
                session.flush()
                facts = {"lab_l": 50.0, "lab_a": 0.0, "lab_b": 0.0, "method": "instrument"}
                swatch = Swatch(uid=f"01920000-0000-7000-8000-{number:012d}", recipe_id=recipe.id, **facts)
                session.add(swatch)
                session.flush()
                session.add(Measurement(swatch_id=swatch.id, **facts))
        orders.append([match.layers[0]["tint"] for match in ask(catalogue, "lab:50,0,1", limit=6).matches])
        catalogue.close()
    assert orders == [[10, 30, 50, 20, 40, 60]] * 4


# --- fluorescent inks


def test_an_instrument_matches_fluorescent_ink_under_the_same_condition_only_and_a_camera_never(
    house: Catalogue, tmp_path: Path
) -> None:
    lab = (60.0, 70.0, 40.0)
    conditions = {"M1": 100, "M0": 90, "M2": 80, "camera": 70}
    bring_in(
        house,
        tmp_path,
        *(Patch(name, lab, [("Oddlight", tint)], more={"condition": name}) for name, tint in conditions.items()),
    )
    answer = ask(house, lab_text(lab), limit=50)
    assert [shown(match) for match in answer.matches] == [[("Oddlight", 100)]]
    assert any("fluorescent" in note for note in answer.matches[0].notes)
    why = {item["why"]: item["what"] for item in answer.left_out if item["what"] != "Tinhymn"}
    assert why == {
        "fluorescent ink, not measured under M1: readings under other light cannot be compared": "2 swatches",
        "fluorescent ink: a camera's reading never matches; found by name": "1 swatch",
    }
    with house.write(act()) as session:
        set_profile(session, "conditions", "M2,M1")
    assert [shown(match) for match in ask(house, lab_text(lab), limit=50).matches] == [[("Oddlight", 80)]]


def test_a_photo_of_a_fluorescent_print_never_matches_by_colour(house: Catalogue, tmp_path: Path) -> None:
    add_print(house, tmp_path, (60, 60, 40), "Oddlight over Dockrope", "QA-0001", "Bus Stop Choir")
    answer = ask(house, "lab:60,60,40", limit=50)
    assert answer.matches == ()
    assert [item["what"] for item in answer.left_out] == ["Tinhymn", "Bus Stop Choir"]


# --- on which paper, and how a colour may be asked for


def test_the_white_of_a_screen_is_the_bare_paper(house: Catalogue, tmp_path: Path) -> None:
    bring_in(
        house,
        tmp_path,
        WHITE,
        Patch("2", (91, 0.5, 7)),
        Patch("3", GREEN, OVERPRINT),
        Patch("4", (95, 1, -3), paper=CHALKROAD),
    )
    on_oatleaf, on_chalkroad = ask(house, "#ffffff"), ask(house, "#ffffff", paper="chalkroad 90")
    assert on_oatleaf.wanted["lab"] == pytest.approx((92, 0, 6), abs=1e-6)  # the mean of its two bare patches
    assert (on_oatleaf.wanted["paper"], on_oatleaf.wanted["relative_to_paper"]) == (OATLEAF, True)
    assert on_chalkroad.wanted["lab"] == pytest.approx((95, 1, -3), abs=1e-6)
    absolute = ask(house, "#ffffff", absolute=True)
    assert absolute.wanted["lab"] == pytest.approx((100, 0, 0), abs=0.01)
    assert absolute.wanted["relative_to_paper"] is False
    assert ask(house, lab_text(GREEN)).wanted["lab"] == pytest.approx(GREEN, abs=1e-6)  # measured: absolute


def test_a_paper_never_measured_takes_the_start_white_and_says_so(house: Catalogue, tmp_path: Path) -> None:
    bring_in(house, tmp_path, WHITE, Patch("3", GREEN, OVERPRINT))
    answer = ask(house, "#ffffff", paper=CHALKROAD)
    assert answer.wanted["lab"] == pytest.approx((92, 0, 5), abs=1e-6)  # the profile's, common practice
    assert "Chalkroad 90, whose white was never measured" in answer.notes[0]
    assert "its white is bare paper" in ask(house, "#ffffff").notes[0]
    with house.write(act()) as session:
        set_profile(session, "house_paper", CHALKROAD)
    assert ask(house, "#ffffff").wanted["paper"] == CHALKROAD


def test_an_old_sheet_is_aged_and_widened(house: Catalogue, tmp_path: Path) -> None:
    old = Patch("1", GREEN, OVERPRINT, more={"printed_on": "2015-03-01", "measured_on": "2025-01-01"})
    young = Patch("2", (60, 30, 30), [("Kilnsong", 50)], more={"printed_on": "2015-03-20"})
    bring_in(house, tmp_path, old, young)
    match = ask(house, lab_text(GREEN)).matches[0]
    assert (match.aged, match.verdict) == (True, "close")
    assert match.uncertainty == pytest.approx(2.80 * np.sqrt(0.3**2 + 0.9**2 + 1.5**2), abs=1e-9)
    assert any(note.startswith("aged") for note in match.notes)
    assert ask(house, "lab:60,30,30").matches[0].aged is False


def test_a_reading_that_was_spread_out_is_known_less_well(house: Catalogue, tmp_path: Path) -> None:
    even = Patch("1", GREEN, OVERPRINT, more={"spread": 0.4})
    bring_in(house, tmp_path, even, Patch("2", (60, 30, 30), [("Kilnsong", 50)], more={"spread": 3.2}))
    narrow, wide = ask(house, lab_text(GREEN)).matches[0], ask(house, "lab:60,30,30").matches[0]
    assert narrow.uncertainty == pytest.approx(R95 * np.sqrt(0.3**2 + 0.9**2))
    # a mean CIEDE2000 of 3.2 counts as 3.2 / 1.6 an axis
    assert wide.uncertainty == pytest.approx(R95 * np.sqrt(0.3**2 + 2.0**2))


def test_a_colour_is_asked_for_by_swatch_name_ink_word_and_steps(house: Catalogue, tmp_path: Path) -> None:
    bring_in(
        house,
        tmp_path,
        WHITE,
        Patch("1", GREEN, OVERPRINT),
        Patch("2", (55, 50, 30), [("Kilnsong", 100)]),
        Patch("3", (56, 51, 30), [("Kilnsong", 100)], paper=CHALKROAD),
        Patch("4", (75, 20, 15), [("Kilnsong", 30)]),
    )
    with house.write(act()) as session:
        uid = next(swatch.uid for swatch in list_swatches(session) if swatch.sample == "1")
        name_swatch(session, uid, "Été moss")
    assert ask(house, f"swatch:{uid}").wanted["lab"] == pytest.approx(GREEN)
    assert ask(house, "ete  MOSS").wanted["lab"] == pytest.approx(GREEN)
    assert ask(house, "kilnsong").wanted["lab"] == pytest.approx((55, 50, 30))
    assert ask(house, "kilnsong", paper=CHALKROAD).wanted["lab"] == pytest.approx((56, 51, 30))
    plain, darker = ask(house, "dusty green").wanted["lab"], ask(house, "dusty green+darker").wanted["lab"]
    assert darker[0] < plain[0] - 3
    assert ask(house, "dusty green").wanted["relative_to_paper"] is True
    cleaner = ask(house, f"swatch:{uid}+cleaner").wanted["lab"]
    assert np.hypot(*cleaner[1:]) > np.hypot(*GREEN[1:]) + 3
    with pytest.raises(InputError, match="no colour word and no name given here"):
        ask(house, "glorp")
    with pytest.raises(NotFoundError, match="the solid of Gullbone was neither measured nor told"):
        ask(house, "Gullbone")
    with pytest.raises(NotFoundError, match="no measured swatch"):
        ask(house, "swatch:0192")


def test_an_ink_by_eye_answers_as_told_until_it_is_measured(house: Catalogue, tmp_path: Path) -> None:
    with house.write(act()) as session:
        find_record(session, "ink", "Ferrywake").looks = "#2a5ea8"
    answer = ask(house, "#2a5ea8")
    (match,) = answer.matches
    assert (match.evidence, match.verdict, shown(match)) == ("told", "related", [("Ferrywake", 100)])
    assert match.delta_e_2000 == pytest.approx(0, abs=1e-6)
    # an eye's 2.9 an axis is known to 8
    assert match.uncertainty == pytest.approx(2.80 * 2.9, abs=1e-9)
    bring_in(house, tmp_path, Patch("1", (42, 5, -40), [("Ferrywake", 100)]))
    assert ask(house, "ferrywake").wanted["lab"] == pytest.approx((42, 5, -40))


# --- filters, and nothing to show


def test_an_empty_archive_names_the_one_thing_to_do(catalogue: Catalogue, tmp_path: Path) -> None:
    answer = ask(catalogue, "#c8553d")
    assert answer.matches == ()
    assert answer.out_of_reach == {
        "nearest_lab": None,
        "delta_e_2000": None,
        "misses": [],
        "what_next": 'Enter one print: inkchest work add --inks "blue over yellow" --picture FILE',
    }
    enter_house(catalogue)
    bring_in(catalogue, tmp_path, WHITE)  # a white alone answers nothing
    out = ask(catalogue, "#c8553d").out_of_reach
    assert out is not None
    assert out["what_next"].startswith("Enter one print")


def test_photos_without_inks_ask_to_be_told(house: Catalogue, tmp_path: Path) -> None:
    add_print(house, tmp_path, GREEN, "blue over yellow", "QA-0001")
    with house.write(act()) as session:
        find_record(session, "variant", "QA-0001").recipe_id = None
    answer = ask(house, "#c8553d")
    assert answer.out_of_reach is not None
    assert answer.out_of_reach["what_next"].startswith("Tell the inks of a print that has a photo")
    assert {"what": "1 picture", "why": "no inks are told for the print"} in answer.left_out


def test_loaded_and_with_answer_what_can_be_printed_tonight(house: Catalogue, tmp_path: Path) -> None:
    add(house, "machine", "Upstairs")
    for number, ink in enumerate(("Kilnsong", "Dockrope"), 1):
        add(house, "drum", str(number), ink=ink, machine="Upstairs", position=number)
    bring_in(
        house,
        tmp_path,
        Patch("1", (50, 0, 0), [("Ferrywake", 50)]),
        Patch("2", (51, 0, 0), [("Kilnsong", 50), ("Dockrope", 50)]),
        Patch("3", (52, 0, 0), [("Dockrope", 50)]),
    )

    def tonight(**options: Any) -> list[list[str]]:
        return [[ink for ink, _ in shown(match)] for match in ask(house, "lab:50,0,0", **options).matches]

    assert tonight(loaded=True) == [["Kilnsong", "Dockrope"], ["Dockrope"]]
    assert tonight(with_inks=("ferrywake", "DOCKROPE")) == [["Ferrywake"], ["Dockrope"]]
    assert tonight(evidence=("seen",)) == []
    answer = ask(house, "lab:50,0,0", evidence=("seen",))
    assert answer.out_of_reach is not None
    assert answer.out_of_reach["what_next"] == "Nothing fits these conditions: ask again with fewer of them"


@pytest.mark.parametrize(
    ("options", "error", "words"),
    [
        ({"paper": "Oatleef"}, NotFoundError, "Did you mean Oatleaf 120"),
        ({"with_inks": ("Feriwake",)}, NotFoundError, "Did you mean Ferrywake"),
        ({"evidence": ("certain",)}, InputError, "certain is no kind of evidence"),
    ],
)
def test_what_is_not_known_is_named(house: Catalogue, options: dict[str, Any], error: type, words: str) -> None:
    with pytest.raises(error, match=words):
        ask(house, "#c8553d", **options)


def test_no_paper_left_and_order_unknown_are_noted(house: Catalogue, tmp_path: Path) -> None:
    with house.write(act()) as session:
        find_record(session, "paper", OATLEAF).sheets_left = 0
    add_print(house, tmp_path, GREEN, "Ferrywake and Dockrope", "QA-0001")
    (match,) = ask(house, lab_text(GREEN), limit=1).matches
    assert {f"no {OATLEAF} is left", "order unknown", 'told: "Ferrywake and Dockrope"'} <= set(match.notes)
