"""The house itself: inks, machines, drums, fillings, papers, places and people of Quay Attic Printroom."""

from __future__ import annotations

from demo_archive.inks import INK_BODIES
from demo_archive.papers import PAPER_BODIES
from demo_archive.press import print_patch
from demo_archive.spectra import reflectance_to_xyz, xyz_to_hex
from demo_archive.values import Drum, Filling, Ink, Layer, Machine, Paper, Person, Place

WORKSHOP = "Quay Attic Printroom"
HOUSE_PAPER = "Oatleaf 120"
TODAY = "2025-03-14"  # the day the demo archive is opened

_SINCE = {
    "Kilnsong": "1996", "Ferrywake": "1996", "Dockrope": "2003", "Nettlecoat": "2003", "Sootwell": "1996",
    "Damsonlatch": "2010", "Peltrose": "2013", "Tidewick": "2012", "Marlbrick": "1998", "Gullbone": "2009",
    "Oddlight": "2014", "Tinhymn": "2020",
}  # fmt: skip
_UNTIL = {"Tidewick": "2018", "Marlbrick": "2017"}


def inks() -> tuple[Ink, ...]:
    """Return the twelve inks; two are retired."""
    white = reflectance_to_xyz(print_patch((), HOUSE_PAPER))
    found = []
    for body in INK_BODIES.values():
        solid = reflectance_to_xyz(print_patch((Layer(body.name, 100.0, 1),), HOUSE_PAPER))
        found.append(
            Ink(
                name=body.name,
                kind=body.kind,
                in_house=body.name not in _UNTIL,
                shade=body.shade,
                by_eye=xyz_to_hex(solid, white),
                since=_SINCE[body.name],
                until=_UNTIL.get(body.name),
            )
        )
    return tuple(found)


MACHINES = (
    Machine("Upstairs", 2, "2003-02-01", "By the long window. Steady in the dry months."),
    Machine("Landing", 2, "2014-01-15", "Came up the stairs in four pieces. Prints a little full."),
    Machine("Backroom", 2, "1996-05-01", "The old one. Thin ink, fat dots, drums of its own."),
)

_NEW, _BOTH, _OLD = ("Upstairs",), ("Upstairs", "Landing"), ("Backroom",)

DRUMS = (
    Drum(1, "Kilnsong", _BOTH, "loaded", "Upstairs", 1),
    Drum(2, "Ferrywake", _BOTH, "loaded", "Upstairs", 2),
    Drum(3, "Dockrope", _BOTH, "loaded", "Landing", 1),
    Drum(4, "Nettlecoat", _BOTH, "away"),
    Drum(5, "Sootwell", _BOTH, "loaded", "Landing", 2),
    Drum(6, "Damsonlatch", _NEW, "away"),
    Drum(7, "Peltrose", ("Landing",), "away"),
    Drum(8, "Gullbone", _NEW, "away"),
    Drum(9, "Oddlight", _BOTH, "away"),
    Drum(10, "Tinhymn", _NEW, "away"),
    Drum(11, "Ferrywake", _OLD, "loaded", "Backroom", 1),
    Drum(12, "Sootwell", _OLD, "loaded", "Backroom", 2),
    Drum(13, "Kilnsong", _OLD, "away"),
    Drum(14, "Dockrope", _OLD, "away"),
    Drum(15, None, ("Backroom", "Landing"), "empty"),
    Drum(16, None, _BOTH, "empty"),
)
# What the empty drums held, and when each drum was filled: enough fillings for every run of the table.
_ONCE = {15: "Marlbrick", 16: "Tidewick"}
_FILLED = {
    1: ("2003-02-10", "2016-03-01", "2022-01-10"),
    2: ("2003-02-10", "2015-09-01", "2021-11-02"),
    3: ("2003-02-11", "2016-11-20", "2023-08-30"),
    4: ("2003-03-01", "2016-01-12", "2024-02-01"),
    5: ("2005-06-15", "2014-01-20", "2022-05-05"),
    6: ("2010-04-04", "2016-10-03", "2021-05-01"),
    7: ("2013-05-05", "2018-07-30"),
    8: ("2009-09-09", "2019-02-02"),
    9: ("2014-02-02", "2019-05-01"),
    10: ("2020-10-10",),
    11: ("1996-05-02", "2004-04-01", "2012-12-12"),
    12: ("1996-05-02", "2005-01-15", "2013-02-20"),
    13: ("1996-05-03", "2006-06-06"),
    14: ("2003-06-20", "2008-08-08"),
    15: ("1998-03-03", "2007-01-15"),
    16: ("2012-02-14", "2016-06-16"),
}
_MIXES = {
    (7, 0): (("Kilnsong", 1.0), ("Gullbone", 5.0)),
    (7, 1): (("Kilnsong", 1.0), ("Gullbone", 5.0)),
    (16, 1): (("Ferrywake", 2.0), ("Nettlecoat", 1.0), ("Gullbone", 6.0)),
}


