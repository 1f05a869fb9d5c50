"""What our codes say, and how they are drawn.

A code says `inkchest:WHAT:UID`, for instance `inkchest:place:0192c3a4-…`: which kind of thing it is, and the uid of
its record. Nothing else is in it, so that a label stays right when the thing is renamed or moved.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass

_HEAD = "inkchest"
_FORM = re.compile(rf"{_HEAD}:([a-z]+):([0-9a-f]{{8}}(?:-[0-9a-f]{{4}}){{3}}-[0-9a-f]{{12}})")
_QUIET_MODULES = 4  # free modules round a QR code [ISO/IEC 18004]


@dataclass(frozen=True, slots=True)
class CodeText:
    """What a code of ours says: the kind of thing (place, slip) and its uid."""

    what: str
    uid: str


def code_text(what: str, uid: str) -> str:
    """Return the text of a code."""
    return f"{_HEAD}:{what}:{uid}"


def parse_code_text(text: str) -> CodeText | None:
    """Return what a code says; None when it is none of ours."""
    found = _FORM.fullmatch(text.strip().lower())
    return CodeText(found.group(1), found.group(2)) if found else None


def qr_svg(text: str) -> bytes:
    """Return a QR code as an SVG drawing with its quiet zone, black on white.

    It corrects up to 15 % of wrong modules (level M), enough for a crease or a thumb at the edge.
    """
    import segno  # here, so that reading a code's text loads nothing

    made = segno.make(text, error="m", micro=False, boost_error=False)
    out = io.BytesIO()
    plain = {"xmldecl": False, "nl": False, "svgclass": None, "lineclass": None}
    made.save(out, kind="svg", border=_QUIET_MODULES, light="#ffffff", dark="#000000", **plain)
    return out.getvalue()
