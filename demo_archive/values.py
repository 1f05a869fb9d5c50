"""The invented workshop's facts as plain, frozen values: what `scenario()` returns.

Names refer to names: a layer names its ink, a copy its place. Nothing here knows the archive's own models.
"""

from __future__ import annotations

from dataclasses import dataclass, field

Region = tuple[float, float, float, float]
"""Left, top, width and height as fractions of the sheet, from its top left corner."""


@dataclass(frozen=True, slots=True)
class Ink:
    """One ink. `by_eye` is its solid on the house paper as somebody matched it on a screen."""

    name: str
    kind: str  # transparent, opaque, fluorescent or metallic
    in_house: bool  # False: retired
    shade: str  # in words
    by_eye: str  # "#rrggbb", relative to paper
    since: str
    until: str | None = None


@dataclass(frozen=True, slots=True)
class Machine:
    """One press with two drum positions."""

    name: str
    positions: int
    since: str
    note: str


@dataclass(frozen=True, slots=True)
class Drum:
    """One cylinder: the ink in it, the machines it fits, and where it is now."""

    number: int
    ink: str | None  # None when empty
    fits: tuple[str, ...]
    state: str  # loaded, away or empty
    machine: str | None = None  # only when loaded
    position: int | None = None  # 1 prints first, 2 second


@dataclass(frozen=True, slots=True)
class Filling:
    """What is in a drum since a date: a batch, or a mix in parts."""

    id: str
    drum: int
    ink: str
    since: str
    batch: str | None = None
    mix: tuple[tuple[str, float], ...] = ()
    by: str | None = None


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper; `sheets_left` counts A3 sheets on the shelf."""

    name: str
    shade: str
    gsm: int
    lot: str
    coloured: bool
    sheets_left: int


@dataclass(frozen=True, slots=True)
class Place:
    """A room, plan chest, drawer, shelf or box; `inside` names the place around it."""

    name: str
    kind: str  # room, plan chest, drawer, shelf or box
    inside: str | None = None
    state: str | None = None  # boxes: open, checked or closed


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody of the workshop or its circle; all invented."""

    name: str
    role: str


@dataclass(frozen=True, slots=True)
class Layer:
    """One ink at one tint (percent of the file), in a pass, at a drum position; None where the tint varies."""

    ink: str
    tint: float | None
    print_pass: int
    position: int = 1


@dataclass(frozen=True, slots=True)
class Run:
    """One printing. `fillings` names the fillings used, in the order of the layers."""

    id: str
    date: str  # ISO date
    machine: str
    density: int
    speed: int
    screen: str  # FM or AM
    length: int
    spoiled: int
    fillings: tuple[str, ...]
    by: str
    lpi: int | None = None
    angle: int | None = None


@dataclass(frozen=True, slots=True)
class Appearance:
    """What is on a copy: a variant of a work, where on the sheet, in which role."""

    work: str
    variant: str
    role: str  # front, back, page, spread, imposed sheet or test
    label: str = ""
    region: Region = (0.0, 0.0, 1.0, 1.0)


@dataclass(frozen=True, slots=True)
class Copy:
    """One sheet or book."""

    ref: str  # "QA-0001/1"
    role: str  # good to print, trial, reference or leftover
    place: str
    variant: str
    edition: str = ""
    run: str | None = None
    whereabouts: str = "here"
    appearances: tuple[Appearance, ...] = ()


@dataclass(frozen=True, slots=True)
class Variant:
    """One colourway, paper or state. `layers` in printing order; `colours` are the flat recipes on the sheet."""

    ref: str  # "QA-0001a"
    name: str
    layers: tuple[Layer, ...]
    paper: str
    runs: tuple[Run, ...]
    colours: tuple[tuple[Layer, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Claim:
    """Somebody's word about a fact of a work."""

    fact: str
    says: str
    how: str  # stated, observed, inferred or unknown
    by: str
    when: str


@dataclass(frozen=True, slots=True)
class Told:
    """The inks of a work as a person remembers them, in the order said (the last one named lies lowest)."""

    words: str
    inks: tuple[str, ...]  # in printing order, as far as said
    tints: tuple[float | None, ...]
    is_sure: bool
    by: str


@dataclass(frozen=True, slots=True)
class Work:
    """Something made: a poster, zine, book or test."""

    ref: str
    title: str
    kind: str  # poster, zine, book or test
    date: str  # as a person writes it, may be ""
    makers: tuple[tuple[str, str], ...]  # (person, what they did)
    variants: tuple[Variant, ...]
    copies: tuple[Copy, ...]
    story: str
    size_mm: tuple[int, int]  # height, width of the sheet
    title_kind: str = "given"  # given, inscribed or descriptive
    claims: tuple[Claim, ...] = ()
    told: Told | None = None


@dataclass(frozen=True, slots=True)
class Printed:
    """What really lies on a sheet: the drawing and the recipe as the press knows them, told to nobody."""

    design: str
    title: str
    page: int  # which drawing of the work; 0 is the front or cover
    seed: int
    layers: tuple[Layer, ...]
    tints: tuple[tuple[float, float, float], ...]  # per layer: its full, middle and pale tint
    paper: str
    machine: str
    screen: str
    density: int
    speed: int
    run: str
    printed_on: str
    size_mm: tuple[int, int]  # height, width
    key: int  # index of the layer that carries lines and type


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture to be taken: of which copy, which side, with which camera."""

    file: str
    work: str
    copy: str
    variant: str
    role: str  # front, back, page, spread, imposed sheet or test
    label: str
    camera: str  # copy stand or phone
    framing: str  # close or table
    long_side: int  # pixels
    taken_on: str
    jobs: tuple[tuple[Region, Printed], ...]  # one for the whole sheet; three on the make-ready sheet


@dataclass(frozen=True, slots=True)
class Swatch:
    """One printed patch and its reading by an instrument (Lab, D50, 2 degrees)."""

    sample: str
    paper: str
    layers: tuple[Layer, ...]  # () is bare paper
    lab: tuple[float, float, float]
    work: str | None
    run: str
    machine: str
    screen: str
    measured_on: str
    printed_on: str
    hours_after: int
    n: int
    spread: float
    condition: str = "M1"
    backing: str = "white"
    instrument: str = "spectro on the long table"
    note: str = ""


@dataclass(frozen=True, slots=True)
class Strip:
    """A sheet of patches printed to learn what inks do."""

    id: str
    title: str
    paper: str
    run: Run
    place: str


@dataclass(frozen=True, slots=True)
class Scenario:
    """The whole invented workshop."""

    workshop: str
    seed: int
    inks: tuple[Ink, ...]
    machines: tuple[Machine, ...]
    drums: tuple[Drum, ...]
    fillings: tuple[Filling, ...]
    papers: tuple[Paper, ...]
    places: tuple[Place, ...]
    people: tuple[Person, ...]
    works: tuple[Work, ...]
    pictures: tuple[Picture, ...]
    strips: tuple[Strip, ...] = ()
    swatches: tuple[Swatch, ...] = ()
    is_first_evening: bool = field(default=False)

    def work(self, ref: str) -> Work:
        """Return the work with this reference (KeyError when there is none)."""
        for work in self.works:
            if work.ref == ref:
                return work
        raise KeyError(ref)
