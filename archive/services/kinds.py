"""The kinds of record that a person adds, lists, shows, edits and removes, and the fields of each.

One table serves both faces: an option on the command line and a field of a form are the same `Field`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from archive.catalogue import models
from archive.catalogue.base import Kept
from archive.errors import InputError


@dataclass(frozen=True, slots=True)
class Field:
    """One fact of a record, as a person gives it.

    `type` is text, number, whole, flag, choice, date (any way of writing it), day (a plain date),
    thing (another record of `kind`), things (several), or parts (records with amounts).
    """

    name: str
    type: str
    help: str
    kind: str = ""
    choices: tuple[str, ...] = ()
    column: str = ""

    @property
    def stored_as(self) -> str:
        """Return the column that holds the field."""
        return self.column or (f"{self.name}_id" if self.type == "thing" else self.name)


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of record: its noun, its table, what it is called by, and its fields."""

    noun: str
    model: type[Kept]
    label: str  # the column that names it: name, ref or number
    key: str | None  # the folded column that it is found by
    fields: tuple[Field, ...]
    help: str
    owned_by: str = ""  # the noun whose removal takes this along

    def field(self, name: str) -> Field:
        """Return the field of that name.

        Raises
        ------
        InputError
            The kind has no such field.
        """
        for field in self.fields:
            if field.name == name:
                return field
        raise InputError(
            "{noun} has no field {name}",
            noun=self.noun,
            name=name,
            mend="It has " + ", ".join(field.name for field in self.fields),
        )


def _text(name: str, words: str, column: str = "") -> Field:
    return Field(name, "text", words, column=column)


_NOTE = _text("note", "Anything else worth keeping.")

ROLES = ("front", "back", "page", "spread", "imposed sheet", "test")

