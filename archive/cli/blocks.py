"""A colour as a coloured block, where the terminal can show it."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence


def shows_colour() -> bool:
    """Return whether blocks are shown: a terminal, or when asked for by FORCE_COLOR; never under NO_COLOR."""
    if os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR"):
        return True
    return sys.stdout.isatty() and os.environ.get("TERM", "dumb") != "dumb"


def block(lab: Sequence[float], width: int) -> str:
    """Return a block of a colour (a simulation: the print decides), or the bare hex where none can be shown."""
    from archive.services.showing import screen_hex

    text = screen_hex(lab)
    if not shows_colour():
        return text if width >= 8 else ""
    red, green, blue = (int(text[start : start + 2], 16) for start in (1, 3, 5))
    if os.environ.get("COLORTERM") in ("truecolor", "24bit") or os.environ.get("FORCE_COLOR"):
        return f"\x1b[48;2;{red};{green};{blue}m{' ' * width}\x1b[0m"
    levels = [round(part / 255 * 5) for part in (red, green, blue)]
    return f"\x1b[48;5;{16 + 36 * levels[0] + 6 * levels[1] + levels[2]}m{' ' * width}\x1b[0m"
