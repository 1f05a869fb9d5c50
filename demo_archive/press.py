"""A small press: ink films over paper, light that wanders between dots, machines and days that differ.

Every ink film is a finite two-flux layer per wavelength (Kubelka & Munk 1931, in Kubelka's 1948 form) laid
on what is beneath it, so A over B is not B over A. Dots overlap at random (Demichel 1924). Light enters the
paper under one dot and may leave under another, and bounces back from films and surface again and again: the
exchange of Clapper & Yule (1953) with a share of light that stays at home. There is no n anywhere.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from demo_archive.inks import INK_BODIES, InkBody, coverage, film
from demo_archive.papers import PAPER_BODIES, PaperBody
from demo_archive.spectra import WAVELENGTHS, Floats, reflectance_to_lab
from demo_archive.values import Layer

SURFACE_OUT = 0.014  # share of light turned back at the surface from outside, matt sheet at 45/0; common practice
SURFACE_IN = 0.42  # share turned back from inside, rough uncoated sheet; common practice (0.6 for a flat film)
WET_TAKE = 0.74  # film a second ink keeps on a wet one (same pass); common practice: clearly less
DRY_TAKE = 0.93  # film it keeps on a settled one (later pass)
WET_MIX = 0.22  # share of a wet lower film that mixes into the upper one
DAY_SD = 0.17  # day-to-day standard deviation of ln(film) per ink
GAIN_SD = 0.18  # day-to-day standard deviation of the gain
SHEET_SD = 0.012  # sheet to sheet
MACHINE_FILM = {"Upstairs": 1.0, "Landing": 1.05, "Backroom": 0.93}
MACHINE_GAIN = {"Upstairs": 1.0, "Landing": 0.88, "Backroom": 1.2}
SCREEN_SPREAD = {"FM": 0.14, "AM": 0.0}  # finer dots: more of the light crosses their edges


@dataclass(frozen=True, slots=True)
class Conditions:
    """When, where and how a sheet was printed; the defaults are an average day on no machine in particular.

    `density` and `speed` are panel settings 1-5, `sheet` counts from the start of the run, `years` is the age
    of the sheet when it is looked at, `day` any word (date and run) that picks the day's luck.
    """

    machine: str = ""
    day: str = ""
    density: int = 3
    speed: int = 3
    screen: str = "FM"
    sheet: int | None = None
    years: float = 0.0


AVERAGE = Conditions()


@dataclass(frozen=True, slots=True)
class Film:
    """One layer as it lies on the sheet: how much of it, how far it covers, in which pass."""

    body: InkBody
    thickness: float
    covers: float
    print_pass: int
    strength: float  # absorption left after fading


def luck(*words: object) -> np.random.Generator:
    """Return a generator that the same words always start the same way."""
    return np.random.default_rng(zlib.crc32("|".join(str(word) for word in words).encode()))


def _film_factor(ink: str, when: Conditions) -> float:
    """Return what machine, day, settings, wear and sheet do to a film; 1 on an average day."""
    # A patent on the process found density to go with the root of pressing force over speed.
    pressed = float(np.sqrt((when.density + 4) / (when.speed + 4)))
    factor = MACHINE_FILM.get(when.machine, 1.0) * pressed
    if when.day:
        factor *= float(np.exp(DAY_SD * luck(when.machine, when.day, ink).normal()))
    if when.sheet is not None:
        started = 1 - 0.22 * np.exp(-when.sheet / 6)  # the first sheets come weak
        worn = 1 - 0.05 * when.sheet / 2000
        factor *= float(started * worn * np.exp(SHEET_SD * luck(when.day, ink, when.sheet).normal()))
    return factor


def _gain_factor(ink: str, when: Conditions) -> float:
    factor = MACHINE_GAIN.get(when.machine, 1.0) * (1 + 0.06 * (when.density - 3))
    if when.day:
        factor *= float(np.exp(GAIN_SD * luck("gain", when.machine, when.day, ink).normal()))
    if when.sheet is not None:
        factor *= 1 + 0.15 * when.sheet / 2000
    return factor


def films(layers: Sequence[Layer], paper: PaperBody, when: Conditions) -> tuple[Film, ...]:
    """Return the films of a recipe in printing order; layers that do not hold are left out.

    Layers whose tint is None (a picture) have no single film and count as solid.
    """
    found = []
    for layer in layers:
        body = INK_BODIES[layer.ink]
        tint = 100.0 if layer.tint is None else layer.tint
        covers = coverage(body, tint, gain_factor=_gain_factor(layer.ink, when))
        if covers > 0:
            thickness = film(body, tint) * _film_factor(layer.ink, when) * (1 - paper.thirst)
            left = float(np.exp(-body.fading * when.years))
            found.append(Film(body, thickness, covers, layer.print_pass, left))
    return tuple(found)


def two_flux(absorption: Floats, scattering: Floats, thickness: float) -> tuple[Floats, Floats]:
    """Return reflectance and transmittance of a film over black, per wavelength.

    Source: Kubelka 1948, J. Opt. Soc. Am. 38(5), 448-457: R = 1 / (a + b coth bSX), T = b / (a sinh bSX + b cosh bSX).
    """
    a = 1 + absorption / scattering
    b = np.sqrt(a * a - 1)
    depth = np.minimum(b * scattering * thickness, 40.0)
    sinh, cosh = np.sinh(depth), np.cosh(depth)
    below = a * sinh + b * cosh
    return sinh / below, b / below


Stack = tuple[Floats, Floats, Floats]
"""Front reflectance, back reflectance and transmittance of films on top of each other."""


def _laid_on(stack: Stack, front: Floats, through: Floats) -> Stack:
    """Return the stack with one more film on top (the film itself looks the same from both sides)."""
    stack_front, stack_back, stack_through = stack
    bounces = 1 / (1 - front * stack_front)
    return (
        front + through**2 * stack_front * bounces,
        stack_back + stack_through**2 * front * bounces,
        through * stack_through * bounces,
    )


def _piled(pile: Sequence[Film]) -> tuple[Stack, Floats]:
    """Return the stack of a pile of films in printing order, under the paper's surface, and its glow."""
    nothing = np.zeros_like(WAVELENGTHS)
    stack: Stack = (nothing, nothing, nothing + 1)
    glow = nothing
    for index, upper in enumerate(pile):
        absorption, scattering = upper.body.absorption * upper.strength, upper.body.scattering
        thickness = upper.thickness
        if index + 1 < len(pile) and pile[index + 1].print_pass == upper.print_pass:
            thickness *= 1 - WET_MIX * WET_TAKE  # what the next wet film drags away
        if index:
            lower = pile[index - 1]
            is_wet = lower.print_pass == upper.print_pass
            thickness *= WET_TAKE if is_wet else DRY_TAKE
            if is_wet:  # some of the wet lower film is dragged up into the upper one
                absorption = absorption + WET_MIX * lower.body.absorption * lower.strength
                scattering = scattering + WET_MIX * lower.body.scattering
        front, through = two_flux(absorption, scattering, thickness)
        stack = _laid_on(stack, front, through)
        glow = glow * through * float(np.mean(through[8:18])) + _emission(upper, front, through)
    return _under_surface(stack), glow


