"""Which work a file or folder name tells of: by its ref, or by the number it had in an older list."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold
from archive.catalogue.models import Variant, Work

Words = tuple[str, ...]
_WORD = re.compile(r"[^\W\d_]+|\d+")
_MOST_WORDS = 6  # that a ref is made of
_LETTERS_ALONE = 3  # a ref of one or two letters would be found in every other name
_NUMBER_SIGNS = {"no", "nr", "job", "number", "num"}  # before a bare number they say that it is a job's
_YEARS = range(1900, 2100)


@dataclass(frozen=True, slots=True)
class Recognised:
    """What a name tells of.

    Attributes
    ----------
    refs : tuple of str
        Of works or variants: one when it is plain, several when the name could mean each of them.
    by : str
        "file name" or "folder".
    name : str
        The name that tells it.
    """

    refs: tuple[str, ...]
    by: str
    name: str


class KnownNames:
    """The refs and old job numbers of all works, to look for in names of files and folders.

    Without a session none is known.
    """

    def __init__(self, session: Session | None) -> None:
        self._refs: dict[Words, set[str]] = {}
        self._variants: dict[Words, set[str]] = {}
        self._numbers: dict[Words, set[str]] = {}
        if session is not None:
            self._read(session)

    def _read(self, session: Session) -> None:
        query = select(Work.ref, Work.old_number).where(Work.binned_at.is_(None))
        for ref, number in session.execute(query):
            self._refs.setdefault(_words(ref), set()).add(ref)
            if number:
                self._numbers.setdefault(_words(number), set()).add(ref)
        for ref in session.scalars(select(Variant.ref).where(Variant.binned_at.is_(None))):
            self._variants.setdefault(_words(ref), set()).add(ref)

    def recognise(self, stem: str, folders: Sequence[str]) -> Recognised | None:
        """Return what a file's name tells of, else what the nearest folder that tells of something does."""
        names = [(stem, "file name"), *((folder, "folder") for folder in reversed(folders))]
        for name, by in names:
            if refs := self._in(name):
                return Recognised(tuple(sorted(refs)), by, name)
        return None

    def _in(self, name: str) -> set[str]:
        """Return the refs in a name; the longest that fit, and a ref before an old number."""
        name = unicodedata.normalize("NFC", name)
        found = list(_WORD.finditer(name))
        words = tuple(fold(match.group()) for match in found)
        refs: set[str] = set()
        numbers: set[str] = set()
        start = 0
        while start < len(words):
            for end in range(min(start + _MOST_WORDS, len(words)), start, -1):
                part, text = words[start:end], name[found[start].start() : found[end - 1].end()]
                if len(part) == 1 and not _may_stand_alone(words, start):
                    continue
                meant = self._variant(part, text) or self._refs.get(part, set())
                if meant or part in self._numbers:
                    refs |= meant
                    numbers |= set() if meant else self._numbers[part]
                    start = end - 1
                    break
            start += 1
        return refs or numbers

    def _variant(self, part: Words, text: str) -> set[str]:
        """Return a variant's ref that stands there to the letter: "QA-0042 a" may be the first photo of QA-0042."""
        return {ref for ref in self._variants.get(part, ()) if fold(ref) == fold(text)}


def _may_stand_alone(words: Words, place: int) -> bool:
    """Return whether one word is enough: a bare number may be a year, a size or the camera's count."""
    word = words[place]
    if not word.isdecimal():
        return len(word) >= _LETTERS_ALONE
    if place > 0 and words[place - 1] in _NUMBER_SIGNS:
        return True
    return len(words) == 1 and int(word) not in _YEARS


def _words(text: str) -> Words:
    return tuple(fold(match.group()) for match in _WORD.finditer(unicodedata.normalize("NFC", text)))
