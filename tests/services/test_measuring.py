"""Which reading of a swatch stands: method, condition, settled, newest; equals are averaged."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import select

from archive.catalogue.database import Catalogue
from archive.catalogue.models import Change, Measurement, Swatch
from archive.errors import ArchiveError
from archive.services.changes import undo
from archive.services.measuring import set_standing, stand
from archive.services.profile import set_profile
from archive.services.swatch_list import list_swatches, show_swatch
from archive.services.swatches import measure_again
from tests.acts import act
from tests.services.make import Patch, ask, bring_in, enter_house

START = {"conditions": ["M1", "M0", "M2"], "settled_hours": 24}
PRINTED = "2024-05-01"


def reading(number: int, lab_l: float = 50.0, **facts: Any) -> Measurement:
    """Return a reading by instrument under M1, two days after printing, unless said."""
    start = {"method": "instrument", "condition": "M1", "hours_after": 48.0, "measured_on": "2024-05-03"}
    return Measurement(id=number, lab_l=lab_l, lab_a=0.0, lab_b=0.0, **{**start, **facts})


def standing(*found: Measurement, profile: dict[str, Any] = START) -> Swatch:
    swatch = Swatch(printed_on=PRINTED)
    stand(swatch, found, profile)
    return swatch


# each is better than the next, whatever comes after in the order
IN_ORDER = [
    {"measured_on": "2024-06-01"},
    {"measured_on": "2024-05-03"},
    {"measured_on": None},
    {"hours_after": 2.0, "measured_on": "2024-07-01"},
    {"condition": "M0", "measured_on": "2025-01-01"},
    {"condition": "M2", "measured_on": "2025-01-01"},
    {"condition": "M3", "measured_on": "2025-01-01"},
    {"method": "camera", "condition": "camera", "measured_on": "2025-01-01"},
    {"method": "picture", "condition": "camera", "measured_on": "2025-01-01"},
    {"method": "eye", "condition": "eye", "measured_on": "2025-01-01"},
]


@pytest.mark.parametrize(("better", "worse"), list(itertools.combinations(range(len(IN_ORDER)), 2)))
def test_the_better_reading_stands_whichever_came_first(better: int, worse: int) -> None:
    first, second = reading(1, 10, **IN_ORDER[better]), reading(2, 20, **IN_ORDER[worse])
    for found in ([first, second], [second, first]):
        swatch = standing(*found)
        assert (swatch.standing_id, swatch.lab_l) == (1, 10)
        assert (swatch.method, swatch.condition) == (first.method, first.condition)
        assert swatch.measured_on == first.measured_on


def test_a_condition_that_was_not_told_comes_after_those_of_the_profile() -> None:
    assert standing(reading(1, 10, condition=None), reading(2, 20, condition="M2")).lab_l == 20


def test_the_profile_chooses_the_condition() -> None:
    found = [reading(1, 10, condition="M1"), reading(2, 20, condition="M2")]
    assert standing(*found).lab_l == 10
    assert standing(*found, profile={**START, "conditions": ["M2", "M1"]}).lab_l == 20


@pytest.mark.parametrize(("hours", "settled"), [(23.9, False), (24.0, True)])
def test_a_reading_has_settled_after_a_day(hours: float, settled: bool) -> None:
    newer = reading(1, 10, hours_after=hours, measured_on="2024-06-01")
    older = reading(2, 20, hours_after=30.0, measured_on="2024-05-02")
    assert standing(newer, older).lab_l == (10 if settled else 20)


def test_without_hours_the_days_between_tell_whether_it_has_settled() -> None:
    same_day = reading(1, 10, hours_after=None, measured_on=PRINTED)
    older = reading(2, 20, hours_after=24.0, measured_on="2024-04-30")
    assert standing(same_day, older).lab_l == 20
    next_day = reading(3, 30, hours_after=None, measured_on="2024-05-02")
    assert standing(same_day, older, next_day).lab_l == 30


@given(st.lists(st.floats(0, 100), min_size=1, max_size=6), st.lists(st.integers(1, 9), min_size=6, max_size=6))
def test_equals_are_averaged_and_their_readings_counted(numbers: list[float], counts: list[int]) -> None:
    found = [
        reading(number, lab_l, n=count) for number, (lab_l, count) in enumerate(zip(numbers, counts, strict=False), 1)
    ]
    swatch = standing(reading(99, 1000, condition="M0"), *found)
    assert swatch.lab_l == pytest.approx(sum(numbers) / len(numbers))
    assert swatch.n == sum(counts[: len(numbers)])
    assert swatch.standing_id == len(numbers)  # the last that was added


def test_a_swatch_without_readings_has_no_colour() -> None:
    swatch = standing(reading(1, 10, spread=0.4, n=3))
    stand(swatch, [], START)
    told = (swatch.lab_l, swatch.lab_a, swatch.lab_b, swatch.method, swatch.condition, swatch.spread, swatch.n)
    assert told == (None,) * 7
    assert swatch.measured_on is None


@pytest.fixture
def patch(catalogue: Catalogue, tmp_path: Path) -> tuple[Catalogue, str]:
    enter_house(catalogue)
    bring_in(catalogue, tmp_path, Patch("1", (60, 0, 40), [("Dockrope", 60)], more={"measured_on": "2024-05-03"}))
    with catalogue.read() as session:
        return catalogue, list_swatches(session)[0].uid


def again(catalogue: Catalogue, uid: str, lab: str, **facts: Any) -> None:
    given = {"method": "instrument", "condition": None, "instrument": "", "measured_on": None, "hours_after": None}
    with catalogue.write(act("measure again")) as session:
        measure_again(session, uid, lab, {**given, **facts})


def test_measuring_again_keeps_the_older_reading_and_answers_by_the_better(patch: tuple[Catalogue, str]) -> None:
    catalogue, uid = patch
    again(catalogue, uid, "58,0,38", condition="M1", measured_on="2024-06-01")
    with catalogue.read() as session:
        shown = show_swatch(session, uid)
        labs = session.execute(select(Measurement.lab_l, Measurement.lab_b).order_by(Measurement.id)).all()
    assert (shown.lab, shown.readings) == ((58, 0, 38), 2)
    assert labs == [(60, 40), (58, 38)]
    assert ask(catalogue, "lab:58,0,38").matches[0].delta_e_2000 == 0
    again(catalogue, uid, "20,0,0", method="eye")  # an eye does not overrule an instrument
    assert ask(catalogue, "lab:58,0,38").matches[0].delta_e_2000 == 0


def test_undoing_a_reading_brings_the_older_colour_back(patch: tuple[Catalogue, str]) -> None:
    catalogue, uid = patch
    again(catalogue, uid, "58,0,38", condition="M1", measured_on="2024-06-01")
    with catalogue.read() as session:
        change_id = session.scalars(select(Change.id).order_by(Change.id.desc())).first()
    assert change_id is not None
    with catalogue.write(act("undo", kind="undo", undoes_id=change_id)) as session:
        undo(session, change_id)
    with catalogue.read() as session:
        shown = show_swatch(session, uid)
    assert (shown.lab, shown.readings, shown.measured_on) == ((60, 0, 40), 1, "2024-05-03")


def test_a_new_order_of_conditions_is_followed_when_the_standing_is_set(patch: tuple[Catalogue, str]) -> None:
    catalogue, uid = patch
    again(catalogue, uid, "58,0,38", condition="M1", measured_on="2024-06-01")
    again(catalogue, uid, "57,0,37", condition="M2", measured_on="2024-06-01")
    with catalogue.write(act()) as session:
        set_profile(session, "conditions", "M2,M1")
        set_standing(session, session.scalars(select(Swatch.id)))
    with catalogue.read() as session:
        assert show_swatch(session, uid).lab == (57, 0, 37)


@pytest.mark.parametrize("facts", [{"method": "camera"}, {"condition": "M9"}, {"measured_on": "soon"}])
def test_a_reading_that_cannot_be_read_is_refused(patch: tuple[Catalogue, str], facts: dict[str, Any]) -> None:
    catalogue, uid = patch
    with pytest.raises(ArchiveError):
        again(catalogue, uid, "58,0,38", **facts)
    with catalogue.read() as session:
        assert show_swatch(session, uid).readings == 1
