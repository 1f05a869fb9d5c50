"""Are two pictures of the same sheet, of one design in other inks or on another paper, or of other designs?

The shapes decide about the design (`sheet_look`, `overlay`): whether both have edges that go another way. The
colours, each relative to its own paper at the same places, decide about the inks, and the whites about the paper.
A hash finds candidates only. Nothing here merges anything: a person decides.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.difference import delta_e_2000
from archive.colour.spaces import WIDEST, Floats, relative_to_paper
from archive.imaging.overlay import Overlay, laid, lay_on, refined
from archive.imaging.sheet_look import Edges, SheetLook, Singles, turned_edges

Kind = Literal["same copy", "variant", "same design?", "other design", "blank"]
Mask = NDArray[np.bool_]

_NO_CHANCE = 0.25  # agreement of coarse edges, below which nothing is laid on anything more finely [tried]
_TRIES = 2  # rough places that are tried
_SMOOTHINGS = (5, 11)  # pixels; the second where the first leads astray, as among many windows alike
_OVERLAP = 0.5  # of the first sheet that the other must cover
_WINDOW = 15  # pixels over which edges may meet
_DRIFT_EDGES = 1  # pixel that edges may be off in a window: drift, a cockled sheet
_TOGETHER = 0.5  # of the weaker side's edges in a window, from which on they go together
_ALIKE, _UNLIKE = 0.0215, 0.025  # of the edges do not: at most in one design, at least in two [tried]
_AGREES = 0.65  # of all edges, at least in one design [tried]

_OTHER_COLOUR = 8.0  # CIEDE2000 between the places of two sheets, from which on an ink is another [tried]
_SAME_AREA, _OTHER_AREA = 0.025, 0.05  # of the printed area that is so, at most and at least
_SAME_MEAN, _OTHER_MEAN = 3.0, 3.5  # CIEDE2000 over the printed area, at most and at least [tried]
_DRIFT = 2  # pixels that two drums may be off between sheets
_LIGHT = 5.0  # L* below the lightest that still is bare paper
_FEWEST = 0.005  # of the area that must be bare on both


@dataclass(frozen=True, slots=True)
class WhiteDoubt:
    """How far two photos of the same paper may be apart, in L* and in chroma; more is another paper."""

    lightness: float
    chroma: float


UNCORRECTED = WhiteDoubt(14.0, 9.0)  # phones as they come: exposure and white balance are anybody's guess
CORRECTED = WhiteDoubt(4.0, 4.0)  # through the card of a sitting


@dataclass(frozen=True, slots=True)
class Likeness:
    """What two sheets are to each other, and by which figures.

    Attributes
    ----------
    kind : str
        Same copy: the same shapes in the same colours, so perhaps another copy of the same run. Variant: the same
        shapes in other colours or on another paper. Same design?: too near to either side. Blank: one of them has
        too few shapes.
    why : str
    unmatched : float
        The share of edges that go another way on the other sheet.
    delta_e : float or None
        Mean CIEDE2000 over the printed area, relative to paper; None where the designs differ.
    turns : int
        Quarters against the clock by which the second is turned.
    """

    kind: Kind
    why: str
    unmatched: float = 1.0
    delta_e: float | None = None
    turns: int = 0


@dataclass(frozen=True, slots=True)
class LikeSheet:
    """A sheet of the archive that is like the wanted one: its place in the list searched, and how."""

    index: int
    likeness: Likeness


def compare_sheets(one: SheetLook, other: SheetLook, whites: WhiteDoubt = UNCORRECTED) -> Likeness:
    """Return what two sheets are to each other.

    Parameters
    ----------
    one, other : SheetLook
        From `look_at`.
    whites : WhiteDoubt
        `CORRECTED` where both pictures were: other papers are then told by less.
    """
    if one.is_blank or other.is_blank:
        return Likeness("blank", "too few shapes to compare by")
    overlay, unmatched, agreement = _laid_best(one, other)
    if overlay is None or unmatched > _UNLIKE or agreement < _AGREES:
        return Likeness("other design", "other shapes", unmatched, None, overlay.turns if overlay else 0)
    kind, why, delta_e = _by_colour(one, other, overlay, whites)
    if unmatched > _ALIKE:
        kind, why = "same design?", f"some shapes differ; {why}"
    return Likeness(kind, why, unmatched, delta_e, overlay.turns)


def find_like(
    wanted: SheetLook,
    words: ArrayLike,
    look_of: Callable[[int], SheetLook],
    *,
    is_blank: ArrayLike | None = None,
    whites: WhiteDoubt = UNCORRECTED,
    most_bits: int = 24,
    most: int = 20,
) -> list[LikeSheet]:
    """Return the sheets of an archive that are like the wanted one: same copies, then variants, then doubts.

    Parameters
    ----------
    words : (n,) array_like of uint64
        The first of the `hashes` of each sheet.
    look_of : callable
        Given a sheet's place in `words`, returns its look; asked for the few nearest hashes only.
    is_blank : (n,) array_like of bool, optional
        Which sheets are blank: they are never candidates.
    whites : WhiteDoubt
    most_bits, most : int
        How many of 64 bits candidates may differ in, and how many are looked at.
    """
    if wanted.is_blank:
        return []
    bits = shape_bits(wanted, words)
    if is_blank is not None:
        bits[np.asarray(is_blank, dtype=np.bool_)] = 64
    order = np.argsort(bits, kind="stable")[:most]
    found = [
        LikeSheet(index, compare_sheets(wanted, look_of(index), whites))
        for index in order[bits[order] <= most_bits].tolist()
    ]
    alike = [each for each in found if each.likeness.kind in _ORDER]
    return sorted(alike, key=lambda each: (_ORDER.index(each.likeness.kind), each.likeness.unmatched, each.index))


_ORDER: tuple[Kind, ...] = ("same copy", "variant", "same design?")


def shape_bits(wanted: SheetLook, words: ArrayLike) -> NDArray[np.uint8]:
    """Return in how many of 64 bits each hash differs from the wanted sheet's, turned the best way, (n,)."""
    others = np.asarray(words, dtype=np.uint64)
    bits = np.bitwise_count(others ^ wanted.hashes[0])
    for turned in wanted.hashes[1:]:
        np.minimum(bits, np.bitwise_count(others ^ turned), out=bits)
    return np.asarray(bits, dtype=np.uint8)


