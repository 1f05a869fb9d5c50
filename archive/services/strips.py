"""Strips: made for sets of inks, listed and shown, and what to print next."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from archive.catalogue.identity import fold, new_uid, today
from archive.catalogue.models import Ink, Layer, Machine, Paper, Recipe, Strip, Swatch
from archive.colour.wanted import parse_wanted
from archive.errors import CatalogueError, InputError
from archive.output.codes import code_text
from archive.output.strip_sheet import DPI, FORMATS, Master, master_file, strip_masters
from archive.planning.strip_designs import design_tints
from archive.planning.strip_layout import StripDrum, StripHead, strip_layout
from archive.services.house import pass_planner
from archive.services.lookup import find_record
from archive.services.profile import read_profile
from archive.services.strip_list import StripCard, strip_card
from archive.services.whites import paper_of_screens, swatches_by_paper

BOTH = "both"  # the eleven in either order: two sheets
START_DESIGN = "eleven"


@dataclass(frozen=True, slots=True)
class NewStrips:
    """Which strips are wanted: one sheet for each set of inks, in printing order."""

    inks: tuple[tuple[str, ...], ...]
    design: str | None = None
    paper: str | None = None
    machine: str | None = None
    screen: str | None = None
    sheet: str = "A4"
    form: str = "pdf"


def make_strips(session: Session, new: NewStrips, folder: Path) -> list[StripCard]:
    """Lay strips out, write a master for every drum of each, and keep the layouts.

    Raises
    ------
    InputError
        A design does not suit the inks, an ink stands twice, no paper is known, or the folder is none.
    NotFoundError
        No such ink, paper or machine.
    CatalogueError
        A file is there already or cannot be written; then none is left behind.
    """
    if new.form not in FORMATS:
        raise InputError("no form {form}", form=new.form, where="--as", mend=f"Use {' or '.join(FORMATS)}")
    paper = _paper(session, new.paper)
    machine = find_record(session, "machine", new.machine) if new.machine else None
    made: list[tuple[Strip, list[Ink], list[str]]] = []
    for names in _in_orders(new):
        inks = [find_record(session, "ink", name, where="--inks") for name in names]
        if twice := [ink.name for number, ink in enumerate(inks) if ink in inks[:number]]:
            raise InputError("{ink} stands twice in one strip", ink=twice[0], where="--inks", mend="Name it once")
        made.append((_laid_out(session, new, inks, paper, machine), inks, _doubts(session, inks, machine)))
    session.flush()
    files = _write_masters([strip for strip, _, _ in made], folder, new.form, machine)
    return [strip_card(session, strip, files=tuple(files[strip.id]), notes=tuple(notes)) for strip, _, notes in made]


def _in_orders(new: NewStrips) -> list[tuple[str, ...]]:
    """Return the sets of inks; each pair also the other way round where both orders are asked for."""
    if not new.inks:
        raise InputError(
            "no ink is named", where="--inks", mend="Name them in printing order: --inks Dockrope,Kilnsong"
        )
    if new.design != BOTH:
        return list(new.inks)
    for names in new.inks:
        if len(names) != 2:
            raise InputError("only a pair has two orders", where="--inks", mend="Name two inks")
    return [order for first, second in new.inks for order in ((first, second), (second, first))]


def _paper(session: Session, name: str | None) -> Paper:
    """Return the paper named, else the house paper: the profile's, the one with most swatches, or the only one."""
    if name:
        found: Paper = find_record(session, "paper", name, where="--paper")
        return found
    own = session.scalars(select(Paper).where(Paper.binned_at.is_(None), Paper.origin.is_(None))).all()
    names = {paper.id: paper.name for paper in own}
    counts = {key: count for key, count in swatches_by_paper(session).items() if key in names}
    house = paper_of_screens(counts, names, str(read_profile(session)["house_paper"]))
    chosen = [paper for paper in own if paper.name == house or len(own) == 1]
    if not chosen:
        raise InputError("a strip lies on a paper", mend="Name it: --paper NAME, or set the profile's house_paper")
    return chosen[0]


