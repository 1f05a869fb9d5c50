"""Words for colours: a colour's name, a word's colour, and how one colour differs from another.

`colour_names.csv` holds three lists, a name in each only where no earlier list has it:

- `nbs`: the 267 centroids of the ISCC-NBS system; Kelly & Judd, *Color: Universal Language and Dictionary of
  Names*, National Bureau of Standards Special Publication 440, 1976 (a work of the United States government),
  as sRGB. The names the tool itself speaks. "Deep yellowish pink" is #e66761: one common copy misprints it.
- `survey`: an open survey of 2010 in which people named screen colours (CC0), without its crude, silly and
  misspelt entries, brands and names of people.
- `css`: the named colours of CSS Color 4 (W3C).

The last two are only listened to. Screen colours have no paper: a word's colour is relative to the paper.
"""

from __future__ import annotations

import csv
import re
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from importlib.resources import files
from math import atan2, degrees, hypot, radians, sin, sqrt

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.difference import LIMITS, delta_e_2000, delta_e_2000_from
from archive.colour.spaces import Floats, check_lab, parse_hex, srgb_to_xyz_d50, xyz_to_lab
from archive.colour.wanted import WARM_HUE
from archive.errors import ColourError

ELEMENTARY_HUES = {"red": 20.14, "yellow": 90.0, "green": 164.25, "blue": 237.53}  # degrees, CIE 159:2004
NOTICED = 1.0  # dE00 below which no difference is named [common practice: about what an eye can just see]
SIDE_BY_SIDE = 0.5  # a smaller part is named when it reaches this share of the largest [own choice]
GREY = 4.0  # C* below which a colour has no hue worth a word [own choice]
CLEAR_TURN = 0.5  # share of a hue step that must lead to or from orange to be warmer or cooler [own choice]

_TOO = {"lighter": "light", "darker": "dark", "cleaner": "clean", "duller": "dull"}
_COMPARATIVE = {"red": "redder", "yellow": "yellower", "green": "greener", "blue": "bluer"}
_SPELLINGS = {"gray": "grey", "vermillion": "vermilion"}  # inside any word, read and listed the second way


@dataclass(frozen=True, slots=True)
class ColourWord:
    """A word for a colour.

    Attributes
    ----------
    name : str
    hex : str
        `#rrggbb`, sRGB, its white standing for bare paper.
    source : str
        `nbs`, `survey` or `css`.
    """

    name: str
    hex: str
    source: str


@dataclass(frozen=True, slots=True)
class _Part:
    """One way in which a colour differs: how much, the word, and for a hue its elementary colour."""

    size: float
    word: str
    too: str


@lru_cache(maxsize=1)
def colour_words() -> tuple[ColourWord, ...]:
    """Return all words the tool knows by itself, read once."""
    text = files("archive.colour").joinpath("colour_names.csv").read_text(encoding="utf-8")
    return tuple(ColourWord(row["name"], row["hex"], row["list"]) for row in csv.DictReader(text.splitlines()))


@lru_cache(maxsize=1)
def _by_key() -> dict[str, ColourWord]:
    return {_key(word.name): word for word in colour_words()}


@lru_cache(maxsize=1)
def _spoken() -> tuple[tuple[str, ...], Floats]:
    """Return the names the tool speaks, and their L*, a*, b* in rows."""
    spoken = [word for word in colour_words() if word.source == "nbs"]
    lab = np.array([_lab_of(word) for word in spoken])
    return tuple(word.name for word in spoken), np.ascontiguousarray(lab.T)


def _lab_of(word: ColourWord) -> Floats:
    return xyz_to_lab(srgb_to_xyz_d50(parse_hex(word.hex)))


def _key(text: str) -> str:
    """Return the bare letters of a word: case, spaces, hyphens and accents do not count."""
    letters = re.sub(r"[^a-z]", "", unicodedata.normalize("NFKD", text).casefold())
    for other, ours in _SPELLINGS.items():
        letters = letters.replace(other, ours)
    return letters


def _one_lab(lab: ArrayLike) -> Floats:
    array = check_lab(lab)
    if array.ndim != 1:
        raise ColourError("words are found for one colour at a time", mend="Give one colour.")
    return array


def colour_name(lab: ArrayLike) -> str:
    """Return the nearest ISCC-NBS name under CIEDE2000, in British spelling.

    Parameters
    ----------
    lab : (3,) array_like
        Relative to paper, as the names are; see `check_lab`.

    Raises
    ------
    ColourError
        See `check_lab`.
    """
    names, columns = _spoken()
    return names[int(np.argmin(delta_e_2000_from(_one_lab(lab), columns)))]


def find_word(text: str) -> Floats | None:
    """Return the colour that a word means, or None when it is not known.

    Parameters
    ----------
    text : str
        Case, spaces, hyphens and accents do not count; grey and gray are one.

    Returns
    -------
    (3,) ndarray of float64, L*a*b* relative to paper (D50), or None
    """
    word = _by_key().get(_key(text))
    return None if word is None else _lab_of(word)


