"""What a person may ask for: a screen colour, numbers, a swatch or a word, and steps away from it."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import atan2, copysign, cos, degrees, hypot, radians, sin
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from archive.colour.difference import delta_e_2000
from archive.colour.spaces import Floats, check_lab, lch_to_lab, parse_hex, srgb_to_xyz_d50, xyz_to_lab
from archive.errors import ColourError, InputError

Kind = Literal["srgb", "lab", "lch", "swatch", "word"]

STEPS = ("warmer", "cooler", "lighter", "darker", "duller", "cleaner")
STEP_SIZE = 5.0  # dE00 of one step: seen at once, still the same kind of colour [own choice]
WARM_HUE, COOL_HUE = 55.0, 235.0  # degrees: orange and the blue across from it [own choice]
GREY = 8.0  # C* below which warmer and cooler tint the grey instead of turning its hue [own choice]
LIGHTEST, CLEANEST = 100.0, 128.0  # L* and C* that no step passes [own choice]
_FARTHEST = 80.0  # the longest way, in L*, C* or degrees, that one step may go to be seen [own choice]
_ROUNDING = 1e-6  # degrees
_HALVINGS = 40  # of that way: far below what float64 can show

_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")
_SHAPES = "#rrggbb, lab:L,a,b, lch:L,C,h, swatch:UID or a colour word"


@dataclass(frozen=True, slots=True)
class WantedColour:
    """A colour as it was asked for.

    Attributes
    ----------
    kind : str
        `srgb`, `lab`, `lch`, `swatch` or `word`.
    lab : (L*, a*, b*) or None
        D50, before the steps; None for a swatch or a word, which the archive must look up. Of kind `srgb`,
        relative to paper.
    reference : str
        What was typed, without the steps; the uid of a swatch, the word of a word.
    steps : tuple of str
        In the order typed, of `STEPS`.
    """

    kind: Kind
    lab: tuple[float, float, float] | None
    reference: str
    steps: tuple[str, ...] = ()

    @property
    def is_from_screen(self) -> bool:
        """Say whether the colour has no paper of its own, so that its white stands for bare paper."""
        return self.kind in ("srgb", "word")


def parse_wanted(text: str) -> WantedColour:
    """Return what a person asks for.

    Parameters
    ----------
    text : str
        `#rrggbb`, `lab:L,a,b`, `lch:L,C,h`, `swatch:UID`, or a word; then any number of `+warmer`, `+cooler`,
        `+lighter`, `+darker`, `+duller`, `+cleaner`. Spaces and case do not count; decimals have a point.

    Raises
    ------
    InputError
        The text is none of these; a ColourError when its numbers are no colour.
    """
    # A plus before a digit is the sign of a number, in "lab:50,+3,4".
    reference, *steps = (part.strip() for part in re.split(r"\+(?!\s*[\d.])", text))
    steps = [step.lower() for step in steps]
    if not reference:
        raise InputError("no colour was given", where=_quoted(text), mend=f"Give {_SHAPES}.")
    for step in steps:
        if step not in STEPS:
            raise InputError(
                "+{step} is no step away from a colour",
                step=step,
                where=_quoted(text),
                mend="Use " + ", ".join(f"+{known}" for known in STEPS) + ".",
            )
    return _read(reference, tuple(steps))


def _quoted(text: str) -> str:
    return f'"{text.strip()}"'


def _read(reference: str, steps: tuple[str, ...]) -> WantedColour:
    """Return the wanted colour that the text before the steps gives."""
    if reference.startswith("#"):
        lab = xyz_to_lab(srgb_to_xyz_d50(parse_hex(reference)))
        return WantedColour("srgb", _three(lab), reference.lower(), steps)
    way, colon, rest = (part.strip() for part in reference.partition(":"))
    if not colon:
        return WantedColour("word", None, _word(reference), steps)
    match way.lower():
        case "lab":
            return WantedColour("lab", _three(check_lab(_numbers(rest, reference))), reference, steps)
        case "lch":
            return WantedColour("lch", _three(lch_to_lab(_numbers(rest, reference))), reference, steps)
        case "swatch" if rest:
            return WantedColour("swatch", None, rest, steps)
        case "swatch":
            raise InputError("no swatch was named", where=_quoted(reference), mend="Give its uid: swatch:UID.")
    raise InputError("{way}: is no way to give a colour", way=way, where=_quoted(reference), mend=f"Give {_SHAPES}.")


def _three(lab: Floats) -> tuple[float, float, float]:
    L, a, b = lab.tolist()
    return L, a, b


def _numbers(text: str, reference: str) -> list[float]:
    """Return the three numbers of a colour."""
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 3 or not all(_NUMBER.fullmatch(part) for part in parts):
        raise ColourError(
            "a colour is three numbers with commas between",
            where=_quoted(reference),
            mend="Write decimals with a point, as in lab:46.7,42.5,37.7.",
        )
    return [float(part) for part in parts]


def _word(text: str) -> str:
    """Return the word with single spaces; refuse what was meant as something else."""
    if re.fullmatch(r"(?=.*\d)[0-9a-fA-F]{6}", text):
        raise InputError("a screen colour begins with #", where=_quoted(text), mend=f"Write #{text}.")
    if not any(letter.isalpha() for letter in text):
        raise InputError("this names no colour", where=_quoted(text), mend=f"Give {_SHAPES}.")
    return " ".join(text.split())


def apply_steps(lab: ArrayLike, steps: Sequence[str]) -> Floats:
    """Return the colour some steps away, each of about 5 dE00 (`STEP_SIZE`), in the order given.

    Lighter and darker move L*, cleaner and duller C*. Warmer and cooler turn the hue at the same C*, by the
    shorter way to orange (55 degrees) or blue (235), and no farther; a grey (C* < 8) is tinted that way
    instead. A step ends early at L* 0 or 100, at C* 0 or 128, and where a hue is as warm or cool as it gets.
    An exact neutral gets no cleaner: it has no hue to gain.

    Parameters
    ----------
    lab : (3,) array_like
        See `check_lab`.
    steps : sequence of str
        Of `STEPS`.

    Returns
    -------
    (3,) ndarray of float64

    Raises
    ------
    ColourError, InputError
        The colour is malformed, or a step is unknown.
    """
    here = check_lab(lab)
    if here.ndim != 1:
        raise ColourError("steps lead away from one colour at a time", mend="Give one colour.")
    for step in steps:
        if step not in _WAYS:
            raise InputError("no step is called {step}", step=step, mend=f"Use {', '.join(STEPS)}.")
        here = _one_step(here, _WAYS[step])
    return here.copy()


def _one_step(lab: Floats, way: Callable[[Floats, float], Floats]) -> Floats:
    """Return the colour `STEP_SIZE` along a way, or its end when that is nearer."""
    near, far = 0.0, _FARTHEST
    if delta_e_2000(lab, way(lab, far)) <= STEP_SIZE:
        return way(lab, far)
    for _ in range(_HALVINGS):
        middle = (near + far) / 2
        if delta_e_2000(lab, way(lab, middle)) < STEP_SIZE:
            near = middle
        else:
            far = middle
    return way(lab, far)


def _lighter(lab: Floats, amount: float) -> Floats:
    # A paper or ink above 100 stays where it is.
    return np.array([max(lab[0], min(lab[0] + amount, LIGHTEST)), lab[1], lab[2]])


def _darker(lab: Floats, amount: float) -> Floats:
    return np.array([max(lab[0] - amount, 0.0), lab[1], lab[2]])


def _cleaner(lab: Floats, amount: float) -> Floats:
    C = hypot(lab[1], lab[2])
    return lab * [1, *[max(min(C + amount, CLEANEST) / C, 1.0) if C else 1.0] * 2]


def _duller(lab: Floats, amount: float) -> Floats:
    C = hypot(lab[1], lab[2])
    return lab * [1, *[max(C - amount, 0.0) / C if C else 1.0] * 2]


def _warmer(lab: Floats, amount: float) -> Floats:
    return _towards(lab, amount, WARM_HUE)


def _cooler(lab: Floats, amount: float) -> Floats:
    return _towards(lab, amount, COOL_HUE)


def _towards(lab: Floats, amount: float, hue: float) -> Floats:
    L, a, b = lab.tolist()
    C = hypot(a, b)
    if C < GREY:
        return np.array([L, a + amount * cos(radians(hue)), b + amount * sin(radians(hue))])
    now = degrees(atan2(b, a))
    turn = (hue - now + 180) % 360 - 180
    if turn < -180 + _ROUNDING:
        turn += 360  # From the very opposite both ways are as short: blue warms through violet.
    new = radians(now + copysign(min(amount, abs(turn)), turn))
    return np.array([L, C * cos(new), C * sin(new)])


_WAYS: dict[str, Callable[[Floats, float], Floats]] = {
    "warmer": _warmer,
    "cooler": _cooler,
    "lighter": _lighter,
    "darker": _darker,
    "duller": _duller,
    "cleaner": _cleaner,
}
