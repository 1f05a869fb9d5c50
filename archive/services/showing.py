"""Colours as a screen can show them: a simulation, the print decides."""

from __future__ import annotations

from collections.abc import Sequence

from archive.colour.spaces import lab_to_hex


def screen_hex(lab: Sequence[float]) -> str:
    """Return `#rrggbb` of an absolute Lab, cut to what a screen shows."""
    return lab_to_hex([min(max(lab[0], 0.0), 100.0), lab[1], lab[2]])
