"""The compiled part of the tree of swatches: CIEDE2000, its bound over a box, splitting and searching.

The only module that needs numba; nothing may import it before a large archive is really searched. All of it
lies in one file because numba keeps compiled code as long as the function's own file is unchanged, and knows
nothing of other files. Where nothing may be written beside it, numba uses the user's cache folder, or the one in
NUMBA_CACHE_DIR; where there is none at all, the code is compiled anew in each process.

Arrays that are only read must not be writeable: numba compiles once for each kind, and a mapped file is not.
"""

from __future__ import annotations

from collections.abc import Callable
from heapq import heappop, heappush
from math import atan2, cos, exp, floor, inf, pi, radians, sin, sqrt
from typing import Any, NamedTuple, TypeVar, cast

import numba
import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import Floats
from archive.colour.tree_part import Part

F = TypeVar("F", bound=Callable[..., Any])
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
Queue = list[tuple[float, np.int64]]

_25_TO_7 = 25.0**7  # Sharma, Wu & Dalal 2005, equation 4
_T_CURVE = 0.17 + 4 * 0.24 + 9 * 0.32 + 16 * 0.20  # see box_bound
_T_MOST = 1 + 0.17 + 0.24 + 0.32 + 0.20
_T_LEAST = 1 - 0.17 - 0.24 - 0.32 - 0.20
_ROUNDING = 1e-9
_COS_30, _SIN_30 = cos(radians(30)), sin(radians(30))
_COS_6, _SIN_6 = cos(radians(6)), sin(radians(6))
_COS_63, _SIN_63 = cos(radians(63)), sin(radians(63))
_HUE_275 = radians(275)
_SURELY = 1e-6  # radians: far more than the rounding of a hue, where the formula jumps
_NODE = 1 << 40  # node n goes by n - _NODE: below zero, so before any row at the same distance
_FEW = 40_000  # swatches that take some four milliseconds to try one by one [own choice]


class Question(NamedTuple):
    """A wanted colour, how far away an answer may lie, and the classes that count (all when empty)."""

    L: float
    a: float
    b: float
    radius: float
    allowed: Mask
    mask: np.uint64


def _compiled(function: F) -> F:
    """Return the function compiled at its first call, from the cache when that can be written."""
    try:
        return cast(F, numba.njit(function, cache=True, nogil=True, error_model="numpy"))
    except RuntimeError:  # numba found no folder to keep compiled code in
        return cast(F, numba.njit(function, nogil=True, error_model="numpy"))


@_compiled
def _seventh_root_share(C: float) -> float:
    C_7 = C * C * C
    C_7 = C_7 * C_7 * C
    return sqrt(C_7 / (C_7 + _25_TO_7))


@_compiled
def _hue_weight_t(c: float, s: float) -> float:
    """Return T at the mean hue with this cosine and sine."""
    c_2, s_2 = 2 * c * c - 1, 2 * s * c
    c_3, s_3 = c_2 * c - s_2 * s, s_2 * c + c_2 * s
    c_4, s_4 = 2 * c_2 * c_2 - 1, 2 * s_2 * c_2
    T = 1 - 0.17 * (_COS_30 * c + _SIN_30 * s) + 0.24 * c_2
    return T + 0.32 * (_COS_6 * c_3 - _SIN_6 * s_3) - 0.20 * (_COS_63 * c_4 + _SIN_63 * s_4)


@_compiled
def ciede2000(L_1: float, a_1: float, b_1: float, L_2: float, a_2: float, b_2: float) -> float:
    """Return the CIEDE2000 of two colours (kept whole, as published; see `difference`)."""
    C_bar = (sqrt(a_1 * a_1 + b_1 * b_1) + sqrt(a_2 * a_2 + b_2 * b_2)) / 2
    stretch = 1.5 - 0.5 * _seventh_root_share(C_bar)
    a_1p, a_2p = a_1 * stretch, a_2 * stretch
    C_1p, C_2p = sqrt(a_1p * a_1p + b_1 * b_1), sqrt(a_2p * a_2p + b_2 * b_2)
    product = C_1p * C_2p
    h_1p, h_2p = atan2(b_1, a_1p), atan2(b_2, a_2p)
    if h_1p < 0:
        h_1p += 2 * pi
    if h_2p < 0:
        h_2p += 2 * pi
    dh, h_bar = h_2p - h_1p, (h_1p + h_2p) / 2
    if product == 0:
        dh, h_bar = 0.0, h_1p + h_2p
    elif abs(dh) > pi:
        dh -= 2 * pi if dh > 0 else -2 * pi
        h_bar += pi if h_bar < pi else -pi
    C_bar_p = (C_1p + C_2p) / 2
    L_50 = ((L_1 + L_2) / 2 - 50) ** 2
    from_275 = (h_bar - _HUE_275) * (180 / pi / 25)
    R_T = -2 * _seventh_root_share(C_bar_p) * sin(radians(60) * exp(-from_275 * from_275))
    x = (L_2 - L_1) / (1 + 0.015 * L_50 / sqrt(20 + L_50))
    y = (C_2p - C_1p) / (1 + 0.045 * C_bar_p)
    z = 2 * sqrt(product) * sin(dh / 2) / (1 + 0.015 * C_bar_p * _hue_weight_t(cos(h_bar), sin(h_bar)))
    return sqrt(max(x * x + y * y + z * z + R_T * y * z, 0.0))


