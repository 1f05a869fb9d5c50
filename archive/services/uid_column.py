"""The uids of many rows in sixteen bytes each, read back as text only for the rows that are asked for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

_PACKED = 16  # bytes of a UUID
_DASHES = (8, 13, 18, 23)  # of a UUID's text, RFC 9562 section 4
_DIGITS = np.frombuffer(b"0123456789abcdef", dtype=np.uint8)
_IS_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}").fullmatch
_PLACES = np.array([place for place in range(36) if place not in _DASHES])


def pack_uids(uids: Sequence[str]) -> NDArray[np.uint8]:
    """Return UUIDs as their bytes, (n, 16); as text, (n, longest), where one is none."""
    if all(len(uid) == 36 and _IS_UUID(uid) for uid in uids):
        packed = b"".join(bytes.fromhex(uid.replace("-", "")) for uid in uids)
        return np.frombuffer(packed, dtype=np.uint8).reshape(-1, _PACKED)
    text = np.array(uids, dtype=np.bytes_)
    return text.view(np.uint8).reshape(len(text), -1)


@dataclass(frozen=True, slots=True)
class UidColumn:
    """A column of packed uids; indexed by rows it gives their text as bytes, which sorts as the text does."""

    packed: NDArray[np.uint8]

    def __getitem__(self, rows: ArrayLike) -> NDArray[Any]:
        """Return the uids of some rows, as bytes in the shape of `rows`."""
        asked = np.asarray(rows)
        own = self.packed[asked.reshape(-1)]
        if own.shape[1] != _PACKED:
            return np.ascontiguousarray(own).view(f"S{own.shape[1]}").reshape(asked.shape)
        text = np.full((len(own), 36), ord("-"), dtype=np.uint8)
        text[:, _PLACES[0::2]] = _DIGITS[own >> 4]
        text[:, _PLACES[1::2]] = _DIGITS[own & 15]
        return text.view("S36").reshape(asked.shape)