# --- shapes


def _laid_best(one: SheetLook, other: SheetLook) -> tuple[Overlay | None, float, float]:
    """Return the place where the sheets' shapes meet best, the share that does not, and how well all agree."""
    best: tuple[Overlay | None, float, float] = (None, 1.0, 0.0)
    rough = [overlay for overlay in lay_on(one, other) if overlay.agreement >= _NO_CHANCE][:_TRIES]
    for smoothing in _SMOOTHINGS:
        for overlay in rough:
            fine = refined(one, other, overlay, smoothing)
            unmatched, agreement = _matched(one.edges, turned_edges(other.edges, fine.turns), fine)
            if best[0] is None or (unmatched, -agreement) < (best[1], -best[2]):
                best = fine, unmatched, agreement
            if best[1] <= _ALIKE and best[2] >= _AGREES:
                return best
    return best


def _matched(one: Edges, other: Edges, overlay: Overlay) -> tuple[float, float]:
    """Return the share of edges that go another way on the other sheet, and how well all agree.

    Where only one sheet has edges, an ink may be too pale to make any on the other: what counts is where both have
    some and they do not go together.
    """
    import cv2

    moved = laid(np.stack([other.real, other.imag, np.ones(other.shape)], axis=-1), overlay, one.shape)
    both = _both(moved[..., 2])
    first, second = one * both, (moved[..., 0] + 1j * moved[..., 1]) * both

    def gathered(values: NDArray[np.floating]) -> Singles:
        return np.asarray(cv2.boxFilter(values.astype(np.float32), -1, (_WINDOW, _WINDOW)))

    moves = product((0, -_DRIFT_EDGES, _DRIFT_EDGES), repeat=2)
    shared = np.maximum.reduce([gathered((first * np.conj(np.roll(second, move, (0, 1)))).real) for move in moves])
    one_s, other_s = (np.maximum(gathered(np.abs(each) ** 2), 0) for each in (first, second))
    weaker, size = np.minimum(one_s, other_s), float(np.sqrt(float(one_s.sum()) * float(other_s.sum())))
    if both.mean() < _OVERLAP or size <= 0 or weaker.sum() <= 0:
        return 1.0, 0.0
    return float(weaker[shared < _TOGETHER * weaker].sum() / weaker.sum()), float(shared.sum()) / size


