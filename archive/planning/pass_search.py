"""The search behind a pass plan: what goes in which pass, on which machine, with which drums.

The rules are common practice of the trade: a machine prints as many inks in one pass as it takes drums (two,
as a rule), and only if every drum of the pass fits that machine; position 1 prints first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Literal

from archive.errors import InputError

Layer = tuple[str, int | None]  # ink, the pass that the recipe gives it

_Place = tuple[str, int | None]  # machine, position
_Places = tuple[_Place | None, ...]  # where each drum of the search sits
_Group = tuple[int, str, tuple[int, ...], tuple[int, ...]]  # end, machine, drums, their positions
_Rank = tuple[str, tuple[tuple[bool, int, str], ...], tuple[int, ...]]  # settles ties
_Way = tuple[int, tuple[_Rank, ...], tuple[_Group, ...]]  # drum changes, rank, the groups so far


@dataclass(frozen=True, slots=True)
class DrumState:
    """A drum: what is in it, which machines it fits, where it is.

    `fits` names machines; None fits every machine. `machine` and `position` say where a loaded drum sits; one
    whose position was never written down is taken to sit right. An empty drum counts as a change wherever it
    is: it has to be filled.
    """

    number: str
    ink: str
    fits: frozenset[str] | None = None
    machine: str | None = None
    position: int | None = None
    state: Literal["loaded", "away", "empty"] = "away"


@dataclass(frozen=True, slots=True)
class MachineState:
    """A machine: how many drums it takes at a time, and whether it is in the house."""

    name: str
    drums: int = 2
    in_house: bool = True

    def __post_init__(self) -> None:
        if self.drums < 1:
            template = "machine {name} cannot take {drums} drums"
            raise InputError(template, name=self.name, drums=self.drums, mend="Give 1 or more.")


@dataclass(frozen=True, slots=True)
class PlannedLayer:
    """One ink of a pass: its drum (None where no drum is recorded), and whether it must be put on first."""

    ink: str
    drum: str | None
    position: int
    is_change: bool


@dataclass(frozen=True, slots=True)
class PlannedPass:
    """One trip of the sheet; `machine` is None where no machine is recorded or none can do it."""

    machine: str | None
    layers: tuple[PlannedLayer, ...]

    @property
    def inks(self) -> tuple[str, ...]:
        """Return the inks in printing order."""
        return tuple(layer.ink for layer in self.layers)


Drums = dict[str, tuple[DrumState, ...]]  # by ink
NOT_RECORDED = ""  # the number that stands in for the drum of an ink without one
ANY_MACHINE = MachineState("")  # takes two drums, whatever they fit


class PassSearch:
    """Every way to lay the layers down in order, one group of neighbours in each pass."""

    def __init__(
        self,
        layers: Sequence[Layer],
        drums: Drums,
        machines: Sequence[MachineState],
        *,
        is_split: bool = False,
    ) -> None:
        self._layers, self._machines, self._is_split = layers, machines, is_split
        self._drums = [drum for of_ink in drums.values() for drum in of_ink]
        self._groups_from: dict[int, list[_Group]] = {}

    def cheapest(self) -> tuple[tuple[PlannedPass, ...], int] | None:
        """Return the passes and drum changes: fewest passes, then fewest changes, then first by name."""
        at_first = tuple(_place(drum) for drum in self._drums)
        frontier: dict[tuple[int, _Places], _Way] = {(0, at_first): (0, (), ())}
        while frontier:
            reached: dict[tuple[int, _Places], _Way] = {}
            for (start, places), (changes, rank, groups) in frontier.items():
                for group in self._groups(start):
                    after, moved = _move(group, places)
                    way = (changes + moved, (*rank, self._rank(group)), (*groups, group))
                    known = reached.get((group[0], after))
                    if known is None or way < known:
                        reached[group[0], after] = way
            done = [way for (end, _), way in reached.items() if end == len(self._layers)]
            if done:
                changes, _, groups = min(done)
                return self._as_passes(groups, at_first), changes
            frontier = reached
        return None

    def _groups(self, start: int) -> list[_Group]:
        if start not in self._groups_from:
            ends = self._ends(start)
            self._groups_from[start] = [group for end in ends for group in self._on_machines(start, end)]
        return self._groups_from[start]

    def _ends(self, start: int) -> list[int]:
        """Return where a pass that begins with this layer may end, by what the recipe gives."""
        ends = []
        for end in range(start + 1, len(self._layers) + 1):
            given = given_together(self._layers, end)
            if given is not True or self._is_split:
                ends.append(end)
            if given is False:
                break
        return ends

    def _on_machines(self, start: int, end: int) -> Iterator[_Group]:
        inks = [ink for ink, _ in self._layers[start:end]]
        for machine in self._machines:
            if len(inks) > machine.drums:
                continue
            fitting = [
                [n for n, drum in enumerate(self._drums) if drum.ink == ink and fits(drum, machine)] for ink in inks
            ]
            for drums in product(*fitting):
                if len(set(drums)) == len(drums):
                    for positions in combinations(range(1, machine.drums + 1), len(drums)):
                        yield end, machine.name, drums, positions

    def _rank(self, group: _Group) -> _Rank:
        _, machine, drums, positions = group
        chosen = [self._drums[n] for n in drums]
        return machine, tuple((drum.state == "empty", len(drum.number), drum.number) for drum in chosen), positions

    def _as_passes(self, groups: Sequence[_Group], places: _Places) -> tuple[PlannedPass, ...]:
        passes = []
        for group in groups:
            _, machine, drums, positions = group
            layers = []
            for n, position in zip(drums, positions, strict=True):
                drum = self._drums[n]
                is_change = not _sits(places[n], (machine, position))
                layers.append(PlannedLayer(drum.ink, drum.number or None, position, is_change))
            passes.append(PlannedPass(machine or None, tuple(layers)))
            places, _ = _move(group, places)
        return tuple(passes)


def _sits(at: _Place | None, wanted: _Place) -> bool:
    return at == wanted or at == (wanted[0], None)


def _move(group: _Group, places: _Places) -> tuple[_Places, int]:
    """Return where the drums sit during a pass, and how many of them had to be put there."""
    _, machine, drums, positions = group
    wanted: list[_Place] = [(machine, position) for position in positions]
    after = [None if place in wanted else place for place in places]
    changes = 0
    for n, place in zip(drums, wanted, strict=True):
        after[n] = place
        changes += not _sits(places[n], place)
    return tuple(after), changes


def given_together(layers: Sequence[Layer], end: int) -> bool | None:
    """Return whether the recipe puts the layers before and after `end` in one pass; None if it says nothing."""
    if end in (0, len(layers)):
        return None
    before, after = layers[end - 1][1], layers[end][1]
    return None if before is None or after is None else before == after


def fits(drum: DrumState, machine: MachineState) -> bool:
    return drum.fits is None or machine is ANY_MACHINE or machine.name in drum.fits


def _place(drum: DrumState) -> _Place | None:
    return (drum.machine, drum.position) if drum.state == "loaded" and drum.machine is not None else None
