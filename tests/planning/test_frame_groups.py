"""Frames fall into groups by card and pause, and above all stay in their order."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from archive.planning.frame_groups import Frame, Group, group_frames

NINE = datetime(2026, 3, 5, 9, 0)


def shot(number: int, minute: float | None = None, code: str | None = None) -> Frame:
    taken_on = None if minute is None else NINE + timedelta(minutes=minute)
    return Frame(f"frame_{number:03}.jpg", taken_on, code)


def names(groups: list[Group]) -> list[list[str]]:
    return [[frame.name[6:9] for frame in group.frames] for group in groups]


def test_what_follows_a_place_card_lies_there() -> None:
    groups = group_frames([shot(1, 0, "BOX 3"), shot(2, 1), shot(3, 2), shot(4, 3, "BOX 14"), shot(5, 4)])
    assert [(group.place, group.because) for group in groups] == [("BOX 3", "card"), ("BOX 14", "card")]
    assert names(groups) == [["001", "002", "003"], ["004", "005"]]


def test_frames_before_the_first_card_have_no_place() -> None:
    groups = group_frames([shot(1, 0), shot(2, 1, "BOX 3"), shot(3, 2)])
    assert [group.place for group in groups] == [None, "BOX 3"]
    assert groups[0].because == "start"


def test_a_card_photographed_twice_begins_one_group() -> None:
    groups = group_frames([shot(1, 0, "BOX 3"), shot(2, 0.2, "BOX 3"), shot(3, 2)])
    assert names(groups) == [["001", "002", "003"]]


def test_the_same_card_shown_again_later_goes_on() -> None:
    groups = group_frames([shot(1, 0, "BOX 3"), shot(2, 1), shot(3, 2, "BOX 3"), shot(4, 3)])
    assert len(groups) == 1


def test_a_card_in_the_middle_changes_the_place_from_there_on() -> None:
    groups = group_frames([shot(1, 0, "BOX 3"), shot(2, 1), shot(3, 2, "DRAWER 5"), shot(4, 3), shot(5, 4, "BOX 3")])
    assert [group.place for group in groups] == ["BOX 3", "DRAWER 5", "BOX 3"]


def test_a_pause_begins_a_group_in_the_same_place() -> None:
    groups = group_frames([shot(1, 0, "BOX 3"), shot(2, 1), shot(3, 45), shot(4, 46)], pause_minutes=20)
    assert [(group.place, group.because) for group in groups] == [("BOX 3", "card"), ("BOX 3", "pause")]
    assert names(groups) == [["001", "002"], ["003", "004"]]


def test_a_night_is_a_pause() -> None:
    assert len(group_frames([shot(1, 0), shot(2, 24 * 60)])) == 2


def test_a_clock_that_fell_back_to_1904_does_not_part_the_frames() -> None:
    fallen = [Frame(f"frame_{n:03}.jpg", datetime(1904, 1, 1, 0, n)) for n in (3, 4)]
    groups = group_frames([shot(1, 0, "BOX 3"), shot(2, 1), *fallen, shot(5, 9)])
    assert names(groups) == [["001", "002", "003", "004", "005"]]


def test_a_dead_battery_that_resets_the_clock_to_2000_goes_on_by_order() -> None:
    reset = [Frame("frame_003.jpg", datetime(2000, 1, 1, 0, 0)), Frame("frame_004.jpg", datetime(2000, 1, 1, 0, 2))]
    groups = group_frames([shot(1, 0), shot(2, 1), *reset, shot(5, 30)])
    assert len(groups) == 1


def test_a_wrong_clock_still_tells_its_own_pauses() -> None:
    wrong = [
        Frame(f"frame_{n}.jpg", datetime(2007, 8, 1, 3, 0) + timedelta(minutes=m)) for n, m in enumerate((0, 1, 50))
    ]
    assert [len(group.frames) for group in group_frames(wrong)] == [2, 1]


def test_files_copied_days_later_without_times_stay_in_order() -> None:
    groups = group_frames([shot(1, None, "BOX 3"), shot(2), shot(3), shot(4, None, "BOX 4"), shot(5)])
    assert names(groups) == [["001", "002", "003"], ["004", "005"]]


def test_times_with_and_without_a_zone_are_not_compared() -> None:
    zoned = Frame("frame_002.jpg", (NINE + timedelta(hours=5)).replace(tzinfo=UTC))
    assert len(group_frames([shot(1, 0), zoned])) == 1


def test_no_frames_make_no_groups() -> None:
    assert group_frames([]) == []


any_frame = st.builds(
    Frame,
    name=st.text(min_size=1, max_size=8),
    taken_on=st.none() | st.datetimes(datetime(1904, 1, 1), datetime(2060, 1, 1)) | st.just(NINE),
    code=st.none() | st.sampled_from(["BOX 3", "BOX 14", "DRAWER 5"]),
)
any_frames = st.lists(any_frame, max_size=30)


@given(any_frames, st.floats(0.1, 600))
def test_every_frame_is_in_exactly_one_group_and_the_order_is_kept(frames: list[Frame], pause: float) -> None:
    groups = group_frames(frames, pause_minutes=pause)
    assert [frame for group in groups for frame in group.frames] == frames
    assert all(group.frames for group in groups)


@given(any_frames)
def test_a_frame_lies_where_the_last_card_says(frames: list[Frame]) -> None:
    last = None
    for group in group_frames(frames):
        for frame in group.frames:
            last = frame.code or last
            assert group.place == last or (last is None and group.place is None)


@given(any_frames)
def test_a_longer_pause_never_makes_more_groups(frames: list[Frame]) -> None:
    assert len(group_frames(frames, pause_minutes=60)) <= len(group_frames(frames, pause_minutes=10))