def _emission(layer: Film, front: Floats, through: Floats) -> Floats:
    """Return light that a fluorescent film gives off upwards, in the red, for what it absorbs in blue and green."""
    if not layer.body.glow:
        return np.zeros_like(WAVELENGTHS)
    taken = float(np.mean((1 - front - through)[4:20]))
    peak = np.exp(-0.5 * ((WAVELENGTHS - 607) / 17) ** 2)
    return np.asarray(2.9 * layer.body.glow * taken * layer.strength * peak)


def _under_surface(stack: Stack) -> Stack:
    """Return the stack seen through the sheet's surface, which turns some light back both ways."""
    front, back, through = stack
    bounces = 1 / (1 - SURFACE_IN * front)
    return (
        SURFACE_OUT + (1 - SURFACE_OUT) * (1 - SURFACE_IN) * front * bounces,
        back + through**2 * SURFACE_IN * bounces,
        np.sqrt((1 - SURFACE_OUT) * (1 - SURFACE_IN)) * through * bounces,
    )


def _paper_inside(paper: PaperBody, years: float) -> Floats:
    """Return the paper's own reflectance below its surface, so that a bare sheet shows what was measured."""
    age = paper.yellowing * years * np.exp(-(WAVELENGTHS - 380) / 70)
    seen = np.clip(paper.reflectance - age, 0.02, 1.0) - SURFACE_OUT
    return np.asarray(seen / ((1 - SURFACE_OUT) * (1 - SURFACE_IN) + SURFACE_IN * seen))


