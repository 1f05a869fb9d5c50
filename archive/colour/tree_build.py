"""How a tree of swatches is made: halved until the boxes are small, then boxes and classes told upwards."""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import Floats
from archive.colour.tree_part import Part
from archive.errors import CatalogueError

Ints = NDArray[np.int64]

_LEAF = 16  # swatches at most in a smallest box: with 32 the search is slower, with 8 no faster (measured)


def load_kernel() -> Any:
    """Return the compiled part, imported with its compiler only now that it is needed.

    Raises
    ------
    CatalogueError
        There is no compiler.
    """
    try:
        from archive.colour import tree_kernel
    except ImportError as exc:
        raise CatalogueError(
            "a large archive is searched with numba, which is not installed", mend="Run: pip install numba"
        ) from exc
    return tree_kernel


def frozen(array: NDArray[Any]) -> Any:
    """Return the array, from now on not writeable: see `tree_kernel`."""
    array.setflags(write=False)
    return array


def class_bits(classes: NDArray[Any]) -> NDArray[np.uint64]:
    """Return one bit of 64 for each class, the same for eight neighbours, as filters ask for neighbours together.

    The eights are well mixed (Fibonacci hashing, common practice).
    """
    return np.uint64(1) << (
        (classes.astype(np.uint64) >> np.uint64(3)) * np.uint64(0x9E3779B97F4A7C15) >> np.uint64(58)
    )


def build_part(
    lab: Floats, keys: Ints, classes: NDArray[np.uint16], progress: Callable[[int, int], None] | None
) -> Part:
    """Return the tree of checked swatches.

    Parameters
    ----------
    lab : (n, 3) ndarray of float64
    keys : (n,) ndarray of int64, kept, and no longer writeable
    classes : (n,) ndarray of uint16
    progress : callable or None
        Told how many of how many levels are halved.
    """
    count = len(lab)
    depth = max(0, int(np.ceil(np.log2(max(count, 1) / _LEAF))))
    lab, rows = np.array(lab, order="C"), np.arange(count, dtype=np.int32)
    for level in range(depth):
        load_kernel().split_level(lab, rows, level)
        if progress is not None:
            progress(level + 1, depth)
    by_slot = classes[rows]
    boxes, masks = _boxes(lab, class_bits(by_slot), 1 << depth)
    by_key = np.argsort(keys[rows], kind="stable").astype(np.int32)
    by_class = np.argsort(by_slot, kind="stable").astype(np.int32)
    class_starts = np.concatenate([[0], np.cumsum(np.bincount(by_slot))]).astype(np.int64)
    arrays = (boxes, masks, lab, rows, by_slot, keys, by_key, by_class, class_starts, np.empty(0, bool))
    return Part(*(frozen(array) for array in arrays))


def _boxes(lab: Floats, bits: NDArray[np.uint64], leaves: int) -> tuple[NDArray[np.float32], NDArray[np.uint64]]:
    """Return the boxes and the bits of their classes, from the smallest (the second half) up to node 1."""
    boxes, masks = np.zeros((2 * leaves, 6), np.float32), np.zeros(2 * leaves, np.uint64)
    if not len(lab):
        return boxes, masks
    starts = np.arange(leaves) * len(lab) // leaves
    low, high = np.minimum.reduceat(lab, starts), np.maximum.reduceat(lab, starts)
    mask = np.bitwise_or.reduceat(bits, starts)
    while True:
        here = slice(len(low), 2 * len(low))
        boxes[here, :3], boxes[here, 3:], masks[here] = _outwards(low, -inf), _outwards(high, inf), mask
        if len(low) == 1:
            return boxes, masks
        low, high = low.reshape(-1, 2, 3).min(axis=1), high.reshape(-1, 2, 3).max(axis=1)
        mask = mask[::2] | mask[1::2]


def _outwards(corner: Floats, towards: float) -> NDArray[np.float32]:
    """Return the corners in single precision, never rounded into the box."""
    single = corner.astype(np.float32)
    cut = single > corner if towards < 0 else single < corner
    return np.where(cut, np.nextafter(single, np.float32(towards)), single)