@_compiled
def _hues_of_rectangle(low_a: float, high_a: float, low_b: float, high_b: float) -> tuple[float, float]:
    """Return the least and the greatest hue in radians of a rectangle off the grey axis, in one turn."""
    if low_b > 0:
        least = atan2(low_b if high_a > 0 else high_b, high_a)
        return least, atan2(low_b if low_a < 0 else high_b, low_a)
    if high_b < 0:
        least = atan2(high_b if low_a < 0 else low_b, low_a)
        return least, atan2(high_b if high_a > 0 else low_b, high_a)
    if low_a > 0:
        return atan2(low_b, low_a), atan2(high_b, low_a)
    # Straight left of the axis the angle jumps by a turn: measured from there it does not.
    return pi - atan2(high_b, -high_a), pi + atan2(-low_b, -high_a)


@_compiled
def _turned(from_275: float) -> float:
    """Return the rotation's share at a mean hue so many radians from 275 degrees."""
    share = from_275 * (180 / pi / 25)
    return sin(radians(60) * exp(-share * share))


@_compiled
def _near_mean_hue(mean_hue: float, half_width: float) -> tuple[float, float, float, float]:
    """Return the distance from 275 degrees and T, each at least and at most, within half a width of a mean hue."""
    c, s = cos(mean_hue), sin(mean_hue)
    c_2, s_2 = 2 * c * c - 1, 2 * s * c
    c_3, s_3 = c_2 * c - s_2 * s, s_2 * c + c_2 * s
    c_4, s_4 = 2 * c_2 * c_2 - 1, 2 * s_2 * c_2
    slope = 0.17 * (s * _COS_30 - c * _SIN_30) - 0.48 * s_2
    slope += 0.80 * (s_4 * _COS_63 - c_4 * _SIN_63) - 0.96 * (s_3 * _COS_6 + c_3 * _SIN_6)
    rise = (abs(slope) + _T_CURVE / 2 * half_width) * half_width
    T = _hue_weight_t(c, s)
    h = mean_hue % (2 * pi)
    from_275 = abs(h - _HUE_275)
    # The formula takes the mean hue from 0 to 360 degrees and does not go round: at 5 degrees it is 270 from 275.
    goes_round = min(h, 2 * pi - h) < half_width + _SURELY
    nearest = max(min(from_275, 2 * pi - from_275) - half_width, 0.0)
    return nearest, inf if goes_round else from_275 + half_width, max(T - rise, _T_LEAST), min(T + rise, _T_MOST)


@_compiled
def _form_at_least(y: float, most_y: float, z: float, most_z: float, r: float) -> float:
    """Return the least y^2 + z^2 - r y z with y and z between these.

    Without a limit the form falls until y = r z/2 or z = r y/2; a convex form is least at the nearest that may be.
    """
    y, z = max(y, min(r * z / 2, most_y)), max(z, min(r * y / 2, most_z))
    return y * y + z * z - r * y * z