@dataclass(frozen=True, slots=True)
class Primaries:
    """The 2^k areas of k inks: which inks lie there, and their stacks; bit i of the index is film i."""

    front: Floats  # (2^k, 36)
    back: Floats
    through: Floats
    glow: Floats
    inside: Floats  # (36,) the paper below its surface
    spread: float


def primaries(laid: Sequence[Film], paper: PaperBody, when: Conditions) -> Primaries:
    """Return the areas that films can overlap to."""
    rows = []
    for index in range(2 ** len(laid)):
        (front, back, through), glow = _piled([f for i, f in enumerate(laid) if index >> i & 1])
        rows.append((front, back, through, glow))
    front, back, through, glow = (np.stack(column) for column in zip(*rows, strict=True))
    spread = min(paper.spread + SCREEN_SPREAD[when.screen], 0.98)
    return Primaries(front, back, through, glow, _paper_inside(paper, when.years), spread)


def demichel(covers: Floats) -> Floats:
    """Return the (..., 2^k) areas of k inks that cover (..., k), overlapping at random. Source: Demichel 1924."""
    areas = np.ones((*covers.shape[:-1], 1))
    for i in range(covers.shape[-1]):
        c = covers[..., i : i + 1]
        areas = np.concatenate([areas * (1 - c), areas * c], axis=-1)
    return areas


def exchange(areas: Floats, p: Primaries) -> Floats:
    """Return (..., 36) reflectance factors of areas (..., 2^k) that trade light through the paper.

    Light that leaves the paper comes out under its own area with share 1 - spread and anywhere with share
    spread; films send some of it back down, again and again. The sum closes because the mixing has rank one.
    """
    home = 1 / (1 - (1 - p.spread) * p.back * p.inside)  # (2^k, 36)
    entering = areas @ (p.through * home)
    mixed = entering / (1 - p.spread * p.inside * (areas @ (p.back * home)))
    # downward flux of each area: (through + back * inside * spread * mixed) * home
    own = areas @ (p.through * p.through * home) * (1 - p.spread)
    crossing = areas @ (p.through * p.back * home) * (1 - p.spread) * p.inside * p.spread * mixed
    anywhere = areas @ p.through * p.spread * mixed
    return np.asarray(areas @ (p.front + p.glow) + p.inside * (own + crossing + anywhere))


def print_patch(layers: Sequence[Layer], paper: str, when: Conditions = AVERAGE) -> Floats:
    """Return the (36,) reflectance factor of a flat patch.

    Parameters
    ----------
    layers : sequence of Layer
        In printing order; () is bare paper.
    paper : str
        Name of a paper (KeyError when there is none).
    """
    body = PAPER_BODIES[paper]
    laid = films(layers, body, when)
    covers = np.array([layer.covers for layer in laid])
    return exchange(demichel(covers), primaries(laid, body, when))


def true_lab(layers: Sequence[Layer], paper: str, when: Conditions = AVERAGE, *, screen: str | None = None) -> Floats:
    """Return the Lab (D50, 2 degrees) that a recipe prints, on an average day unless told otherwise."""
    if screen is not None:
        when = replace(when, screen=screen)
    return reflectance_to_lab(print_patch(layers, paper, when))


@lru_cache(maxsize=256)
def tint_curve(ink: str, when: Conditions) -> tuple[float, ...]:
    """Return coverage at tints 0, 1, ... 100 % of an ink under the conditions."""
    gain = _gain_factor(ink, when)
    return tuple(coverage(INK_BODIES[ink], float(t), gain_factor=gain) for t in range(101))
