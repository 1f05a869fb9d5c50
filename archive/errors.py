"""Every error and notice the archive raises on purpose.

An error keeps its template and values apart, so that a face can translate it; `str()` gives English.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


class ArchiveError(Exception):
    """An error with words for a person: what happened, where, and how to mend it.

    Parameters
    ----------
    template : str
        What happened, with `{name}` places for `values`.
    where : str
        The file, row, field or record it happened at.
    mend : str
        What the person can do next.
    values
        What fills the template.
    """

    code = "archive_error"

    def __init__(self, template: str, *, where: str = "", mend: str = "", **values: Any) -> None:
        super().__init__(template, where, mend, values)
        self.template, self.where, self.mend, self.values = template, where, mend, values

    @property
    def what(self) -> str:
        """Return the template filled with its values."""
        return self.template.format(**self.values) if self.values else self.template

    def __str__(self) -> str:
        text = self.what
        if self.where:
            text = f"{self.where}: {text}"
        if self.mend:
            text = f"{text}. {self.mend}"
        return text


class InputError(ArchiveError):
    """What a person or a file supplied cannot be used."""

    code = "input_error"


class ColourError(InputError, ValueError):
    """A colour or spectrum is malformed or off its scale."""

    code = "colour_error"


class NotFoundError(ArchiveError, LookupError):
    """The thing asked for is not in the archive."""

    code = "not_found"


class ConflictError(ArchiveError):
    """A duplicate, something in use, or a value another person changed meanwhile."""

    code = "conflict"


class CatalogueError(ArchiveError):
    """The archive itself: missing, locked, full, or of another version."""

    code = "catalogue_error"


class ManyErrors(InputError):  # noqa: N818 - it is read as "many errors" in an import report
    """All that is wrong with one input, so that a person mends it in one go."""

    code = "many_errors"

    def __init__(self, errors: list[ArchiveError], *, where: str = "", mend: str = "") -> None:
        super().__init__("{count} things are wrong", where=where, mend=mend, count=len(errors))
        self.errors = tuple(errors)

    def __str__(self) -> str:
        if len(self.errors) == 1:
            return str(self.errors[0])
        alike: dict[tuple[str, str], list[ArchiveError]] = {}
        for error in self.errors:
            alike.setdefault((error.what, error.mend), []).append(error)
        lines = [_with_count(errors) for errors in alike.values()]
        if len(lines) > _MOST_LINES:
            lines = [*lines[:_MOST_LINES], f"  and {len(lines) - _MOST_LINES} more of other kinds"]
        return "\n".join([super().__str__(), *lines])


_MOST_LINES = 25  # a screenful: whoever has more to mend mends these first


def _with_count(errors: list[ArchiveError]) -> str:
    """Return errors that say the same of several places as one line."""
    more = f" (and {len(errors) - 1} more like it)" if len(errors) > 1 else ""
    return f"  {errors[0]}{more}"


@dataclass(frozen=True, slots=True)
class Notice:
    """Something a person should know that stops nothing; translated like an error."""

    code: str
    template: str
    values: dict[str, Any] = field(default_factory=dict)
    where: str = ""

    def __str__(self) -> str:
        text = self.template.format(**self.values) if self.values else self.template
        return f"{self.where}: {text}" if self.where else text
