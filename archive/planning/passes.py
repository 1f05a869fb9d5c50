"""How a set of inks goes through the machines: passes, drums, and what has to be changed first.

The rules are common practice of the trade: a machine prints as many inks in one pass as it takes drums (two,
as a rule), and only if every drum of the pass fits that machine; three or four inks mean a second pass and a
wait; position 1 prints first. Nothing here knows a database.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import accumulate

from archive.errors import InputError, NotFoundError, Notice
from archive.planning.pass_search import (
    ANY_MACHINE,
    NOT_RECORDED,
    Drums,
    DrumState,
    Layer,
    MachineState,
    PassSearch,
    PlannedLayer,
    PlannedPass,
    fits,
    given_together,
)

__all__ = [
    "DrumState",
    "MachineState",
    "PassPlan",
    "PassPlanner",
    "PlannedLayer",
    "PlannedPass",
    "plan_passes",
]

_MOST_LAYERS = 8  # beyond this the search would be slow, and no sheet carries more


@dataclass(frozen=True, slots=True)
class PassPlan:
    """How a set of inks would be printed.

    Attributes
    ----------
    passes : tuple of PlannedPass
        In printing order. Filled in also when it cannot be printed now: then it says how it would go.
    drum_changes : int
        Drums to put on, swap or fill against what is loaded now.
    printable_now : bool
        The inks and machines are in the house, and a pass that the recipe gives can be kept.
    why_not_now : Notice or None
        The reason, where it is not printable.
    notes : tuple of Notice
        What to know besides.
    """

    passes: tuple[PlannedPass, ...]
    drum_changes: int
    printable_now: bool
    why_not_now: Notice | None = None
    notes: tuple[Notice, ...] = ()

    @property
    def count(self) -> int:
        """Return the number of passes."""
        return len(self.passes)

    @property
    def loaded(self) -> bool:
        """Return whether it can be printed as the drums sit now."""
        return self.printable_now and self.drum_changes == 0


def plan_passes(
    layers: Sequence[str | Layer],
    drums: Sequence[DrumState],
    machines: Sequence[MachineState],
    inks_in_house: Collection[str],
    *,
    machine: str | None = None,
) -> PassPlan:
    """Return the plan for one set of inks; see `PassPlanner` for many."""
    return PassPlanner(drums, machines, inks_in_house).plan(layers, machine=machine)


class PassPlanner:
    """Plans for many ink sets against one state of the workshop; asked again, it remembers.

    Parameters
    ----------
    drums : sequence of DrumState
        An ink without any drum here fits every machine and is away.
    machines : sequence of MachineState
        Where none is recorded, one that takes two drums is assumed.
    inks_in_house : collection of str
        The inks that can be printed today.
    """

    def __init__(
        self,
        drums: Sequence[DrumState],
        machines: Sequence[MachineState],
        inks_in_house: Collection[str],
    ) -> None:
        self._machines = sorted(machines, key=lambda machine: machine.name)
        self._in_house = frozenset(inks_in_house)
        self._drums: dict[str, tuple[DrumState, ...]] = {}
        for drum in sorted(drums, key=lambda drum: (len(drum.number), drum.number)):
            self._drums[drum.ink] = (*self._drums.get(drum.ink, ()), drum)
        self._remembered: dict[tuple[tuple[Layer, ...], str | None], PassPlan] = {}

    def plan(self, layers: Sequence[str | Layer], *, machine: str | None = None) -> PassPlan:
        """Return the plan with the fewest passes, then the fewest drum changes, then by machine name.

        Parameters
        ----------
        layers : sequence
            In printing order: ink names, or (ink, pass) where the recipe says which layers share a pass;
            those stay together, and apart from the others, as far as a machine allows.
        machine : str, optional
            Print on this machine only.

        Raises
        ------
        InputError
            No layers, or more than eight.
        NotFoundError
            No machine has that name.
        """
        key = (tuple((layer, None) if isinstance(layer, str) else layer for layer in layers), machine)
        if key not in self._remembered:
            self._remembered[key] = self._plan(*key)
        return self._remembered[key]

    def _plan(self, layers: tuple[Layer, ...], machine: str | None) -> PassPlan:
        if not 1 <= len(layers) <= _MOST_LAYERS:
            template = "{count} layers cannot be planned"
            raise InputError(template, count=len(layers), mend=f"Give 1 to {_MOST_LAYERS} inks.")
        every = self._named(machine)
        in_house = [each for each in every if each.in_house]
        drums = {ink: self._drums.get(ink, (DrumState(NOT_RECORDED, ink),)) for ink, _ in layers}
        passes, changes, machines, is_split = _first_plan(layers, drums, (in_house, every, [ANY_MACHINE]))
        notes = [_empty_drum(drum) for drum in _drums_used(drums, passes) if drum.state == "empty"]
        reason: Notice | None = None
        if not in_house:
            reason = _no_machine(machine)
        elif machines is not in_house:
            reason = _takes_not(drums, in_house, machine)
        elif is_split:
            reason = _no_common_machine(_pairs_apart(layers, passes, is_given=True)[0])
            notes.append(Notice("pass_split", _SPLIT, {"count": len(passes)}))
        else:
            notes += _extra_passes(layers, drums, in_house, passes)
        reason = self._retired(layers) or reason
        return PassPlan(passes, changes, reason is None, reason, tuple(notes))

    def _named(self, machine: str | None) -> list[MachineState]:
        if machine is None:
            return self._machines or [ANY_MACHINE]
        found = [each for each in self._machines if each.name == machine]
        if not found:
            raise NotFoundError("no machine {name}", name=machine, mend="See `inkchest machine list`.")
        return found

    def _retired(self, layers: Sequence[Layer]) -> Notice | None:
        missing = list(dict.fromkeys(ink for ink, _ in layers if ink not in self._in_house))
        if not missing:
            return None
        if len(missing) == 1:
            return Notice("ink_retired", "{ink} is retired: no drum in the house", {"ink": missing[0]})
        values = {"inks": ", ".join(missing)}
        return Notice("inks_retired", "{inks} are retired: no drums in the house", values)


def _first_plan(
    layers: Sequence[Layer], drums: Drums, tiers: Sequence[list[MachineState]]
) -> tuple[tuple[PlannedPass, ...], int, list[MachineState], bool]:
    """Return passes, changes, the machines they use, and whether a given pass had to be split."""
    for machines in tiers:
        for is_split in (False, True):
            found = PassSearch(layers, drums, machines, is_split=is_split).cheapest()
            if found is not None:
                return *found, machines, is_split
    raise AssertionError("a machine that takes every drum prints anything, one ink at a time")


# --- reasons and notes ------------------------------------------------------------------------------------

_SPLIT = "printed in {count} passes instead, with a wait: the overprint can come out differently"
_EXTRA = "no machine takes both {first} and {second}: one pass more, with a wait"


def _drums_used(drums: Drums, passes: Sequence[PlannedPass]) -> list[DrumState]:
    used = {(layer.ink, layer.drum) for each in passes for layer in each.layers}
    return [drum for of_ink in drums.values() for drum in of_ink if (drum.ink, drum.number or None) in used]


def _empty_drum(drum: DrumState) -> Notice:
    values = {"number": drum.number, "ink": drum.ink}
    return Notice("drum_empty", "drum {number} of {ink} is empty: fill it first", values)


def _no_machine(machine: str | None) -> Notice:
    if machine is None:
        return Notice("no_machine", "no machine is in the house")
    return Notice("machine_retired", "{machine} is not in the house", {"machine": machine})


def _takes_not(drums: Drums, machines: Sequence[MachineState], machine: str | None) -> Notice:
    """Return the first ink that none of the machines takes."""
    for ink, of_ink in drums.items():
        if not any(fits(drum, each) for drum in of_ink for each in machines):
            if machine is None:
                return Notice("ink_fits_none", "no machine in the house takes {ink}", {"ink": ink})
            return Notice("ink_fits_not", "{machine} does not take {ink}", {"machine": machine, "ink": ink})
    raise AssertionError("every ink fits a machine, and one ink at a time can always be printed")


def _pairs_apart(
    layers: Sequence[Layer], passes: Sequence[PlannedPass], *, is_given: bool | None
) -> list[tuple[str, str]]:
    """Return the neighbours that lie in two passes, of those the recipe gives as one pass, or leaves open."""
    ends = list(accumulate(len(each.layers) for each in passes))[:-1]
    return [(layers[end - 1][0], layers[end][0]) for end in ends if given_together(layers, end) is is_given]


def _no_common_machine(pair: tuple[str, str]) -> Notice:
    first, second = pair
    if first == second:
        return Notice("one_drum", "one drum of {ink} cannot print twice in one pass", {"ink": first})
    values = {"first": first, "second": second}
    return Notice("no_common_machine", "no machine takes both {first} and {second}", values)


def _extra_passes(
    layers: Sequence[Layer], drums: Drums, machines: Sequence[MachineState], passes: Sequence[PlannedPass]
) -> list[Notice]:
    """Return the pairs without a common machine, where they cost a pass."""
    apart = [
        pair
        for pair in _pairs_apart(layers, passes, is_given=None)
        if pair[0] != pair[1]
        and PassSearch([(ink, 0) for ink in pair], {ink: drums[ink] for ink in pair}, machines).cheapest() is None
    ]
    if not apart:
        return []
    anywhere = PassSearch(layers, drums, [ANY_MACHINE]).cheapest()
    if anywhere is not None and len(anywhere[0]) == len(passes):
        return []
    return [Notice("extra_pass", _EXTRA, {"first": first, "second": second}) for first, second in apart]
