"""Who a row is, when it was made, and how its words are folded for sorting and search."""

from __future__ import annotations

import os
import re
import secrets
import time
import unicodedata
from datetime import UTC, date, datetime


def new_uid() -> str:
    """Return a fresh UUID version 7 as text, ordered by time. Source: RFC 9562, section 5.7."""
    milliseconds = time.time_ns() // 1_000_000
    number = (milliseconds << 80) | (0x7 << 76) | (secrets.randbits(12) << 64) | (0b10 << 62)
    text = f"{number | secrets.randbits(62):032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def now() -> str:
    """Return this moment as ISO text in UTC, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def today() -> date:
    """Return the day, from `INKCHEST_TODAY` where it is set (so that a demo ages predictably)."""
    given = os.environ.get("INKCHEST_TODAY")
    return date.fromisoformat(given) if given else datetime.now(UTC).date()


def first_day(text: str) -> date:
    """Return the first day of an ISO date that may lack its day or month: 2019-05 is 1 May 2019."""
    return date.fromisoformat((text[:10] + "-01-01")[:10] if len(text) < 8 else text[:10])


def fold(text: str) -> str:
    """Return the text for comparing: no case, no diacritics, single spaces.

    Stored beside the text itself, so that both databases sort and search alike.
    """
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(character for character in decomposed if not unicodedata.combining(character))
    return " ".join(bare.casefold().split())


def sort_key(text: str) -> str:
    """Return the folded text with every number padded, so that drawer 5 comes before drawer 12."""
    return re.sub(r"\d+", lambda found: found.group().zfill(8), fold(text))
