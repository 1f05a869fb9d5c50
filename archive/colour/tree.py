"""A million swatches searched exactly under CIEDE2000: filters inside, recipes counted once, kept in a file.

The search itself is compiled (`tree_kernel`). In plain numpy (`tree_plain`) it takes some ten times as long at a
million swatches, which is still less than loading the compiler takes: a process that asks once does without.

Every swatch has a row (its place in the arrays given), a key (its recipe's number) and a class: a small number for
all that a filter may ask of it, such as ink set, paper, evidence and how sure its colour is. What is allowed is
asked by class. Each box of the tree knows its swatches' classes, folded into 64 bits, and is passed over when no
allowed one is among them. Classes that filters ask for together are best numbered as neighbours, the ink set first:
eight neighbours share a bit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from archive.colour.nearest import Near, NearKeys
from archive.colour.spaces import Floats, check_lab
from archive.colour.tree_build import build_part, class_bits, frozen, load_kernel
from archive.colour.tree_file import map_arrays, write_arrays
from archive.colour.tree_part import Part
from archive.colour.tree_plain import best_per_key
from archive.errors import ColourError, InputError

if TYPE_CHECKING:
    from archive.colour.tree_kernel import Question

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]

_CLASSES = 1 << 16
_ROWS = 1 << 31
_PART_ARRAYS = ("boxes", "masks", "lab", "rows", "classes", "keys", "by_key", "by_class", "class_starts")
_EXTRA = "extra."  # before the name of an array that is the caller's own


@dataclass(frozen=True, slots=True)
class KeyRows:
    """Keys by the distance of their nearest swatch, then by its row.

    Attributes
    ----------
    key : (m,) ndarray of int64
    row : (m,) ndarray of int64
        The key's nearest allowed swatch.
    delta_e : (m,) ndarray of float64
        CIEDE2000 of that swatch.
    """

    key: Ints
    row: Ints
    delta_e: Floats


@dataclass(frozen=True, slots=True)
class SwatchTree:
    """Swatches in trees of boxes; a value that never changes, safe to share between threads.

    Attributes
    ----------
    parts : tuple of Part
        One tree, and one more for each tail.
    class_count : int
        One more than the greatest class.
    fields, extra : mapping
        What a file held besides: the caller's fields, and the caller's arrays by name.
    """

    parts: tuple[Part, ...]
    class_count: int
    fields: Mapping[str, Any] = field(default_factory=dict)
    extra: Mapping[str, NDArray[Any]] = field(default_factory=dict)

    @classmethod
    def build(
        cls,
        lab: ArrayLike,
        keys: ArrayLike,
        classes: ArrayLike,
        *,
        progress: Callable[[int, int], None] | None = None,
    ) -> Self:
        """Return the tree of some swatches.

        Parameters
        ----------
        lab : (n, 3) array_like
            See `check_lab`; at most 2^31 of them.
        keys : (n,) array_like of int
            The recipe's number of each swatch.
        classes : (n,) array_like of int
            The class of each swatch, from 0 to 65,535.
        progress : callable
            Told how many of how many steps are done.

        Raises
        ------
        ColourError, InputError
            The colours, keys or classes are malformed.
        """
        lab = check_lab(lab)
        if lab.ndim != 2 or len(lab) >= _ROWS:
            raise ColourError("a tree is built from a table of colours", mend="Give one colour a row.")
        numbers, kinds = _whole(keys, "keys", len(lab)), _whole(classes, "classes", len(lab))
        if len(lab) and not 0 <= kinds.min() <= kinds.max() < _CLASSES:
            raise InputError("a class must be a number from 0 to {most}", most=_CLASSES - 1, mend="Number them anew.")
        part = build_part(lab, numbers, kinds.astype(np.uint16), progress)
        return cls((part,), int(kinds.max(initial=-1)) + 1)

    @classmethod
    def open(cls, path: str | Path, expected: Mapping[str, Any] | None = None) -> Self:
        """Return the tree of a file, mapped and not read; `fields` and `extra` are what was saved with it.

        Parameters
        ----------
        path : path-like
        expected : mapping
            Fields that the file must have been saved with: the archive, the generation, the code's version.

        Raises
        ------
        CatalogueError
            The file is missing, torn, of another format, or not the expected one.
        """
        file = map_arrays(path, expected)
        extra = {name.removeprefix(_EXTRA): array for name, array in file.arrays.items() if name.startswith(_EXTRA)}
        part = Part(**{name: file.arrays[name] for name in _PART_ARRAYS}, dead=_NONE)
        return cls((part,), len(file.arrays["class_starts"]) - 1, file.fields, extra)

    def save(
        self, path: str | Path, fields: Mapping[str, Any], extra: Mapping[str, NDArray[Any]] | None = None
    ) -> None:
        """Write the tree as one file in place of what is there; who has the old one open goes on with it.

        Parameters
        ----------
        path : path-like
            In a folder that exists.
        fields : mapping
            Plain values: what the file is of.
        extra : mapping of str to ndarray
            More arrays to keep with it, such as the swatch's own number of each row.

        Raises
        ------
        InputError
            The tree has a tail or dead rows (build it anew), or the fields are no plain values.
        CatalogueError
            The file cannot be written.
        """
        if len(self.parts) != 1 or len(self.parts[0].dead):
            raise InputError("only a tree just built is kept", mend="Build it from all living swatches, then save it.")
        arrays = {name: getattr(self.parts[0], name) for name in _PART_ARRAYS}
        write_arrays(path, fields, arrays | {_EXTRA + name: array for name, array in (extra or {}).items()})

    def with_tail(self, lab: ArrayLike, keys: ArrayLike, classes: ArrayLike) -> Self:
        """Return a tree that also holds newer swatches; their rows follow those that are there.

        Parameters
        ----------
        lab, keys, classes
            As in `build`. A tail of 20,000 takes some milliseconds.

        Raises
        ------
        ColourError, InputError
            See `build`.
        """
        tail = type(self).build(lab, keys, classes)
        return replace(self, parts=self.parts + tail.parts, class_count=max(self.class_count, tail.class_count))

    def without(self, rows: ArrayLike) -> Self:
        """Return a tree in which these rows are dead, and no answer holds them.

        Parameters
        ----------
        rows : (m,) array_like of int

        Raises
        ------
        InputError
            There is no such row.
        """
        gone = np.asarray(rows, dtype=np.int64).reshape(-1)
        if len(gone) and not 0 <= gone.min() <= gone.max() < len(self):
            raise InputError("rows go from 0 to {most}", most=len(self) - 1, mend="Take only rows of this tree.")
        dead = np.concatenate([part.dead if len(part.dead) else np.zeros(len(part.lab), bool) for part in self.parts])
        dead[gone] = True
        dead.setflags(write=False)
        ends = np.cumsum([len(part.lab) for part in self.parts])[:-1]
        pieces = np.split(dead, ends)
        parts = [part._replace(dead=piece) for part, piece in zip(self.parts, pieces, strict=True)]
        return replace(self, parts=tuple(parts))

    def __len__(self) -> int:
        return sum(len(part.lab) for part in self.parts)

    def nearest(self, wanted: ArrayLike, k: int, allowed: ArrayLike | None = None) -> Near:
        """Return the k nearest allowed swatches, or all when there are fewer.

        Parameters
        ----------
        wanted : (3,) array_like
            See `check_lab`.
        k : int
            At least 0.
        allowed : (c,) array_like of bool
            Which classes count, for at least all classes that there are; all, unless said.

        Raises
        ------
        ColourError, InputError
            The wanted colour or the table of classes is malformed.
        """
        return self._nearest(_one_colour(wanted), k, self._filter(allowed))

    def nearest_batch(self, wanted: ArrayLike, k: int, allowed: ArrayLike | None = None, *, threads: int = 2) -> Near:
        """Return `nearest` for each of many wanted colours.

        Parameters
        ----------
        wanted : (q, 3) array_like
            See `check_lab`.
        k, allowed
            See `nearest`.
        threads : int
            How many of the processor's cores to use.

        Returns
        -------
        Near of (q, k) arrays
            A line for each wanted colour; where there are fewer than k, -1 and inf fill it.

        Raises
        ------
        ColourError, InputError
            The wanted colours or the table of classes are malformed.
        """
        colours = frozen(np.array(check_lab(wanted), order="C"))
        if colours.ndim != 2:
            raise ColourError("a batch is a table of colours", mend="Give one colour a row.")
        question = _question(np.zeros(3), inf, self._filter(allowed))  # each colour takes the place of this black
        rows, delta_e = [], []
        first = 0
        for part in self.parts:
            found = _search_many(colours, question, part, max(int(k), 0), max(threads, 1))
            rows.append(np.where(found.index < 0, -1, found.index + first))
            delta_e.append(found.delta_e)
            first += len(part.lab)
        index, differences = np.hstack(rows), np.hstack(delta_e)
        order = np.lexsort((index, differences))[:, : max(int(k), 0)]
        return Near(np.take_along_axis(index, order, axis=1), np.take_along_axis(differences, order, axis=1))

    def nearest_keys(
        self,
        wanted: ArrayLike,
        k: int,
        allowed: ArrayLike | None = None,
        *,
        step: float = 0.5,
        radius: float = inf,
    ) -> KeyRows:
        """Return the k nearest keys, each with its nearest allowed swatch, and all that tie with the last.

        Distances tie when they are the same rounded down to `step`: whoever ranks ties by other facts gets all of
        them, and may cut the list after that.

        Parameters
        ----------
        wanted : (3,) array_like
            See `check_lab`.
        k : int
            At least 0.
        allowed : (c,) array_like of bool
            See `nearest`.
        step : float
            CIEDE2000, at least 0; with 0 only equal distances tie.
        radius : float
            CIEDE2000, itself included: no key beyond it is returned.

        Raises
        ------
        ColourError, InputError
            The wanted colour or the table of classes is malformed.
        """
        colour, classes = _one_colour(wanted), self._filter(allowed)
        if k <= 0:
            return KeyRows(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0))
        near, keys = self._ask(colour, classes, radius, k, float(step), by_key=True)
        # Each part gave its own k nearest keys: the nearest k of all are among them.
        first = np.sort(np.unique(keys, return_index=True)[1])
        keys, rows, delta_e = keys[first], near.index[first], near.delta_e[first]
        if len(keys) > k:
            bucket = np.floor(delta_e / step) if step > 0 else delta_e
            count = int(np.searchsorted(bucket, bucket[k - 1], side="right"))
            keys, rows, delta_e = keys[:count], rows[:count], delta_e[:count]
        return KeyRows(keys, rows, delta_e)

    def within(self, wanted: ArrayLike, radius: float, allowed: ArrayLike | None = None) -> Near:
        """Return all allowed swatches at most `radius` away.

        Parameters
        ----------
        wanted : (3,) array_like
            See `check_lab`.
        radius : float
            CIEDE2000, itself included.
        allowed : (c,) array_like of bool
            See `nearest`.

        Raises
        ------
        ColourError, InputError
            The wanted colour or the table of classes is malformed.
        """
        return self._ask(_one_colour(wanted), self._filter(allowed), radius, len(self) + 1)[0]

    def count_within(self, wanted: ArrayLike, radius: float, keys: ArrayLike, allowed: ArrayLike | None = None) -> Ints:
        """Return how many allowed swatches of each of a few keys lie at most `radius` away.

        Parameters
        ----------
        wanted : (3,) array_like
            See `check_lab`.
        radius : float
            CIEDE2000, itself included.
        keys : (m,) array_like of int
        allowed : (c,) array_like of bool
            See `nearest`.

        Returns
        -------
        (m,) ndarray of int64

        Raises
        ------
        ColourError, InputError
            The wanted colour, the keys or the table of classes are malformed.
        """
        colour, classes = _one_colour(wanted), self._filter(allowed)
        numbers = frozen(_whole(keys, "keys", np.size(keys)))
        question = _question(colour, radius, classes)
        counts = np.zeros(len(numbers), np.int64)
        for part in self.parts:
            counts += load_kernel().count_within(question, part, numbers)
        return counts

    def nearest_of_keys(self, wanted: ArrayLike, keys: ArrayLike) -> Near:
        """Return the nearest swatch of each of a few keys; equals go by row.

        Parameters
        ----------
        wanted : (3,) array_like
            See `check_lab`.
        keys : (m,) array_like of int

        Returns
        -------
        Near of (m,) arrays
            In the order of the keys; -1 and inf where no living swatch has the key.

        Raises
        ------
        ColourError, InputError
            The wanted colour or the keys are malformed.
        """
        numbers = frozen(_whole(keys, "keys", np.size(keys)))
        question, first = _question(_one_colour(wanted), inf, _ALL), 0
        rows, delta_e = np.full(len(numbers), -1, np.int64), np.full(len(numbers), inf)
        for part in self.parts:
            own, distances = load_kernel().nearest_of_keys(question, part, numbers)
            is_nearer = distances < delta_e  # earlier parts hold the earlier rows
            rows[is_nearer], delta_e[is_nearer] = own[is_nearer] + first, distances[is_nearer]
            first += len(part.lab)
        return Near(rows, delta_e)

    def best_per_key(
        self, wanted: ArrayLike, *, radius: float, at_least: int, allowed: ArrayLike | None = None
    ) -> NearKeys:
        """Return each key's nearest swatch, for all keys within the radius and `at_least` keys in any case.

        Needs no compiler, and is slower than the rest: for a process that asks once.

        Parameters
        ----------
        wanted : (3,) array_like
            See `check_lab`.
        radius : float
            CIEDE2000, itself included.
        at_least : int
            When fewer keys lie within the radius, the next nearest follow, as far as there are any.
        allowed : (c,) array_like of bool
            See `nearest`.

        Raises
        ------
        ColourError, InputError
            The wanted colour or the table of classes is malformed.
        """
        return best_per_key(self.parts, _one_colour(wanted), *self._filter(allowed), radius=radius, at_least=at_least)

    def _nearest(self, colour: Floats, k: int, classes: tuple[Mask, np.uint64]) -> Near:
        if k <= 0:
            return Near(np.empty(0, np.int64), np.empty(0))
        near, _ = self._ask(colour, classes, inf, k)
        return Near(near.index[:k], near.delta_e[:k])

    def _ask(
        self,
        colour: Floats,
        classes: tuple[Mask, np.uint64],
        radius: float,
        k: int,
        step: float = 0.0,
        *,
        by_key: bool = False,
    ) -> tuple[Near, Ints]:
        """Return what the parts answer, in one order, and the keys of these rows."""
        question, first = _question(colour, radius, classes), 0
        found = []
        for part in self.parts:
            if len(part.lab):
                rows, delta_e = load_kernel().search(question, part, k, step, by_key)
                found.append((rows + first, delta_e, part.keys[rows] if by_key else rows))
            first += len(part.lab)
        if len(found) == 1:
            return Near(*found[0][:2]), found[0][2]
        none: list[tuple[Ints, Floats, Ints]] = [(np.empty(0, np.int64), np.empty(0), np.empty(0, np.int64))]
        rows, delta_e, keys = (np.concatenate(each) for each in zip(*(found or none), strict=True))
        order = np.lexsort((rows, delta_e))
        return Near(rows[order], delta_e[order]), keys[order]

    def _filter(self, allowed: ArrayLike | None) -> tuple[Mask, np.uint64]:
        """Return the table of classes for the kernel, empty when all count, and their bits."""
        if allowed is None:
            return _ALL
        table = np.array(allowed)
        if table.dtype != np.bool_ or table.ndim != 1 or len(table) < self.class_count:
            raise InputError(
                "what is allowed must be marked for {count} classes, not by {found}",
                count=self.class_count,
                found=f"{table.dtype} of shape {table.shape}",
                mend="Give true or false for each class.",
            )
        if table.all():
            return _ALL
        bits = np.bitwise_or.reduce(class_bits(np.flatnonzero(table)), initial=np.uint64(0))
        return frozen(table), np.uint64(bits)


_NONE: Mask = frozen(np.empty(0, bool))
_ALL: tuple[Mask, np.uint64] = (_NONE, np.uint64(2**64 - 1))


def _question(colour: Floats, radius: float, classes: tuple[Mask, np.uint64]) -> Question:
    L, a, b = colour.tolist()
    question: Question = load_kernel().Question(L, a, b, float(radius), *classes)
    return question


def _search_many(colours: Floats, question: Question, part: Part, k: int, threads: int) -> Near:
    """Return one part's k nearest for each colour, found by several threads, each for a piece of the colours."""
    rows, delta_e = np.full((len(colours), k), -1, np.int64), np.full((len(colours), k), inf)
    if rows.size and len(part.lab):
        search = load_kernel().search_many
        pieces = [np.array_split(each, min(threads, len(colours))) for each in (colours, rows, delta_e)]
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(lambda piece: search(piece[0], question, part, *piece[1:]), zip(*pieces, strict=True)))
    return Near(rows, delta_e)


def _one_colour(wanted: ArrayLike) -> Floats:
    lab = check_lab(wanted)
    if lab.ndim != 1:
        raise ColourError("one colour is wanted at a time", mend="Ask for each by itself, or all by `nearest_batch`.")
    return lab


def _whole(values: ArrayLike, what: str, count: int) -> Ints:
    """Return whole numbers, one a swatch, as an array of our own."""
    array = np.asarray(values)
    if array.shape != (count,) or not (np.issubdtype(array.dtype, np.integer) or not count):
        raise InputError(
            "{what} must be {count} whole numbers, not {found}",
            what=what,
            count=count,
            found=f"{array.dtype} of shape {array.shape}",
            mend="Give one for each swatch.",
        )
    return array.astype(np.int64)
