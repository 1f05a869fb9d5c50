"""What bare `inkchest` says: what is there, and the one thing to do next."""

from __future__ import annotations

from sqlalchemy.orm import Session

from archive.services.backup_state import backup_words
from archive.services.counts import count_records


def what_next(session: Session) -> list[str]:
    """Return a few lines: what the archive holds, what would help most now, the last backup."""
    counts = count_records(session)
    held = ", ".join(f"{count} {_one(noun) if count == 1 else noun}" for noun, count in counts.items())
    return [f"In this archive: {held}.", next_step(counts), backup_words(session)]


def _one(noun: str) -> str:
    return "swatch" if noun == "swatches" else noun.removesuffix("s")


def next_step(counts: dict[str, int]) -> str:
    """Return the one deed that would help most."""
    if not counts["inks"]:
        return "Next, name the inks in the house: inkchest ink add NAME --looks '#2a5ea8'"
    if not counts["works"]:
        return 'Next, enter a print: inkchest work add --title NAME --inks "blue over yellow" --picture FILE'
    if not counts["pictures"]:
        return "Next, add photos: inkchest picture add FILES --work REF"
    return "Ask for a colour: inkchest match colour '#c8553d' (see `inkchest --help` for the rest)"