@_compiled
def _chroma_hue_part(a: float, b: float, low_a: float, high_a: float, low_b: float, high_b: float) -> float:
    """Return the least y^2 + z^2 + R_T y z over a rectangle of a* and b*.

    Each step as in `box_bound`, whose docstring proves it. Three go further, for strong blues and what lies straight
    across from the wanted colour; with them the slowest hundredth of such searches is five times faster (measured):

    - y and z are also bounded from above, and the rotation lifts neither beyond that.
    - Where dC' and dH' surely differ in sign, the rotation adds at least its least share.
    - Where the box may lie straight across, the mean hue is not any, but near its middle or the opposite of that.
    """
    C = sqrt(a * a + b * b)
    near_b, far_b = max(low_b, -high_b, 0.0), max(-low_b, high_b)
    near_a, far_a = max(low_a, -high_a, 0.0), max(-low_a, high_a)
    most = 1.5 - 0.5 * _seventh_root_share((C + sqrt(near_a * near_a + near_b * near_b)) / 2)
    least = 1.5 - 0.5 * _seventh_root_share((C + sqrt(far_a * far_a + far_b * far_b)) / 2)
    low_a, high_a = min(low_a * least, low_a * most), max(high_a * least, high_a * most)
    near_a, far_a = max(low_a, -high_a, 0.0), max(-low_a, high_a)
    C_low, C_high = sqrt(near_a * near_a + near_b * near_b), sqrt(far_a * far_a + far_b * far_b)
    one_low, one_high = sqrt((a * least) ** 2 + b * b), sqrt((a * most) ** 2 + b * b)
    C_bar_least, C_bar_most = (one_low + C_low) / 2, (one_high + C_high) / 2

    y = max(C_low - one_high, one_low - C_high, 0.0) / (1 + 0.045 * C_bar_most)
    most_y = max(C_high - one_low, one_high - C_low) / (1 + 0.045 * C_bar_least)
    R_C_least, R_C_most = 2 * _seventh_root_share(C_bar_least), 2 * _seventh_root_share(C_bar_most)
    if one_low <= 0 or C_low <= 0:  # the hue may be any
        most_z = 2 * sqrt(one_high * C_high) / (1 + 0.015 * C_bar_least * _T_LEAST)
        return _form_at_least(y, most_y, 0.0, most_z, R_C_most * sin(radians(60)))

    h_1, h_2 = atan2(b, a * least), atan2(b, a * most)
    h_3, h_4 = _hues_of_rectangle(low_a, high_a, low_b, high_b)
    hue_1 = (h_1 + h_2) / 2
    turn = ((h_3 + h_4) / 2 - hue_1 + pi) % (2 * pi) - pi
    spread = abs(h_1 - h_2) / 2 + (h_4 - h_3) / 2
    least_turn, most_turn = max(abs(turn) - spread, 0.0), min(abs(turn) + spread, pi)
    mean_hue = hue_1 + turn / 2
    nearest, farthest, T_least, T_most = _near_mean_hue(mean_hue, spread / 2)
    is_opposite = least_turn > 0 and (C_high < one_low if turn > 0 else C_low > one_high)
    if most_turn > pi - _SURELY:  # straight across the grey axis the mean hue may also be the opposite one
        other, _, T_2, T_3 = _near_mean_hue(mean_hue + pi, spread / 2)
        nearest, T_least, T_most = min(nearest, other), min(T_least, T_2), max(T_most, T_3)
        is_opposite = False
    z = 2 * sqrt(one_low * C_low) * sin(least_turn / 2) / (1 + 0.015 * C_bar_most * T_most)
    most_z = 2 * sqrt(one_high * C_high) * sin(most_turn / 2) / (1 + 0.015 * C_bar_least * T_least)
    if is_opposite:
        return y * y + z * z + R_C_least * _turned(farthest) * y * z
    return _form_at_least(y, most_y, z, most_z, R_C_most * _turned(nearest))


@_compiled
def box_bound(L: float, a: float, b: float, box: Any) -> float:
    """Return a number that no CIEDE2000 from the wanted colour into the box falls below.

    Parameters
    ----------
    L, a, b : float
        The wanted colour.
    box : (6,) ndarray of float32
        Least L*, a*, b*, then greatest.

    Source: as `box_bound.delta_e_2000_bound`, compiled, and never below that.
    """
    low, high = np.float64(box[0]), np.float64(box[3])
    from_50 = max(abs((low + L) / 2 - 50), abs((high + L) / 2 - 50)) ** 2
    x = max(low - L, L - high, 0.0) / (1 + 0.015 * from_50 / sqrt(20 + from_50))
    rest = _chroma_hue_part(a, b, np.float64(box[1]), np.float64(box[4]), np.float64(box[2]), np.float64(box[5]))
    return max(sqrt(x * x + rest) * (1 - _ROUNDING) - _ROUNDING, 0.0)