def fillings() -> tuple[Filling, ...]:
    """Return what was in each drum since when: batches, and three mixes made by hand."""
    found = []
    for drum in DRUMS:
        ink = drum.ink or _ONCE[drum.number]
        for index, since in enumerate(_FILLED[drum.number]):
            mix = _MIXES.get((drum.number, index), ())
            batch = None if mix else f"{ink[:2].upper()}{since[2:4]}{since[5:7]}-{drum.number:02d}"
            by = "Odile Marrowby" if mix else None
            found.append(Filling(f"D{drum.number:02d}-{index + 1}", drum.number, ink, since, batch, mix, by))
    return tuple(found)


def filling_of(ink: str, machine: str, date: str) -> str:
    """Return the filling that an ink printed from on a machine and day."""
    candidates = [
        filling
        for filling in fillings()
        if filling.ink == ink and filling.since <= date and machine in DRUMS[filling.drum - 1].fits
    ]
    return max(candidates, key=lambda filling: filling.since).id


PAPERS = (
    Paper("Oatleaf 120", "off-white", 120, "OL-24-2", False, 1850),
    Paper("Chalkroad 90", "white", 90, "CR-23-1", False, 640),
    Paper("Ryebank 100", "recycled ivory", 100, "RB-19-4", False, 90),
    Paper("Duskmoth 140", "dusk grey", 140, "DM-20-1", True, 210),
)
assert {paper.name for paper in PAPERS} == set(PAPER_BODIES)


def _chests() -> list[Place]:
    places = []
    for chest in (1, 2, 3):
        places.append(Place(f"Plan chest {chest}", "plan chest", "Store room"))
        places += [Place(f"Plan chest {chest} / drawer {n}", "drawer", f"Plan chest {chest}") for n in range(1, 7)]
    return places


PLACES = (
    Place("Press room", "room"),
    Place("Store room", "room"),
    Place("Attic", "room"),
    *_chests(),
    Place("Shelf A", "shelf", "Store room"),
    Place("Shelf B", "shelf", "Attic"),
    Place("Proof wall", "shelf", "Press room"),
    Place("Box 3", "box", "Shelf A", "closed"),
    Place("Box 7", "box", "Shelf A", "checked"),
    Place("Box 9", "box", "Shelf B", "open"),
    Place("Box 11", "box", "Shelf B", "open"),
    Place("Box 14", "box", "Shelf B", "open"),
    Place("Box 16", "box", "Shelf A", "closed"),
)

PEOPLE = (
    Person("Wren Tallow", "printer"),
    Person("Odile Marrowby", "printer"),
    Person("Hob Quillfeather", "founder, printed until 2010, lives by the lock"),
    Person("Sefa Lindqvane", "illustrator"),
    Person("Bram Osterlow", "poet"),
    Person("Ineke Dusthall", "designer"),
    Person("Tamsin Grebe", "zine maker"),
    Person("Pip Saltmarsh", "visiting artist"),
    Person("Lotte Underquay", "bookbinder"),
    Person("Cosmo Pell-Arden", "lister"),
    Person("Yusra Fennick", "organiser"),
)
