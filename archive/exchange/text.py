"""Text files from elsewhere: bytes into text, lines into cells, cells into numbers and dates.

Spreadsheets and instruments disagree on encodings, line ends and decimal signs. All of that is settled here,
so that the readers see clean text and every cell stays text until it is asked to be a number.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import date

from archive.errors import InputError

_BYTE_ORDER_MARKS = (  # UTF-32 first: its little-endian mark begins with that of UTF-16
    (b"\xff\xfe\x00\x00", "utf-32-le"),
    (b"\x00\x00\xfe\xff", "utf-32-be"),
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
_SIGNATURES = (
    (b"PK\x03\x04", "a spreadsheet workbook or zip file"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet workbook"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"II*\x00", "a picture"),
    (b"MM\x00*", "a picture"),
    (b"SQLite format 3", "a database"),
)
_SAVE_AS_TEXT = "Save it as text (CSV or CGATS) and import that"
_BINARY = "the file is binary, not text"
_CONTROLS = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
_NUMBER = re.compile(r"([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+))(?:[eE]([+-]?[0-9]{1,4}))?")
_MONTHS = "jan feb fév fev mar mär apr avr may mai jun jui jul aug aoû aou sep oct okt nov dec dez déc"
_MONTH = rf"(?:{_MONTHS.replace(' ', '|')})\w*\.?"  # English, German, French: what spreadsheets write
_DATE_LIKE = re.compile(
    rf"\d{{1,4}}[./ -]{{1,2}}{_MONTH}(?:[./ -]{{1,2}}\d{{1,4}})?"  # 22.May, 22-May-24
    rf"|{_MONTH}[./ -]{{1,2}}\d{{1,4}}"  # May-22
    r"|\d{1,4}([./-])\d{1,2}\1\d{0,4}"  # 22.05.2024, 2024-05-22, 22.05.
    r"|\d{1,2}/\d{1,2}",  # 22/5
    re.IGNORECASE,
)
_ISO_DATE = re.compile(r"([0-9]{4})(?:-([0-9]{2})(?:-([0-9]{2}))?)?")

_QUOTED = re.compile(r""""((?:[^"]|"")*)"|'((?:[^']|'')*)'""")
_TOKEN = re.compile(rf"(?:{_QUOTED.pattern})(?=[ \t]|$)|[^ \t]+")
_TAB_CELL = re.compile(rf" *({_QUOTED.pattern}) *(?=\t|$)")


@dataclass(frozen=True, slots=True)
class DecodedText:
    """A text file's words, with how they were written.

    Attributes
    ----------
    text : str
        Line ends are LF, the byte order mark is gone.
    encoding : str
        The Python name of the encoding that was found.
    newlines : str
        `"LF"`, `"CRLF"`, `"CR"`, `"mixed"` or `"none"`, as in the file.
    """

    text: str
    encoding: str
    newlines: str


def decode_text(data: bytes, name: str) -> DecodedText:
    """Return the text of a file's bytes: UTF-8, UTF-16 or UTF-32 with or without a mark, else Windows-1252.

    Parameters
    ----------
    data : bytes
        The whole file.
    name : str
        The file's name, for the messages.

    Raises
    ------
    InputError
        The file is empty, is no text, or is text in none of these encodings.
    """
    if not data.strip(b"\x00 \t\r\n\xef\xbb\xbf\xff\xfe"):
        raise InputError("the file is empty", where=name, mend="Check that the copy is whole")
    for signature, kind in _SIGNATURES:
        if data.startswith(signature):
            raise InputError("the file is {kind}, not text", where=name, mend=_SAVE_AS_TEXT, kind=kind)
    encoding, body = _encoding_of(data)
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as exc:
        if _CONTROLS.search(body.decode("latin-1")):
            raise InputError(_BINARY, where=name, mend=_SAVE_AS_TEXT) from exc
        told = "the file is text in neither UTF-8, UTF-16 nor Windows-1252"
        raise InputError(told, where=name, mend="Save it again as UTF-8") from exc
    text = text.rstrip("\x1a")  # the end-of-file mark of old DOS programs
    if _CONTROLS.search(text):
        raise InputError(_BINARY, where=name, mend=_SAVE_AS_TEXT)
    return DecodedText(unify_newlines(text), encoding, _newline_kind(text))


