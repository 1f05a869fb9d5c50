"""The tree of swatches asked in plain numpy: the same answers without the compiler.

One question takes some tenths of a second at a million swatches, where the compiled search takes milliseconds; but
loading the compiler takes longer than that. All boxes of a level are bounded at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

import numpy as np

from archive.colour.box_bound import delta_e_2000_bound
from archive.colour.difference import delta_e_2000_from
from archive.colour.nearest import Near, NearKeys, first_of_keys
from archive.colour.spaces import Floats
from archive.colour.tree_part import Ints, Mask, Part

_FIRST = 1 << 6  # the first level whose boxes are bounded: above it nearly all are near enough
_DOWN = 3  # levels between two looks at the bounds
_FEW = 1 << 16  # swatches that are tried one by one sooner than by boxes
_BEAM = 256  # smallest boxes that a radius to start from is looked for in


def best_per_key(
    parts: Sequence[Part], wanted: Floats, allowed: Mask, bits: np.uint64, *, radius: float, at_least: int
) -> NearKeys:
    """Return each key's nearest swatch, for all keys within the radius and `at_least` keys in any case.

    Parameters
    ----------
    parts : sequence of Part
        Rows of the later ones follow those of the earlier.
    wanted : (3,) ndarray of float64
    allowed : (c,) ndarray of bool
        Which classes count; all when empty.
    bits : uint64
        Those of the classes that count, as in the masks.
    radius, at_least
        See `tree.SwatchTree.best_per_key`.
    """
    searches = [_Search(part, wanted, allowed, bits) for part in parts if len(part.lab)]
    keys = np.concatenate([np.empty(0, np.int64), *(part.keys for part in parts)]) if len(parts) > 1 else parts[0].keys
    best = first_of_keys(_within(searches, radius), keys, radius)
    if len(best.key) >= at_least:
        return best
    reach, beam = inf, _BEAM
    while searches and any(beam < search.leaves for search in searches):
        few = first_of_keys(_joined(searches, [search.beam(beam) for search in searches]), keys, radius)
        if len(few.key) >= at_least:
            reach = float(few.delta_e[at_least - 1])
            break
        beam *= 8
    more = first_of_keys(_within(searches, reach), keys, radius)
    return NearKeys(more.key[:at_least], more.index[:at_least], more.delta_e[:at_least], more.count[:at_least])


class _Search:
    """One part and one question."""

    def __init__(self, part: Part, wanted: Floats, allowed: Mask, bits: np.uint64) -> None:
        self.part, self.wanted, self.allowed, self.bits = part, wanted, allowed, bits
        self.leaves = len(part.masks) // 2
        self.few = self._slots_of_few()

    def within(self, radius: float) -> Near:
        """Return the allowed living swatches within a radius, in no order."""
        if self.few is not None:
            return self._measured(self.few, radius)
        nodes = np.arange(min(_FIRST, self.leaves), min(2 * _FIRST, 2 * self.leaves))
        while True:
            nodes = nodes[(self.part.masks[nodes] & self.bits) != 0]
            nodes = nodes[self._bounds(nodes) <= radius]
            if not len(nodes) or nodes[0] >= self.leaves:
                return self._measured(self._slots(nodes), radius)
            nodes = self._below(nodes)

    def beam(self, count: int) -> Near:
        """Return the allowed living swatches of about so many smallest boxes that seem nearest."""
        if self.few is not None:
            return self._measured(self.few, inf)
        nodes = np.arange(min(_FIRST, self.leaves), min(2 * _FIRST, 2 * self.leaves))
        while True:
            nodes = nodes[(self.part.masks[nodes] & self.bits) != 0]
            if len(nodes) > count:
                nodes = np.sort(nodes[np.argpartition(self._bounds(nodes), count)[:count]])
            if not len(nodes) or nodes[0] >= self.leaves:
                return self._measured(self._slots(nodes), inf)
            nodes = self._below(nodes)

    def _slots_of_few(self) -> Ints | None:
        """Return the slots of all that the filter passes, when they are few."""
        starts = self.part.class_starts
        passed = np.flatnonzero(self.allowed[: len(starts) - 1])
        if not len(self.allowed) or (starts[passed + 1] - starts[passed]).sum() > min(_FEW, len(self.part.lab)):
            return None
        return self.part.by_class[_ranges(starts[passed], starts[passed + 1])].astype(np.int64)

    def _bounds(self, nodes: Ints) -> Floats:
        boxes = self.part.boxes[nodes].astype(np.float64)
        return delta_e_2000_bound(self.wanted, boxes[:, :3], boxes[:, 3:])

    def _below(self, nodes: Ints) -> Ints:
        """Return the boxes some levels below these, or the smallest."""
        down = min(_DOWN, self.leaves.bit_length() - int(nodes[0]).bit_length())
        return (nodes[:, None] * (1 << down) + np.arange(1 << down)).ravel()

    def _slots(self, nodes: Ints) -> Ints:
        """Return the slots of some smallest boxes."""
        leaf, count = nodes - self.leaves, len(self.part.lab)
        return _ranges(leaf * count // self.leaves, (leaf + 1) * count // self.leaves)

    def _measured(self, slots: Ints, radius: float) -> Near:
        part = self.part
        if len(self.allowed) and self.few is None:
            slots = slots[self.allowed[part.classes[slots]]]
        rows = part.rows[slots].astype(np.int64)
        if len(part.dead):
            is_alive = ~part.dead[rows]
            slots, rows = slots[is_alive], rows[is_alive]
        delta_e = delta_e_2000_from(self.wanted, np.ascontiguousarray(part.lab[slots].T))
        is_near = delta_e <= radius
        return Near(rows[is_near], delta_e[is_near])


def _within(searches: Sequence[_Search], radius: float) -> Near:
    return _joined(searches, [search.within(radius) for search in searches])


def _joined(searches: Sequence[_Search], found: Sequence[Near]) -> Near:
    """Return what the parts answer, in the order of distance and row."""
    firsts = np.cumsum([0, *(len(search.part.lab) for search in searches)])
    index = np.concatenate([np.empty(0, np.int64), *(near.index + at for near, at in zip(found, firsts, strict=False))])
    delta_e = np.concatenate([np.empty(0), *(near.delta_e for near in found)])
    order = np.lexsort((index, delta_e))
    return Near(index[order], delta_e[order])


def _ranges(starts: Ints, stops: Ints) -> Ints:
    """Return the numbers of some ranges, one after the other."""
    lengths = stops - starts
    ends = np.cumsum(lengths)
    ranges: Ints = np.arange(lengths.sum()) + np.repeat(starts - ends + lengths, lengths)
    return ranges
