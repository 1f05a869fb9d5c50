"""Whose column is it? The headings of somebody else's table, matched to the facts that a list of works has here.

A heading matches by its own words or by those of the trade in English, German or French, whatever its case and
accents. What only looks alike is suggested and never taken: a wrong column is worse than one a person must choose.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from archive.errors import InputError, Notice

# Words of the trade for each field, the field's own heading first; folded, so without accents. Common practice.
HEADINGS: dict[str, str] = {
    "ref": "Ref",
    "title": "Title",
    "kind": "Kind",
    "date": "Date",
    "maker": "Maker",
    "artist": "Artist",
    "printer": "Printer",
    "inks": "Inks",
    "paper": "Paper",
    "place": "Place",
    "edition": "Edition",
    "copies": "Copies",
    "size": "Size",
    "old_number": "Old number",
    "note": "Note",
}
FIELDS = tuple(HEADINGS)
MANY_COLUMNS = ("inks", "note")  # fields that a table may spread over several columns: Ink 1, Ink 2

_SYNONYMS: dict[str, str] = {
    "ref": "reference, ref no, ref number, reference number, id, number, no, nr, inventory number, inventory no, "
    "inv no, inv nr, catalogue number, catalogue no, cat no, catalog number, accession number, object number, "
    "work number, signatur, inventarnummer, inventar nr, katalognummer, kat nr, nummer, numero, numero d inventaire, "
    "no d inventaire, n d inventaire, cote",
    "title": "name, work title, title of work, work, titel, werktitel, bezeichnung, titre, intitule",
    "kind": "type, category, object type, kind of work, sort, objektart, gattung, typ, kategorie, genre, "
    "type d objet, categorie, nature",
    "date": "year, dated, date printed, printed, print date, printed on, date made, made, when, datum, jahr, "
    "datierung, druckdatum, entstehungsjahr, annee, datation, date d impression",
    "maker": "made by, makers, by, creator, author, authors, who, urheber, autor, autorin, autoren, hersteller, "
    "gestalter, auteur, auteurs, createur",
    "artist": "artists, illustrator, drawn by, designer, design, designed by, kunstler, kunstlerin, artiste, "
    "illustrateur, graphiste, dessinateur",
    "printer": "printed by, printers, print shop, press, drucker, druckerin, druckerei, gedruckt von, imprimeur, "
    "imprimerie, imprime par",
    "inks": "ink, colours, colour, colors, color, spot colours, ink colours, drums, drum, farbe, farben, druckfarbe, "
    "druckfarben, encre, encres, couleur, couleurs",
    "paper": "stock, paper stock, paper type, support, substrate, papier, papiersorte, bedruckstoff",
    "place": "location, where, shelf, drawer, box, storage, where now, stored, stored in, ort, standort, lagerort, "
    "schublade, kasten, schachtel, lieu, emplacement, tiroir, boite, localisation",
    "edition": "print run, run, edition size, run length, auflage, auflagenhohe, tirage",
    "copies": "copy count, number of copies, quantity, qty, count, how many, pieces, in stock, stock count, exemplare, "
    "anzahl, stuck, stuckzahl, exemplaires, nombre d exemplaires, nombre, quantite",
    "size": "format, dimensions, dimension, measurements, sheet size, size mm, size cm, grosse, groesse, masse, "
    "abmessungen, blattformat, taille, dimensions mm, dimensions cm",
    "old_number": "old no, old ref, old id, former number, previous number, previous ref, alte nummer, alte nr, "
    "altnummer, ancien numero, ancienne cote",
    "note": "notes, remark, remarks, comment, comments, description, anmerkung, anmerkungen, bemerkung, bemerkungen, "
    "notiz, notizen, beschreibung, remarque, remarques, commentaire, observations",
}


@dataclass(frozen=True, slots=True)
class ColumnMatch:
    """What became of one column.

    Attributes
    ----------
    place : int
        Which column of the table, from 0.
    column : str
        Its heading.
    field : str or None
        The field it fills; None when it is kept but not read.
    how : str
        `"remembered"`, `"heading"` (our own word), `"synonym"`, or `"none"`.
    suggestion : str or None
        A field it might have been meant for, for a person to choose.
    """

    place: int
    column: str
    field: str | None
    how: str
    suggestion: str | None = None


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """What became of every column of a table, and what a person should look at."""

    matches: tuple[ColumnMatch, ...]
    notices: tuple[Notice, ...] = ()

    def places(self, field: str) -> tuple[int, ...]:
        """Return the columns that fill the field, left to right; none when no column does."""
        return tuple(match.place for match in self.matches if match.field == field)

    @property
    def fields(self) -> tuple[str, ...]:
        """The fields that have a column, in our order."""
        return tuple(field for field in FIELDS if self.places(field))

    @property
    def unknown(self) -> tuple[str, ...]:
        """The headings of the columns that are kept but not read."""
        return tuple(match.column for match in self.matches if match.field is None)


def fold_heading(heading: str) -> str:
    """Return a heading without case, accents and punctuation, so that spellings of one word are equal."""
    plain = unicodedata.normalize("NFKD", heading.casefold())
    plain = "".join(character for character in plain if not unicodedata.combining(character))
    return " ".join(re.findall(r"\w+", plain.replace("_", " ")))


def _lexicon() -> dict[str, tuple[str, str]]:
    """Return {folded words: (field, how)}."""
    found = {fold_heading(heading): (field, "heading") for field, heading in HEADINGS.items()}
    for field, words in _SYNONYMS.items():
        for word in words.split(", "):
            found.setdefault(word, (field, "synonym"))
    return found


_LEXICON = _lexicon()


def known_field(heading: str) -> tuple[str | None, str]:
    """Return the field that a heading means, and how it is known: `"heading"`, `"synonym"` or `"none"`."""
    plain = fold_heading(heading)
    field, how = _LEXICON.get(plain, ("", "none"))
    if not field:  # Ink 2, note 1: a field that may have several columns, numbered
        field, how = _LEXICON.get(re.sub(r" ?[0-9]{1,2}$", "", plain), ("", "none"))
        field, how = (field, how) if field in MANY_COLUMNS else ("", "none")
    return field or None, how


def match_columns(columns: Sequence[str], remembered: Mapping[str, str] | None = None) -> ColumnMap:
    """Return which column fills which field.

    What a person chose before comes first, then our own headings, then synonyms; of two columns for one field the
    better match has it, else the left one, and the other is left to a person. Inks and notes may have several.

    Parameters
    ----------
    columns : sequence of str
        The headings of a table.
    remembered : mapping of heading to field, optional
        What a person chose before; an empty field means: keep this column, do not read it.

    Raises
    ------
    InputError
        A remembered field is none of ours.
    """
    chosen = {fold_heading(column): field for column, field in (remembered or {}).items()}
    for column, field in (remembered or {}).items():
        if field and field not in FIELDS:
            mend = f"Fields are {', '.join(FIELDS)}"
            raise InputError("there is no field {field}", field=field, where=f"column {column}", mend=mend)
    found = [_match(place, column, chosen) for place, column in enumerate(columns)]
    settled, notices = _settle(found)
    return ColumnMap(tuple(settled), tuple(notices))


def _match(place: int, column: str, chosen: Mapping[str, str]) -> ColumnMatch:
    plain = fold_heading(column)
    if plain in chosen:
        return ColumnMatch(place, column, chosen[plain] or None, "remembered")
    field, how = known_field(column)
    if field:
        return ColumnMatch(place, column, field, how)
    return ColumnMatch(place, column, None, "none", _suggest(plain))


def _suggest(plain: str) -> str | None:
    """Return the field whose words look most like the heading, or stand in it; None when none does."""
    near = difflib.get_close_matches(plain, _LEXICON, n=1, cutoff=0.8)
    if near:
        return _LEXICON[near[0]][0]
    words = [word for word in plain.split() if len(word) > 3 and word in _LEXICON]
    return _LEXICON[words[-1]][0] if words else None  # in "name of the paper" the last word says most


_RANK = ("remembered", "heading", "synonym")


def _settle(found: Sequence[ColumnMatch]) -> tuple[list[ColumnMatch], list[Notice]]:
    """Return the matches with one column a field, and a notice for each column that lost its field."""
    best: dict[str, ColumnMatch] = {}
    for match in sorted((m for m in found if m.field), key=lambda m: (_RANK.index(m.how), m.place)):
        best.setdefault(match.field or "", match)
    settled, notices = [], []
    for match in found:
        field = match.field
        if field is None or match is best[field] or field in MANY_COLUMNS:
            settled.append(match)
            continue
        settled.append(ColumnMatch(match.place, match.column, None, "none", field))
        template = "the columns {first} and {second} could both be {field}: {first} is read, {second} is kept"
        values = {"first": best[field].column, "second": match.column, "field": field}
        notices.append(Notice("columns_doubled", template, values))
    for column, suggestion in ((m.column, m.suggestion) for m in found if m.how == "none"):
        template = "the column {column} is kept, but not read"
        meant = "; perhaps it is {field}" if suggestion else ""
        notices.append(Notice("column_not_read", template + meant, {"column": column, "field": suggestion}))
    return settled, notices
