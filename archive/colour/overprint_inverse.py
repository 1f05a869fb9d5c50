"""From a colour to tints: which tints of a set of inks come nearest to it by CIEDE2000.

A grid of tints gives places to start from, then the tints are refined by the model's slopes, and last by trying small
steps, since CIEDE2000 bends. A colour out of reach gets the nearest one within reach.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.difference import delta_e_2000, delta_e_2000_from
from archive.colour.overprint import OverprintModel
from archive.colour.overprint_metric import metric_roots
from archive.colour.spaces import Floats, check_lab

FINE_STEPS = (401, 101, 41, 21)  # grid points an ink, by how many inks: for many colours
QUICK_STEPS = (41, 21, 9, 6)  # for one colour among many sets
_FEW = 64  # wanted colours up to which trying the whole grid beats building a tree
_STARTS = 3  # places a quick search refines from
_SLOPE_STEP = 0.25  # percent, for the slopes
_ROUNDS = 6  # of refining by slopes
_WORTH = 1e-3  # dE00: a round that gains less everywhere is the last
_LAST_STEPS = (0.5, 0.1)  # percent, tried around the refined tints
_MARGIN = 4.0  # dE00: more than a quick grid misses by; sets farther behind the best are not refined
_CLOSE = 0.5  # dE00: sets so close to the best get the last small steps


@dataclass(frozen=True, slots=True)
class Reach:
    """What a set of inks reaches: `tints` (g, m) of a full grid, percent, and their `lab` (g, 3)."""

    tints: Floats
    lab: Floats


@dataclass(frozen=True, slots=True)
class Tinted:
    """The nearest tints for wanted colours: `tints` (n, m) percent, their `lab` (n, 3), and `delta_e_2000` (n,)."""

    tints: Floats
    lab: Floats
    delta_e_2000: Floats


def reach_of(model: OverprintModel, steps: int | None = None) -> Reach:
    """Return the colours of a grid of tints.

    Parameters
    ----------
    model : OverprintModel
    steps : int
        Grid points an ink; 401, 101, 41 or 21 for one to four inks, unless said.
    """
    axis = np.linspace(0.0, 100.0, steps or FINE_STEPS[model.inks - 1])
    tints = np.stack(np.meshgrid(*[axis] * model.inks, indexing="ij"), axis=-1).reshape(-1, model.inks)
    return Reach(tints, model.lab_of(tints))


def solve(model: OverprintModel, lab_wanted: ArrayLike, *, reach: Reach | None = None) -> Tinted:
    """Return the tints that come nearest to the wanted colours.

    Parameters
    ----------
    model : OverprintModel
    lab_wanted : (n, 3) array_like
        Absolute, D50.
    reach : Reach
        From `reach_of`, when the caller keeps it; worked out, unless given.

    Raises
    ------
    ColourError
        See `check_lab`.
    """
    wanted = check_lab(lab_wanted).reshape(-1, 3)
    grid = reach if reach is not None else reach_of(model)
    if len(wanted) <= _FEW:
        columns = np.ascontiguousarray(grid.lab.T)
        first = np.array([int(np.argmin(delta_e_2000_from(each, columns))) for each in wanted], dtype=np.intp)
    else:
        first = _nearest_by_tree(grid.lab, wanted)
    return _last_steps(model, wanted, _refine(model, wanted, grid.tints[first]))


def solve_among(models: Sequence[OverprintModel], lab_wanted: ArrayLike) -> list[Tinted]:
    """Return for each set of inks its nearest tints to one wanted colour.

    Sets that a coarse grid shows to be far behind the best are left at the grid's nearest point.

    Parameters
    ----------
    models : sequence of OverprintModel
    lab_wanted : (3,) array_like
        Absolute, D50.

    Raises
    ------
    ColourError
        See `check_lab`.
    """
    wanted = check_lab(lab_wanted).reshape(1, 3)
    starts = [_quick_starts(model, wanted[0]) for model in models]
    limit = min((float(start.delta_e_2000[0]) for start in starts), default=0.0) + _MARGIN
    found = [
        _best_of(model, wanted, start) if start.delta_e_2000[0] <= limit else _first(start)
        for model, start in zip(models, starts, strict=True)
    ]
    limit = min((float(each.delta_e_2000[0]) for each in found), default=0.0) + _CLOSE
    return [
        _last_steps(model, wanted, each) if 0 < each.delta_e_2000[0] <= limit else each
        for model, each in zip(models, found, strict=True)
    ]


def _best_of(model: OverprintModel, wanted: Floats, start: Tinted) -> Tinted:
    """Return the best of several starts, refined."""
    every = _refine(model, np.broadcast_to(wanted, start.lab.shape), start.tints)
    return _first(every, int(np.argmin(every.delta_e_2000)))


def _first(found: Tinted, place: int = 0) -> Tinted:
    one = slice(place, place + 1)
    return Tinted(found.tints[one], found.lab[one], found.delta_e_2000[one])


def _quick_starts(model: OverprintModel, wanted: Floats) -> Tinted:
    """Return the best hollows of a coarse grid, up to three, the best first."""
    steps = QUICK_STEPS[model.inks - 1]
    grid = reach_of(model, steps)
    difference = delta_e_2000_from(wanted, np.ascontiguousarray(grid.lab.T))
    places = np.flatnonzero(_hollows(difference.reshape((steps,) * model.inks)).ravel())
    chosen = places[np.argsort(difference[places], kind="stable")[:_STARTS]]
    return Tinted(grid.tints[chosen], grid.lab[chosen], difference[chosen])


def _hollows(table: Floats) -> NDArray[np.bool_]:
    """Return where no neighbour along an axis is lower."""
    low = np.ones(table.shape, dtype=bool)
    for axis in range(table.ndim):
        rise = np.diff(table, axis=axis)
        ahead, behind = [(0, 0)] * table.ndim, [(0, 0)] * table.ndim
        ahead[axis], behind[axis] = (0, 1), (1, 0)
        low &= np.pad(rise >= 0, ahead, constant_values=True) & np.pad(rise <= 0, behind, constant_values=True)
    return low


def _nearest_by_tree(lab: Floats, wanted: Floats) -> NDArray[np.intp]:
    from archive.colour.tree import SwatchTree

    none = np.zeros(len(lab), dtype=np.int64)
    return SwatchTree.build(lab, np.arange(len(lab)), none).nearest_batch(wanted, 1).index[:, 0].astype(np.intp)


def _refine(model: OverprintModel, wanted: Floats, start: Floats) -> Tinted:
    """Return the tints refined from (n, m) starts, one a wanted colour."""
    tints = start.copy()
    lab = model.lab_of(tints)
    difference = delta_e_2000(lab, wanted)
    damping = np.full(len(tints), 1e-3)
    for _ in range(_ROUNDS):
        tried = np.clip(tints - _newton_step(model, tints, lab, wanted, damping), 0.0, 100.0)
        new_lab = model.lab_of(tried)
        new = delta_e_2000(new_lab, wanted)
        better, gained = new < difference, difference - new
        damping = np.where(better, damping / 4, damping * 100)
        tints[better], lab[better], difference[better] = tried[better], new_lab[better], new[better]
        if np.where(better, gained < _WORTH, damping > 0.05).all():
            break
    return Tinted(tints, lab, difference)


def _newton_step(model: OverprintModel, tints: Floats, lab: Floats, wanted: Floats, damping: Floats) -> Floats:
    """Return the damped Gauss–Newton step (n, m) in percent; tints at an end that it would leave stay there."""
    n, inks = tints.shape
    aside = np.where(tints + _SLOPE_STEP > 100, -_SLOPE_STEP, _SLOPE_STEP)
    moved = tints[:, None, :] + np.eye(inks) * aside[:, :, None]
    slopes = (model.lab_of(moved.reshape(-1, inks)).reshape(n, inks, 3) - lab[:, None, :]) / aside[:, :, None]
    roots = metric_roots((lab + wanted) / 2)
    jacobian = roots @ slopes.transpose(0, 2, 1)
    miss = np.einsum("nac,nc->na", roots, lab - wanted)
    gradient = np.einsum("nam,na->nm", jacobian, miss)
    held = ((tints <= 0) & (gradient > 0)) | ((tints >= 100) & (gradient < 0))
    jacobian = np.where(held[:, None, :], 0.0, jacobian)
    normal = jacobian.transpose(0, 2, 1) @ jacobian
    size = np.einsum("nmm->nm", normal)
    normal = normal + (size * damping[:, None] + 1e-9)[:, :, None] * np.eye(inks)
    return np.asarray(np.linalg.solve(normal, np.where(held, 0.0, gradient)[:, :, None])[:, :, 0])


def _last_steps(model: OverprintModel, wanted: Floats, found: Tinted) -> Tinted:
    """Return the tints after trying all small steps around them, as long as the biggest ones help."""
    n, inks = found.tints.shape
    moves = np.array([move for move in product((-1.0, 0.0, 1.0), repeat=inks) if any(move)])
    tints, lab, difference = found.tints, found.lab, found.delta_e_2000
    for size in _LAST_STEPS:
        tried = np.clip(tints[:, None, :] + size * moves, 0.0, 100.0)
        colours = model.lab_of(tried.reshape(-1, inks)).reshape(n, len(moves), 3)
        each = delta_e_2000(colours, wanted[:, None, :])
        place = each.argmin(axis=1)
        rows = np.arange(n)
        better = each[rows, place] < difference
        tints = np.where(better[:, None], tried[rows, place], tints)
        lab = np.where(better[:, None], colours[rows, place], lab)
        difference = np.where(better, each[rows, place], difference)
    return Tinted(tints, lab, difference)
