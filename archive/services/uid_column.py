"""The uids of many rows in sixteen bytes each, read back as text only for the rows that are asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

_DASHES = (8, 13, 18, 23)  # of a UUID's text, RFC 9562 section 4
_DIGITS = np.frombuffer(b"0123456789abcdef", dtype=np.uint8)
_PLACES = np.array([place for place in range(36) if place not in _DASHES])


def pack_uids(uids: Sequence[str]) -> NDArray[np.uint8]:
    """Return UUIDs as their bytes, (n, 16)."""
    packed = b"".join(bytes.fromhex(uid.replace("-", "")) for uid in uids)
    return np.frombuffer(packed, dtype=np.uint8).reshape(-1, 16)


@dataclass(frozen=True, slots=True)
class UidColumn:
    """A column of packed uids; indexed by rows it gives their text as bytes, which sorts as the text does."""

    packed: NDArray[np.uint8]

    def __getitem__(self, rows: ArrayLike) -> NDArray[Any]:
        """Return the uids of some rows, (n,) of 36 bytes."""
        own = self.packed[np.asarray(rows)]
        text = np.full((len(own), 36), ord("-"), dtype=np.uint8)
        text[:, _PLACES[0::2]] = _DIGITS[own >> 4]
        text[:, _PLACES[1::2]] = _DIGITS[own & 15]
        return text.reshape(-1).view("S36")
