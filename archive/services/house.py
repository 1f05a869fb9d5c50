"""The house as it stands now: which inks, machines and drums, for the question that is asked now."""

from __future__ import annotations

from collections import defaultdict

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.models import Drum, DrumFit, Ink, Machine
from archive.planning.passes import DrumState, MachineState, PassPlanner


def pass_planner(session: Session) -> PassPlanner:
    """Return the planner for the drums and machines as they are recorded now."""
    in_house = set(session.scalars(select(Ink.name).where(Ink.binned_at.is_(None), Ink.in_house)))
    return PassPlanner(_drums(session), _machines(session), in_house)


def _machines(session: Session) -> list[MachineState]:
    query = select(Machine).where(Machine.binned_at.is_(None)).order_by(Machine.name_key)
    return [MachineState(each.name, each.drums, each.in_house) for each in session.scalars(query)]


def _drums(session: Session) -> list[DrumState]:
    fits: dict[int, set[str]] = defaultdict(set)
    for drum_id, name in session.execute(
        select(DrumFit.drum_id, Machine.name).join(Machine, Machine.id == DrumFit.machine_id)
    ):
        fits[drum_id].add(name)
    query = (
        select(Drum, Ink.name, Machine.name)
        .join(Ink, Ink.id == Drum.ink_id)
        .outerjoin(Machine, Machine.id == Drum.machine_id)
        .where(Drum.binned_at.is_(None))
        .order_by(Drum.number_key)
    )
    return [
        DrumState(
            number=drum.number,
            ink=ink,
            fits=frozenset(fits[drum.id]) if drum.id in fits else None,
            machine=machine,
            position=drum.position,
            state=drum.state,  # type: ignore[arg-type]  # the column's check allows these three words only
        )
        for drum, ink, machine in session.execute(query)
    ]