def _both(weight: Singles) -> Mask:
    """Return where both sheets are, without the outermost pixels, which a blur smears."""
    both = np.zeros(weight.shape, dtype=np.bool_)
    both[3:-3, 3:-3] = weight[3:-3, 3:-3] > 0.99
    return both


# --- colours


def _by_colour(one: SheetLook, other: SheetLook, overlay: Overlay, whites: WhiteDoubt) -> tuple[Kind, str, float]:
    """Return what two sheets of one design are by their colours, and the mean difference of what is printed."""
    import cv2

    turned = np.ascontiguousarray(np.rot90(other.lab, overlay.turns))
    moved = laid(np.dstack([turned, np.ones(turned.shape[:2], np.float32)]), overlay, one.lab.shape)
    both = _both(moved[..., 3])
    first, second = (cv2.GaussianBlur(lab, (0, 0), 1.5) for lab in (one.lab, moved[..., :3]))
    papers = _papers(first, second, both)
    step = papers[1] - papers[0]
    first_on, second_on = (_relative(lab, paper) for lab, paper in zip((first, second), papers, strict=True))
    is_printed = both & (_is_ink(first_on) | _is_ink(second_on))
    if not is_printed.any():
        return "same design?", "hardly anything is printed", 0.0
    apart = delta_e_2000(first_on[is_printed], _nearest_by(first_on, second_on)[is_printed])
    mean, area = float(apart.mean()), float((apart > _OTHER_COLOUR).mean())
    if mean >= _OTHER_MEAN or area >= _OTHER_AREA:
        return "variant", f"other inks: {area:.0%} of what is printed differs, ΔE00 {mean:.1f} on average", mean
    if abs(step[0]) > whites.lightness or np.hypot(step[1], step[2]) > whites.chroma:
        return "variant", "another paper", mean
    if mean > _SAME_MEAN or area > _SAME_AREA:
        return "same design?", f"the colours differ a little, ΔE00 {mean:.1f} on average", mean
    return "same copy", f"the same shapes and colours, ΔE00 {mean:.1f} on average", mean


def _papers(first: Singles, second: Singles, both: Mask) -> tuple[Floats, Floats]:
    """Return the colours of both sheets where both are lightest: bare paper, or what stands for it on both."""
    light = both.copy()
    for lab in (first, second):
        lightness = lab[..., 0]
        light &= lightness > np.percentile(lightness[both], 96) - _LIGHT
    if light.mean() < _FEWEST:  # no place is light on both: each by itself
        masks = [both & (lab[..., 0] >= np.percentile(lab[both][:, 0], 96)) for lab in (first, second)]
    else:
        masks = [light, light]
    one, other = (np.median(lab[mask], axis=0) for lab, mask in zip((first, second), masks, strict=True))
    return np.asarray(one, dtype=np.float64), np.asarray(other, dtype=np.float64)


def _relative(lab: Singles, paper: Floats) -> Floats:
    within = np.clip(lab.astype(np.float64), (0, -WIDEST, -WIDEST), (100, WIDEST, WIDEST))
    paper = np.clip(paper, (20, -WIDEST, -WIDEST), (100, WIDEST, WIDEST))
    return np.clip(relative_to_paper(within, paper), (0, -WIDEST, -WIDEST), (110, WIDEST, WIDEST))


def _is_ink(relative: Floats) -> Mask:
    return np.asarray((relative[..., 0] < 94) | (np.hypot(relative[..., 1], relative[..., 2]) > 6))


def _nearest_by(first: Floats, second: Floats) -> Floats:
    """Return, for each place of the first sheet, the most alike of the second's colours close by."""
    best, least = second.copy(), np.full(first.shape[:2], np.inf)
    for down in (0, -_DRIFT, _DRIFT):
        for right in (0, -_DRIFT, _DRIFT):
            near = np.roll(second, (down, right), axis=(0, 1))
            squared = ((first - near) ** 2).sum(axis=-1)
            is_nearer = squared < least
            best[is_nearer], least[is_nearer] = near[is_nearer], squared[is_nearer]
    return best