def unify_newlines(text: str) -> str:
    """Return the text with LF line ends and without a byte order mark."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")


def _encoding_of(data: bytes) -> tuple[str, bytes]:
    """Return the encoding and the bytes after the mark."""
    for mark, encoding in _BYTE_ORDER_MARKS:
        if data.startswith(mark):
            return encoding, data[len(mark) :]
    sample = data[:4096]
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    if odd > 4 * even and odd > len(sample) // 5:  # Latin text in UTF-16 has a zero in every other byte
        return "utf-16-le", data
    if even > 4 * odd and even > len(sample) // 5:
        return "utf-16-be", data
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252", data
    return "utf-8", data


def _newline_kind(text: str) -> str:
    crlf = text.count("\r\n")
    counts = {"CRLF": crlf, "CR": text.count("\r") - crlf, "LF": text.count("\n") - crlf}
    present = [kind for kind, count in counts.items() if count]
    return "none" if not present else present[0] if len(present) == 1 else "mixed"


def split_blanks(line: str) -> list[str]:
    """Return the words of a line, quoted ones whole and with their marks."""
    return [match[0] for match in _TOKEN.finditer(line)]


def strip_comment(text: str) -> str:
    """Return the text before a comment (`#`), without quotation marks when it is one quoted text."""
    match = re.fullmatch(rf"({_QUOTED.pattern})\s*(?:#.*)?", text)
    return unquote(match[1]) if match else re.sub(r"(?:^|[ \t]+)#.*", "", text)


def unquote(token: str) -> str:
    """Return a token without its quotation marks; a doubled mark inside is one mark."""
    match = _QUOTED.fullmatch(token)
    if match is None:
        if token.startswith('"'):
            raise InputError("the quotation marks do not pair up", mend='Write "" for a mark inside a text')
        return token
    return match[2].replace("''", "'") if match[1] is None else match[1].replace('""', '"')


def split_cells(line: str, count: int) -> list[str]:
    """Return a data line's cells: by single tabs when that gives `count`, else by runs of blanks."""
    by_tab: list[str] = []
    if "\t" in line:
        by_tab = _split_tabs(line)
        while len(by_tab) > count and not by_tab[-1]:
            by_tab.pop()
        if len(by_tab) == count:
            return [unquote(cell) for cell in by_tab]
    tokens = split_blanks(line)
    if len(tokens) > count and tokens[count].startswith("#"):
        tokens = tokens[:count]
    return [unquote(cell) for cell in (tokens if len(tokens) == count else by_tab or tokens)]


def _split_tabs(line: str) -> list[str]:
    if '"' not in line and "'" not in line:
        return [cell.strip(" ") for cell in line.split("\t")]
    cells, place = [], 0
    while place <= len(line):
        quoted = _TAB_CELL.match(line, place)
        end = quoted.end() if quoted else line.find("\t", place)
        end = len(line) if end < 0 else end
        cells.append(line[place:end].strip(" "))
        place = end + 1
    return cells


def read_number(cell: str, *, shift: int = 0) -> float:
    """Return a cell's number; a decimal comma and a true minus sign are as good as point and hyphen.

    Parameters
    ----------
    cell : str
        One cell's text.
    shift : int
        Powers of ten by which the decimal sign moves: -2 turns a percent into a fraction, without rounding.

    Raises
    ------
    InputError
        The cell is empty, a date, not finite, or no number.
    """
    text = cell.strip().replace("\u2212", "-")
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise _number_fault(text)
    number = float(f"{match[1].replace(',', '.')}e{int(match[2] or 0) + shift}")
    if not math.isfinite(number):
        raise InputError("{cell} is beyond any measured number", cell=_short(text))
    return number


def _number_fault(text: str) -> InputError:
    if not text:
        return InputError("the cell is empty where a number is needed")
    if _DATE_LIKE.fullmatch(text):
        return InputError(
            "{cell} is a date: a spreadsheet has turned a number into it",
            cell=_short(text),
            mend="Set the column to text in the spreadsheet and type the number again",
        )
    if re.fullmatch(r"[+-]?[0-9][0-9.,' ]*", text):
        return InputError(
            "{cell} is not clear: it has more than one separator",
            cell=_short(text),
            mend="Write thousands without a separator",
        )
    return InputError("{cell} is not a number", cell=_short(text))


def read_date(cell: str) -> str:
    """Return a cell's ISO date (2019-05-04, 2019-05 or 2019) as text.

    Raises
    ------
    InputError
        The cell is no such date, or the day does not exist.
    """
    text = cell.strip()
    match = _ISO_DATE.fullmatch(text)
    try:
        if match is None:
            raise ValueError(text)
        date(int(match[1]), int(match[2] or 1), int(match[3] or 1))
    except ValueError as exc:
        raise InputError(
            "{cell} is not an ISO date", cell=_short(text), mend="Write it as year-month-day: 2019-05-04"
        ) from exc
    return text


def write_number(number: float) -> str:
    """Return the shortest text that reads back as the same number, with a decimal point."""
    return repr(float(number)).removesuffix(".0")


def _short(text: str) -> str:
    """Return the text in quotation marks, cut to what a message can bear."""
    return f'"{text}"' if len(text) <= 40 else f'"{text[:39]}…"'