@_compiled
def bounds(wanted: Any, boxes: Any) -> Any:
    """Return `box_bound` for each of the (n, 6) boxes."""
    result = np.empty(len(boxes))
    for at in range(len(boxes)):
        result[at] = box_bound(wanted[0], wanted[1], wanted[2], boxes[at])
    return result


@_compiled
def differences(wanted: Any, lab: Any) -> Any:
    """Return `ciede2000` to each of the (n, 3) colours."""
    result = np.empty(len(lab))
    for at in range(len(lab)):
        result[at] = ciede2000(wanted[0], wanted[1], wanted[2], lab[at, 0], lab[at, 1], lab[at, 2])
    return result


@_compiled
def _swap(lab: Any, rows: Any, i: int, j: int) -> None:
    for axis in range(3):
        lab[i, axis], lab[j, axis] = lab[j, axis], lab[i, axis]
    rows[i], rows[j] = rows[j], rows[i]


@_compiled
def _select(lab: Any, rows: Any, axis: int, start: int, stop: int, middle: int) -> None:
    """Order the slots so that none before the middle is greater along the axis than any after it."""
    low, high = start, stop - 1
    while low < high:
        first, centre, last = lab[low, axis], lab[(low + high) // 2, axis], lab[high, axis]
        pivot = max(min(first, centre), min(max(first, centre), last))
        i, j = low, high
        while i <= j:
            while lab[i, axis] < pivot:
                i += 1
            while lab[j, axis] > pivot:
                j -= 1
            if i <= j:
                _swap(lab, rows, i, j)
                i, j = i + 1, j - 1
        if middle <= j:
            high = j
        elif middle >= i:
            low = i
        else:
            return


@_compiled
def split_level(lab: Any, rows: Any, level: int) -> None:
    """Halve each of the 2^level ranges of slots across its widest side.

    Parameters
    ----------
    lab : (n, 3) ndarray of float64, put in order in place
    rows : (n,) ndarray of int32, moved along
    """
    count = len(lab)
    for box in range(1 << level):
        start, stop = (box * count) >> level, ((box + 1) * count) >> level
        axis, widest = 0, -1.0
        for side in range(3):
            low, high = lab[start, side], lab[start, side]
            for at in range(start + 1, stop):
                low, high = min(low, lab[at, side]), max(high, lab[at, side])
            if high - low > widest:
                axis, widest = side, high - low
        _select(lab, rows, axis, start, stop, ((2 * box + 1) * count) >> (level + 1))


@_compiled
def _push_children(heap: Queue, question: Question, part: Part, node: np.int64, least: float) -> None:
    for child in range(2 * node, 2 * node + 2):
        if not part.masks[child] & question.mask:
            continue
        # A child's bound may come out lower than its parent's, which holds for it too.
        bound = max(least, box_bound(question.L, question.a, question.b, part.boxes[child]))
        if bound <= question.radius:
            heappush(heap, (bound, np.int64(child - _NODE)))


@_compiled
def _push_swatches(heap: Queue, question: Question, part: Part, start: np.int64, stop: np.int64) -> None:
    lab = part.lab
    for at in range(start, stop):
        if len(question.allowed) and not question.allowed[part.classes[at]]:
            continue
        delta_e = ciede2000(question.L, question.a, question.b, lab[at, 0], lab[at, 1], lab[at, 2])
        row = np.int64(part.rows[at])
        if delta_e <= question.radius and not (len(part.dead) and part.dead[row]):
            heappush(heap, (delta_e, row))


@_compiled
def _push_few(heap: Queue, question: Question, part: Part) -> bool:
    """Push all that the filter passes when they are few: then the boxes, which pass most classes, cost more."""
    allowed, starts = question.allowed, part.class_starts
    classes, few = min(len(allowed), len(starts) - 1), 0
    for number in range(classes):
        if allowed[number]:
            few += starts[number + 1] - starts[number]
    if not len(allowed) or few > min(_FEW, len(part.lab) // 64):
        return False
    for number in range(classes):
        if allowed[number]:
            for at in range(starts[number], starts[number + 1]):
                slot = np.int64(part.by_class[at])
                _push_swatches(heap, question, part, slot, slot + 1)
    return True


@_compiled
def _bucket(delta_e: float, step: float) -> float:
    return floor(delta_e / step) if step > 0 else delta_e


@_compiled
def search(question: Question, part: Part, k: int, step: float, by_key: bool) -> tuple[Ints, Floats]:
    """Return the k nearest rows and their CIEDE2000, by distance, then row.

    Boxes and swatches wait in one queue, each at the least distance that is known of it. What comes out of the
    queue is final, so no box is opened that the answer does not need.

    Parameters
    ----------
    step : float
        With `by_key`: go on to the end of the k-th key's bucket of this width; 0 for its exact distance.
    by_key : bool
        Count and return only the nearest row of each key.
    """
    rows, differences_found = np.empty(64, np.int64), np.empty(64)
    found, last = 0, inf
    seen, heap = {np.int64(0)}, [(0.0, np.int64(0))]
    seen.clear()  # what they held tells the compiler what they will hold
    heap.clear()
    if not _push_few(heap, question, part):
        heap.append((0.0, np.int64(1 - _NODE)))
    leaves = len(part.masks) // 2
    while len(heap):
        delta_e, which = heappop(heap)
        if _bucket(delta_e, step) > last:
            break
        node = which + _NODE
        if which < 0 and node < leaves:
            _push_children(heap, question, part, node, delta_e)
            continue
        if which < 0:
            leaf, count = node - leaves, len(part.lab)
            _push_swatches(heap, question, part, leaf * count // leaves, (leaf + 1) * count // leaves)
            continue
        if by_key:
            if part.keys[which] in seen:
                continue
            seen.add(part.keys[which])
        if found == len(rows):
            rows = np.concatenate((rows, np.empty(found, np.int64)))
            differences_found = np.concatenate((differences_found, np.empty(found)))
        rows[found], differences_found[found] = which, delta_e
        found += 1
        if found == k:
            if not by_key:
                break
            last = _bucket(delta_e, step)
    return rows[:found], differences_found[:found]


@_compiled
def search_many(wanted: Floats, question: Question, part: Part, rows: Ints, differences_found: Floats) -> None:
    """Fill a line of `rows` and one of differences with the nearest of each wanted colour, as many as there are.

    The question says all but the colour. The loop is in here because threads that come back to Python after each
    colour wait for one another longer than they search (measured).
    """
    for at in range(len(wanted)):
        L, a, b = wanted[at, 0], wanted[at, 1], wanted[at, 2]
        one = Question(L, a, b, question.radius, question.allowed, question.mask)
        found, delta_e = search(one, part, rows.shape[1], 0.0, False)
        rows[at, : len(found)] = found
        differences_found[at, : len(found)] = delta_e


@_compiled
def _first_of_key(part: Part, key: int) -> int:
    """Return where a key begins in the order of keys, or would begin."""
    low, high = 0, len(part.by_key)
    while low < high:
        middle = (low + high) // 2
        if part.keys[part.rows[part.by_key[middle]]] < key:
            low = middle + 1
        else:
            high = middle
    return low


@_compiled
def count_within(question: Question, part: Part, keys: Ints) -> Ints:
    """Return how many allowed swatches of each key lie within the question's radius."""
    counts = np.zeros(len(keys), np.int64)
    heap = [(0.0, np.int64(0))]
    for place in range(len(keys)):
        at = _first_of_key(part, keys[place])
        while at < len(part.by_key) and part.keys[part.rows[part.by_key[at]]] == keys[place]:
            slot = np.int64(part.by_key[at])
            heap.clear()
            _push_swatches(heap, question, part, slot, slot + 1)
            counts[place] += len(heap)
            at += 1
    return counts


@_compiled
def nearest_of_keys(question: Question, part: Part, keys: Ints) -> tuple[Ints, Floats]:
    """Return the nearest allowed swatch of each key within the radius, equals by row: -1 and inf for none."""
    rows, delta_e = np.full(len(keys), -1, np.int64), np.full(len(keys), inf)
    heap = [(0.0, np.int64(0))]
    for place in range(len(keys)):
        at = _first_of_key(part, keys[place])
        while at < len(part.by_key) and part.keys[part.rows[part.by_key[at]]] == keys[place]:
            slot = np.int64(part.by_key[at])
            heap.clear()
            _push_swatches(heap, question, part, slot, slot + 1)
            if len(heap) > 0:
                distance, row = heap[0]
                if distance < delta_e[place] or (distance == delta_e[place] and row < rows[place]):
                    rows[place], delta_e[place] = row, distance
            at += 1
    return rows, delta_e
