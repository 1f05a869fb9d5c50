"""Strips as they are listed and shown, and as colour cards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold
from archive.catalogue.models import Ink, Machine, Paper, Run, Strip, StripPatch, StripReading, Swatch
from archive.colour.spaces import lab_to_xyz
from archive.errors import InputError, NotFoundError
from archive.services.lookup import looks_like_uid

FEWEST_REFERENCES = 9  # patches that a correction can be fitted to [common practice]


@dataclass(frozen=True, slots=True)
class StripCard:
    """A strip as it is shown; `read` counts the times it was read, `shift` is settled less wet."""

    id: int
    uid: str
    ref: str
    design: str
    inks: tuple[str, ...]
    paper: str
    machine: str | None
    screen: str | None
    made_on: str
    printed_on: str | None
    patches: int
    measured: int
    read: int
    shift: dict[str, Any] | None
    files: tuple[dict[str, Any], ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StripWhole:
    """A strip with its patches as they stand and every time it was read."""

    strip: StripCard
    patches: tuple[dict[str, Any], ...]
    readings: tuple[dict[str, Any], ...]

    def as_json(self) -> dict[str, Any]:
        """Return the strip's own facts with patches and readings beside them."""
        names = [name for name in StripCard.__slots__ if name not in ("files", "notes")]
        facts = {name: getattr(self.strip, name) for name in names}
        return {**facts, "patches": list(self.patches), "readings": list(self.readings)}


def strip_called(session: Session, ref: str) -> Strip:
    """Return the strip of a ref, a uid, or the end of a uid as it stands on the sheet.

    Raises
    ------
    NotFoundError
        There is none.
    """
    text = ref.strip()
    living = select(Strip).where(Strip.binned_at.is_(None)).order_by(Strip.id)
    if looks_like_uid(text):
        found = list(session.scalars(living.where(Strip.uid == text)))
    else:
        ends = Strip.uid.endswith(text.lower(), autoescape=True) if len(text) >= 8 else Strip.ref_key == fold(text)
        found = list(session.scalars(living.where(or_(Strip.ref_key == fold(text), ends))))
    if len(found) != 1:
        raise NotFoundError("no strip {ref}", ref=text, mend="See `inkchest strip list`")
    return found[0]


def list_strips(session: Session) -> list[StripCard]:
    """Return every strip, the newest first."""
    query = select(Strip).where(Strip.binned_at.is_(None)).order_by(Strip.id.desc())
    return [strip_card(session, strip) for strip in session.scalars(query).all()]


def show_strip(session: Session, ref: str) -> StripWhole:
    """Return one strip with its patches and readings.

    Raises
    ------
    NotFoundError
        There is none of that name.
    """
    strip = strip_called(session, ref)
    swatches = patch_swatches(session, strip)
    patches = [
        {
            "number": patch["number"],
            "tints": patch["tints"],
            "lab": _lab(swatches.get(patch["number"])),
            "swatch": swatches[patch["number"]].uid if patch["number"] in swatches else None,
            "measured_on": swatches[patch["number"]].measured_on if patch["number"] in swatches else None,
        }
        for patch in strip.layout["patches"]
    ]
    query = select(StripReading).where(StripReading.strip_id == strip.id, StripReading.binned_at.is_(None))
    readings = [
        {
            "kind": each.kind,
            "file": each.name,
            "read_on": each.read_on,
            "hours_after": each.hours_after,
            "claim": each.claim,
            **(each.seen or {}),
        }
        for each in session.scalars(query.order_by(StripReading.id))
    ]
    return StripWhole(strip_card(session, strip), tuple(patches), tuple(readings))


def ink_names_of(session: Session, strip: Strip) -> tuple[str, ...]:
    """Return the names of a strip's inks in printing order, as they are called now; one that is gone, as printed."""
    names = {ink.id: ink.name for ink in session.scalars(select(Ink).where(Ink.id.in_(strip.inks)))}
    pairs = zip(strip.inks, strip.layout["drums"], strict=True)
    return tuple(names.get(ink_id, str(drum["ink"])) for ink_id, drum in pairs)


def patch_swatches(session: Session, strip: Strip) -> dict[int, Swatch]:
    """Return the swatches of a strip by the number of their patch."""
    rows = session.execute(
        select(StripPatch.number, Swatch)
        .join(Swatch, Swatch.id == StripPatch.swatch_id)
        .where(StripPatch.strip_id == strip.id, StripPatch.binned_at.is_(None), Swatch.binned_at.is_(None))
    )
    return {number: swatch for number, swatch in rows}  # noqa: C416 - rows are no pairs to the type checker


def _lab(swatch: Swatch | None) -> tuple[float, float, float] | None:
    if swatch is None or swatch.lab_l is None or swatch.lab_a is None or swatch.lab_b is None:
        return None
    return swatch.lab_l, swatch.lab_a, swatch.lab_b


def strip_card(
    session: Session, strip: Strip, *, files: tuple[dict[str, Any], ...] = (), notes: tuple[str, ...] = ()
) -> StripCard:
    """Return a strip as it is shown."""
    machine = session.get(Machine, strip.machine_id) if strip.machine_id else None
    run = session.get(Run, strip.run_id) if strip.run_id else None
    read = select(func.count()).where(StripReading.strip_id == strip.id, StripReading.binned_at.is_(None))
    return StripCard(
        strip.id, strip.uid, strip.ref, strip.design, ink_names_of(session, strip),
        session.get_one(Paper, strip.paper_id).name, machine.name if machine else None, strip.screen, strip.made_on,
        run.printed_on if run else None, len(strip.layout["patches"]),
        sum(1 for swatch in patch_swatches(session, strip).values() if swatch.lab_l is not None),
        session.scalar(read) or 0, strip.shift, files, notes,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class StripReference:
    """A measured strip as a colour card: where its patches lie on the sheet, and their light.

    `layout` places the sheet in a picture; `points_mm` (n) middles and `sides_mm` of the patches that were measured;
    `xyz` (n) under D50, Y = 1 for white.
    """

    uid: str
    layout: dict[str, Any]
    numbers: tuple[int, ...]
    points_mm: tuple[tuple[float, float], ...]
    sides_mm: tuple[float, ...]
    xyz: tuple[tuple[float, float, float], ...]


def strip_reference(session: Session, ref: str) -> StripReference:
    """Return a strip that was measured by an instrument, to calibrate a camera with.

    Raises
    ------
    NotFoundError
        There is none of that name.
    InputError
        Too few of its patches were measured by an instrument.
    """
    strip = strip_called(session, ref)
    swatches = patch_swatches(session, strip)
    found = []
    for patch in strip.layout["patches"]:
        lab = _lab(swatches.get(patch["number"]))
        if lab is not None and swatches[patch["number"]].method == "instrument":
            middle = patch["x"] + patch["size"] / 2, patch["y"] + patch["size"] / 2
            x, y, z = (float(part) for part in lab_to_xyz(lab))
            found.append((patch["number"], middle, float(patch["size"]), (x, y, z)))
    if len(found) < FEWEST_REFERENCES:
        raise InputError(
            "only {count} patches of the strip were measured by an instrument",
            count=len(found),
            where=f"strip {strip.ref}",
            mend=f"A colour card needs {FEWEST_REFERENCES}: measure it once, `inkchest strip read READINGS.csv`",
        )
    numbers, points, sides, xyz = zip(*found, strict=True)
    return StripReference(strip.uid, strip.layout, numbers, points, sides, xyz)