def _laid_out(session: Session, new: NewStrips, inks: Sequence[Ink], paper: Paper, machine: Machine | None) -> Strip:
    profile = read_profile(session)
    a_pass = machine.drums if machine else int(profile["drums_per_pass"])
    drums = [StripDrum(ink.name, at // a_pass + 1, at % a_pass + 1) for at, ink in enumerate(inks)]
    design = START_DESIGN if new.design == BOTH else new.design or (START_DESIGN if len(inks) == 2 else "row")
    screen = (new.screen or str(profile["screen"])).upper()
    if screen not in ("FM", "AM"):
        raise InputError("no screen {screen}", screen=screen, where="--screen", mend="Use FM or AM")
    uid = new_uid()
    fields = {"Paper": paper.name, "Machine": machine.name if machine else "", "Screen": screen}
    layout = strip_layout(
        StripHead(uid, code_text("strip", uid), design, fields, screen),
        design_tints(design, len(inks)),
        drums,
        code_drum=_darkest(session, inks),
        margin_mm=float(profile["margin_mm"]),
        size=new.sheet,
    )
    ref = _next_ref(session)
    strip = Strip(
        uid=uid, ref=ref, ref_key=fold(ref), design=design, paper_id=paper.id, screen=screen, layout=layout,
        machine_id=machine.id if machine else None, inks=[ink.id for ink in inks], made_on=today().isoformat(),
    )  # fmt: skip
    session.add(strip)
    session.flush()
    return strip


def _next_ref(session: Session) -> str:
    taken = set(session.scalars(select(Strip.ref_key)))
    number = len(taken) + 1
    while fold(f"S-{number}") in taken:
        number += 1
    return f"S-{number}"


def _darkest(session: Session, inks: Sequence[Ink]) -> int:
    """Return which ink prints the code: the darkest as measured solid, else by eye; the first of equals."""
    lightness = [_lightness(session, ink) for ink in inks]
    return lightness.index(min(lightness))


def _lightness(session: Session, ink: Ink) -> float:
    """Return L* of an ink's solid; one that nothing is known of is taken for middling, special inks for pale."""
    if ink.kind in ("fluorescent", "metallic"):
        return 99.0
    alone = select(Layer.recipe_id).group_by(Layer.recipe_id).having(func.count() == 1)
    solid = (
        select(func.min(Swatch.lab_l))
        .join(Recipe, Recipe.id == Swatch.recipe_id)
        .join(Layer, Layer.recipe_id == Recipe.id)
        .where(Layer.ink_id == ink.id, Layer.tint_low == 100, Recipe.id.in_(alone), Swatch.binned_at.is_(None))
    )
    measured = session.scalar(solid)
    if measured is not None:
        return float(measured)
    by_eye = parse_wanted(ink.looks).lab if ink.looks else None
    if by_eye is not None:
        return float(by_eye[0])
    return 90.0 if ink.kind == "opaque" else 60.0


def _doubts(session: Session, inks: Sequence[Ink], machine: Machine | None) -> list[str]:
    """Return what stands in the way of printing the strip now, in words."""
    plan = pass_planner(session).plan([ink.name for ink in inks], machine=machine.name if machine else None)
    doubts = [f"not printable now: {plan.why_not_now}"] if plan.why_not_now else []
    special = [ink.name for ink in inks if ink.kind in ("fluorescent", "metallic")]
    if special:
        doubts.append(f"{', '.join(special)}: a camera's reading of it never matches, measure it with an instrument")
    return doubts


def _write_masters(
    strips: Sequence[Strip], folder: Path, form: str, machine: Machine | None
) -> dict[int, list[dict[str, Any]]]:
    """Write every master, all or none, and return what was written by the strip's id."""
    if not folder.is_dir():
        raise InputError("no folder {folder}", folder=str(folder), where="--to", mend="Make it first, or name another")
    dpi = machine.dpi if machine and machine.dpi else DPI
    written: list[Path] = []
    found: dict[int, list[dict[str, Any]]] = {}
    try:
        for strip in strips:
            for number, master in enumerate(strip_masters(strip.layout, dpi=dpi), start=1):
                path = folder / f"{strip.ref}-{number}-{_file_word(master)}.{form}"
                with path.open("xb") as file:
                    written.append(path)
                    file.write(master_file(master, form))
                facts = {"ink": master.ink, "pass": master.print_pass, "file": str(path)}
                found.setdefault(strip.id, []).append(facts)
    except OSError as exc:
        for path in written:
            path.unlink(missing_ok=True)
        raise CatalogueError(
            "cannot write the file: {why}",
            why=exc.strerror or os.strerror(exc.errno or 0),
            where=str(exc.filename or folder),
            mend="Choose another folder",
        ) from exc
    return found


def _file_word(master: Master) -> str:
    return "".join(sign if sign.isalnum() else "-" for sign in master.ink)
