"""A tree of swatches as arrays, in memory or in a mapped file; both searches take it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from archive.colour.spaces import Floats

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


class Part(NamedTuple):
    """A tree over n swatches; a slot is a swatch's place in the order of the tree.

    Attributes
    ----------
    boxes : (2 m, 6) ndarray of float32
        Least L*, a*, b*, then greatest, of node 1, its children 2 and 3, and so on to the m smallest boxes.
    masks : (2 m,) ndarray of uint64
        The bits of the classes in each box.
    lab : (n, 3) ndarray of float64, by slot
    rows : (n,) ndarray of int32, by slot
    classes : (n,) ndarray of uint16, by slot
    keys : (n,) ndarray of int64, by row
    by_key, by_class : (n,) ndarray of int32
        The slots in the order of their keys, and of their classes.
    class_starts : (c + 1,) ndarray of int64
        Where each class begins in `by_class`, and where the last one ends.
    dead : (n,) ndarray of bool, by row; empty when all live

    Whoever alters these fields alters `tree_kernel` too, or numba goes on with code compiled for the old ones.
    """

    boxes: NDArray[np.float32]
    masks: NDArray[np.uint64]
    lab: Floats
    rows: NDArray[np.int32]
    classes: NDArray[np.uint16]
    keys: Ints
    by_key: NDArray[np.int32]
    by_class: NDArray[np.int32]
    class_starts: Ints
    dead: Mask
