"""Which frames of a sitting belong together, told from cards, pauses and above all from their order.

The order in which frames are given is the order in which they were taken; clocks are believed only between
neighbours. A camera whose battery died starts again in 1904, 1970 or 2000, copying by cable may lose the time or give
all files the same: such frames simply go on with the group before them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

PAUSE_MINUTES = 20.0  # the workshop's to change [common practice: fetching the next box takes less]
EARLIEST_YEAR = 1990  # no camera's file is older: an earlier year is a clock that was never set [own choice]
LONGEST_PAUSE = timedelta(days=31)  # more between neighbours is a clock that was set meanwhile [own choice]

Because = Literal["start", "card", "pause"]


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture file: its name, when it says it was taken, and the code of a place card seen in it."""

    name: str
    taken_on: datetime | None = None
    code: str | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """Frames that follow each other in one place; `place` is the card's code, None before the first card.

    `because` tells what began it: the first frame, a place card, or a pause (the place then goes on).
    """

    place: str | None
    frames: tuple[Frame, ...]
    because: Because


def group_frames(frames: Sequence[Frame], *, pause_minutes: float = PAUSE_MINUTES) -> list[Group]:
    """Return the frames in groups, each frame in exactly one, in the order given.

    A place card begins a group that holds it and what follows. The same card again, photographed twice or shown once
    more, begins none.

    Parameters
    ----------
    pause_minutes : float
        A break of at least this long between two neighbours begins a group.
    """
    groups: list[Group] = []
    gathered: list[Frame] = []
    place: str | None = None
    because: Because = "start"
    for frame in frames:
        began = _begins(frame, gathered, place, pause_minutes)
        if began is not None:
            groups.append(Group(place, tuple(gathered), because))
            gathered, because = [], began
        gathered.append(frame)
        place = frame.code or place
        if len(gathered) == 1 and not groups and frame.code:
            because = "card"
    return [*groups, Group(place, tuple(gathered), because)] if gathered else groups


def _begins(frame: Frame, gathered: list[Frame], place: str | None, pause_minutes: float) -> Because | None:
    """Return why a frame begins a group of its own, or None where it belongs to what was gathered."""
    if not gathered:
        return None
    if frame.code and frame.code != place:
        return "card"
    pause = _pause(gathered[-1].taken_on, frame.taken_on)
    return "pause" if pause is not None and pause >= timedelta(minutes=pause_minutes) else None


def _pause(before: datetime | None, after: datetime | None) -> timedelta | None:
    """Return the time between two neighbours where both clocks can be believed, else None."""
    if before is None or after is None or min(before.year, after.year) < EARLIEST_YEAR:
        return None
    if (before.tzinfo is None) != (after.tzinfo is None):
        return None  # one of them does not say where its clock stood
    between = after - before
    return between if timedelta(0) <= between <= LONGEST_PAUSE else None
