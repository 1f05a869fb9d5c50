"""Colours as coloured blocks, where the terminal can show them. A simulation: the print decides."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from collections.abc import Sequence

_CUBE = (0, 95, 135, 175, 215, 255)  # levels of the 6 x 6 x 6 colours of a 256-colour terminal [xterm's palette]
_WIDTH, _HEIGHT = 8, 3  # of one block in characters: the eye needs an area, a dot is no colour


def shows_colour() -> bool:
    """Return whether blocks are shown: a terminal, or when asked for by FORCE_COLOR; never under NO_COLOR."""
    if os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR"):
        return True
    return sys.stdout.isatty() and (os.environ.get("TERM", "dumb") != "dumb" or bool(os.environ.get("WT_SESSION")))


def terminal_width() -> int | None:
    """Return how many characters a line holds; None where a line may be as long as it likes."""
    if sys.stdout.isatty() or os.environ.get("COLUMNS", "").isdigit():
        return max(40, shutil.get_terminal_size().columns)
    return None


def hex_of(lab: Sequence[float]) -> str:
    """Return `#rrggbb` of a colour, as a screen can show it."""
    from archive.services.showing import screen_hex  # here, so that small commands load no numbers' library

    return screen_hex(lab)


def painted(hex_text: str, width: int) -> str:
    """Return one line of a block of `#rrggbb`; nothing where no colour can be shown."""
    if not shows_colour():
        return ""
    red, green, blue = (int(hex_text[start : start + 2], 16) for start in (1, 3, 5))
    if _has_all_colours():
        return f"\x1b[48;2;{red};{green};{blue}m{' ' * width}\x1b[0m"
    levels = [min(range(6), key=lambda level: abs(_CUBE[level] - part)) for part in (red, green, blue)]
    return f"\x1b[48;5;{16 + 36 * levels[0] + 6 * levels[1] + levels[2]}m{' ' * width}\x1b[0m"


def _has_all_colours() -> bool:
    asked = os.environ.get("COLORTERM") in ("truecolor", "24bit")
    return asked or bool(os.environ.get("FORCE_COLOR")) or bool(os.environ.get("WT_SESSION"))


def block(lab: Sequence[float], width: int = _WIDTH) -> str:
    """Return one line of a block of a colour, or `#rrggbb` where none can be shown."""
    return painted(hex_of(lab), width) or hex_of(lab)


def strip(labs: Sequence[Sequence[float]], width: int) -> str:
    """Return colours side by side in one line; nothing where none can be shown."""
    return "".join(painted(hex_of(lab), width) for lab in labs)


def beside(
    labs: Sequence[Sequence[float]], lines: Sequence[str], *, lead: str = "", height: int = _HEIGHT
) -> list[str]:
    """Return lines of text to the right of large blocks that touch each other, wrapped at the terminal's edge.

    Parameters
    ----------
    labs : sequence of (L*, a*, b*)
        The blocks, from the left.
    lines : sequence of str
        The text; longer than the blocks, it goes on below and stays in its column.
    lead : str
        What stands before the first line, such as its number.
    height : int
        Lines of a block.
    """
    patch = strip(labs, _WIDTH)
    gap = len(lead) + (len(labs) * _WIDTH + 2 if patch else 0)
    text = [part for line in lines for part in _wrapped(line, gap)]
    text += [""] * (height - len(text) if patch else 0)
    shown = []
    for number, line in enumerate(text):
        head = lead if number == 0 else " " * len(lead)
        side = (patch if number < height else " " * _WIDTH * len(labs)) + "  " if patch else ""
        shown.append(f"{head}{side}{line}".rstrip(" "))
    return shown


def _wrapped(line: str, gap: int) -> list[str]:
    width = terminal_width()
    if width is None:
        return [line]
    return textwrap.wrap(line, max(24, width - gap - 1), subsequent_indent="  ", break_long_words=False) or [""]