KINDS: dict[str, Kind] = {
    kind.noun: kind
    for kind in (
        Kind(
            "ink",
            models.Ink,
            "name",
            "name_key",
            (
                Field(
                    "kind",
                    "choice",
                    "How it lies on what is under it.",
                    choices=("transparent", "opaque", "fluorescent", "metallic"),
                ),
                Field("in-house", "flag", "In the house now, or retired.", column="in_house"),
                _text("looks", "Its solid colour by eye, as '#2a5ea8' or 'lab:40,10,-45' (good to about 8)."),
                Field("lightest-tint", "number", "The lightest tint that holds, percent.", column="lightest_tint"),
                Field("closing-tint", "number", "The tint that closes to solid, percent.", column="closing_tint"),
                _NOTE,
            ),
            "The colourants, by the names the workshop gives them.",
        ),
        Kind(
            "machine",
            models.Machine,
            "name",
            "name_key",
            (
                Field("drums", "whole", "How many drums it takes in one pass (start: 2)."),
                Field("in-house", "flag", "In the house now, or gone.", column="in_house"),
                Field("dpi", "whole", "Dots an inch of its masters."),
                _NOTE,
            ),
            "The presses and how many drums they take.",
        ),
        Kind(
            "drum",
            models.Drum,
            "number",
            "number_key",
            (
                Field("ink", "thing", "The ink it holds.", kind="ink"),
                Field("state", "choice", "Where it is.", choices=("loaded", "away", "empty")),
                Field("machine", "thing", "The machine it sits on now (so it is loaded).", kind="machine"),
                Field("position", "whole", "Its place on that machine: 1 prints first."),
                Field("fits", "things", "A machine that it fits; say it again for each. None: it fits all.", "machine"),
                _NOTE,
            ),
            "The cylinders: which ink, which machines they fit, where they are.",
        ),
        Kind(
            "filling",
            models.Filling,
            "name",
            "name_key",
            (
                Field("ink", "thing", "The ink.", kind="ink"),
                Field("drum", "thing", "The drum it went into.", kind="drum"),
                Field("since", "day", "In the drum since (2024-05-01)."),
                Field("until", "day", "In the drum until."),
                _text("batch", "The batch on the tin."),
                Field("mix", "parts", "A part of a mix, as Ferrywake=3; say it again for each.", "ink"),
                Field("person", "thing", "Who filled or mixed it.", kind="person"),
                _NOTE,
            ),
            "What is in a drum since when: a batch, or a mix.",
        ),
        Kind(
            "paper",
            models.Paper,
            "name",
            "name_key",
            (
                _text("shade", "Its shade in words: off-white, ivory, grey."),
                Field("gsm", "number", "Weight in grams a square metre."),
                _text("lot", "Lot or year."),
                _text("grain", "Grain: long or short."),
                Field("coloured", "flag", "A coloured paper, which counts as an ink.", column="is_coloured"),
                Field("opacity", "number", "Opacity in percent."),
                Field("sheets-left", "whole", "Sheets left in the house.", column="sheets_left"),
                _NOTE,
            ),
            "The stocks: shade, weight, lot, sheets left.",
        ),
        Kind(
            "person",
            models.Person,
            "name",
            "name_key",
            (_NOTE,),
            "People who made, printed, own or remember a work.",
        ),
        Kind(
            "place",
            models.Place,
            "path",
            "path_key",
            (
                _text("name", "Its own name."),
                Field("kind", "choice", "What it is.", choices=("room", "shelf", "chest", "drawer", "box", "folder")),
                Field("in", "thing", "The place it is inside.", kind="place", column="parent_id"),
                Field("state", "choice", "How far the listing is.", choices=("open", "checked", "closed")),
                _NOTE,
            ),
            "Rooms, shelves, chests, drawers, boxes.",
        ),
        Kind(
            "work",
            models.Work,
            "ref",
            "ref_key",
            (
                _text("title", "Its title."),
                Field(
                    "title-kind",
                    "choice",
                    "Where the title is from.",
                    "",
                    ("given", "inscribed", "descriptive"),
                    "title_kind",
                ),
                Field("kind", "choice", "What it is.", "", ("poster", "zine", "book", "card", "test", "other")),
                Field(
                    "date",
                    "date",
                    "When, as you would say it: 'about 1998', 'May 2019', 'undated'.",
                    column="date_text",
                ),
                Field(
                    "date-basis",
                    "choice",
                    "What the date rests on.",
                    "",
                    ("written", "datable", "assigned"),
                    "date_basis",
                ),
                _text("old-number", "The old job number, to the letter.", "old_number"),
                Field(
                    "maker",
                    "parts",
                    "A person and their part, as 'Wren Tallow=artist'; say it again for each.",
                    "person",
                ),
                _NOTE,
            ),
            "What was made: posters, zines, books.",
        ),
        Kind(
            "variant",
            models.Variant,
            "ref",
            "ref_key",
            (
                Field("work", "thing", "The work.", kind="work"),
                _text("name", "What tells it apart: 'green', 'on grey', 'second state'."),
                Field("kind", "choice", "In what it differs.", "", ("first", "colourway", "paper", "state")),
                _NOTE,
            ),
            "One colourway, paper or state of a work.",
            owned_by="work",
        ),
        Kind(
            "copy",
            models.Copy,
            "ref",
            "ref_key",
            (
                Field("of", "thing", "The work or variant on it, when it is added.", "variant", column="@of"),
                Field("as", "choice", "Which side or part of the work it shows, when it is added.", "", ROLES, "@as"),
                Field(
                    "role",
                    "choice",
                    "What the sheet is for.",
                    "",
                    ("good to print", "trial", "reference", "leftover", "start-up"),
                ),
                _text("edition", "The edition wording on it, as written."),
                Field("place", "thing", "Where it lies.", kind="place"),
                Field(
                    "whereabouts",
                    "choice",
                    "Where it is now.",
                    "",
                    ("here", "out", "lent", "sold", "given", "missing", "destroyed"),
                ),
                Field("person", "thing", "Who has it.", kind="person"),
                Field("until", "day", "Lent until."),
                Field("seen-on", "day", "Last seen on.", column="seen_on"),
                Field("seen-by", "thing", "Last seen by.", kind="person", column="seen_by_id"),
                _NOTE,
            ),
            "One physical sheet or book, and where it is.",
            owned_by="work",
        ),
        Kind(
            "appearance",
            models.Appearance,
            "uid",
            None,
            (
                Field("copy", "thing", "The copy.", kind="copy"),
                Field("variant", "thing", "What is on it.", kind="variant"),
                Field("role", "choice", "Which side or part.", "", ROLES),
                _text("page", "The page, as numbered."),
                Field("region", "box", "Where on the sheet: x,y,width,height in percent of it."),
            ),
            "What is on a copy, and where.",
            owned_by="copy",
        ),
        Kind(
            "file",
            models.JobFile,
            "uid",
            None,
            (
                Field("variant", "thing", "The variant it was made for.", kind="variant"),
                _text("name", "The file's name."),
                _text("lies-at", "Where it lies: a disk, a folder, a person.", "lies_at"),
                _text("checksum", "Its checksum, if known."),
                Field("ink", "thing", "The ink it is for.", kind="ink"),
            ),
            "The files a job was made from.",
            owned_by="variant",
        ),
        Kind(
            "run",
            models.Run,
            "ref",
            "ref_key",
            (
                Field("variant", "thing", "The variant printed.", kind="variant"),
                Field("printed-on", "day", "The day.", column="printed_on"),
                Field("machine", "thing", "The machine.", kind="machine"),
                Field("density", "number", "Density on its panel."),
                Field("speed", "number", "Speed on its panel."),
                Field("screen", "choice", "The screen.", "", ("FM", "AM")),
                Field("good", "whole", "Good sheets."),
                Field("spoiled", "whole", "Spoiled sheets."),
                Field("waited-hours", "number", "Hours between the passes.", column="waited_hours"),
                Field("filling", "things", "A filling it was printed with; say it again for each.", "filling"),
                Field("person", "thing", "Who printed it.", kind="person"),
                _NOTE,
            ),
            "One printing: variant, date, machine, settings.",
            owned_by="work",
        ),
        Kind(
            "picture",
            models.Picture,
            "name",
            None,
            (
                Field("copy", "thing", "The copy it shows.", kind="copy"),
                Field("appearance", "thing", "The side or region it shows.", kind="appearance"),
                _NOTE,
            ),
            "Photos and scans of copies.",
            owned_by="copy",
        ),
    )
}


def kind_of(noun: str) -> Kind:
    """Return the kind for a noun."""
    return KINDS[noun]


def kind_of_row(row: Any) -> Kind | None:
    """Return the kind whose table the row is from, if it has one."""
    for kind in KINDS.values():
        if isinstance(row, kind.model):
            return kind
    return None


def with_article(noun: str) -> str:
    """Return a noun as it is said of one of them: "an ink", "a paper"."""
    return f"an {noun}" if noun[0] in "aeiou" else f"a {noun}"