def nearest_words(text: str, limit: int = 3) -> list[str]:
    """Return up to `limit` known words spelt much like the text, the closest first, for error messages."""
    known = _by_key()
    return [known[key].name for key in get_close_matches(_key(text), known, n=limit, cutoff=0.7)]


def compare(lab_from: ArrayLike, lab_to: ArrayLike) -> str:
    """Return in words how the second colour differs: "a little lighter", "much duller and warmer".

    At most the two largest of lightness, chroma and hue; "a little" up to the limit of *same* (3), "much"
    beyond that of *close* (6). Empty below 1 dE00.

    Parameters
    ----------
    lab_from, lab_to : (3,) array_like
        Same white; see `check_lab`.

    Raises
    ------
    ColourError
        See `check_lab`.
    """
    return " and ".join(f"{_size_word(part.size)}{part.word}" for part in _parts(lab_from, lab_to)[:2])


def in_words(lab: ArrayLike, wanted_lab: ArrayLike) -> str:
    """Return a colour's name and how it differs from the wanted one: "strong red, a little lighter".

    Parameters
    ----------
    lab, wanted_lab : (3,) array_like
        Relative to paper; see `check_lab`.

    Raises
    ------
    ColourError
        See `check_lab`.
    """
    name, difference = colour_name(lab), compare(wanted_lab, lab)
    return f"{name}, {difference}" if difference else name


def misses(nearest_lab: ArrayLike, wanted_lab: ArrayLike) -> list[str]:
    """Return what is wrong with the nearest colour, the worst first: "too light", "too dull", "too yellow".

    Parameters
    ----------
    nearest_lab, wanted_lab : (3,) array_like
        Same white; see `check_lab`.

    Returns
    -------
    list of str
        Up to three; empty below 1 dE00.

    Raises
    ------
    ColourError
        See `check_lab`.
    """
    return [f"too {part.too}" for part in _parts(wanted_lab, nearest_lab)]


def _size_word(size: float) -> str:
    if size <= LIMITS[0]:
        return "a little "
    return "" if size <= LIMITS[1] else "much "


def _parts(lab_from: ArrayLike, lab_to: ArrayLike) -> list[_Part]:
    """Return the differences worth a word, largest first, in the weights of CIE 1994."""
    first, second = _one_lab(lab_from), _one_lab(lab_to)
    if delta_e_2000(first, second) < NOTICED:
        return []
    (L_1, a_1, b_1), (L_2, a_2, b_2) = first.tolist(), second.tolist()
    C_1, C_2 = hypot(a_1, b_1), hypot(a_2, b_2)
    h_1, turn = degrees(atan2(b_1, a_1)) % 360, _turn(degrees(atan2(b_1, a_1)), degrees(atan2(b_2, a_2)))
    S_C, S_H = 1 + 0.045 * (C_1 + C_2) / 2, 1 + 0.015 * (C_1 + C_2) / 2  # CIE 116-1995, both colours' mean
    parts = [
        _lightness_part(L_2 - L_1),
        _chroma_part((C_2 - C_1) / S_C, h_1 + turn if C_1 < GREY else None),
        _hue_part(2 * sqrt(C_1 * C_2) * abs(sin(radians(turn / 2))) / S_H, h_1, turn),
    ]
    parts.sort(key=lambda part: -part.size)
    return [part for part in parts if part.size >= max(SIDE_BY_SIDE * parts[0].size, NOTICED / 2)]


def _lightness_part(step: float) -> _Part:
    word = "lighter" if step > 0 else "darker"
    return _Part(abs(step), word, _TOO[word])


def _chroma_part(step: float, new_hue: float | None) -> _Part:
    """Return the part of chroma; a grey that gains chroma is named by the hue it takes on."""
    if step > 0 and new_hue is not None:
        hue = min(ELEMENTARY_HUES, key=lambda name: abs(_turn(new_hue, ELEMENTARY_HUES[name])))
        return _Part(step, _COMPARATIVE[hue], hue)
    word = "cleaner" if step > 0 else "duller"
    return _Part(abs(step), word, _TOO[word])


def _hue_part(size: float, hue: float, turn: float) -> _Part:
    """Return the part of hue: warmer or cooler when it clearly leads to or from orange, else its colour."""
    middle = hue + turn / 2
    ahead = {name: (at - middle if turn > 0 else middle - at) % 360 for name, at in ELEMENTARY_HUES.items()}
    name = min(ahead, key=lambda each: ahead[each])
    nearer = abs(_turn(hue, WARM_HUE)) - abs(_turn(hue + turn, WARM_HUE))
    if abs(nearer) < CLEAR_TURN * abs(turn):
        return _Part(size, _COMPARATIVE[name], name)
    return _Part(size, "warmer" if nearer > 0 else "cooler", name)


def _turn(hue_from: float, hue_to: float) -> float:
    """Return the shorter way between two hues, in degrees from -180 to 180."""
    return (hue_to - hue_from + 180) % 360 - 180
