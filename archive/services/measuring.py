"""Which measurement of a swatch stands: set here, whenever one is added."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from archive.catalogue.identity import first_day
from archive.catalogue.models import Measurement, Swatch
from archive.services.profile import read_profile

_METHODS = ("instrument", "camera", "picture", "eye")


def set_standing(session: Session, swatch_ids: Iterable[int]) -> None:
    """Choose the standing measurement of each swatch and copy its colour to the swatch.

    The order: instrument before camera before a plain picture before eye; the profile's conditions; settled before
    fresh; the newest. Those equal in all of it are averaged.
    """
    profile = read_profile(session)
    for swatch_id in swatch_ids:
        swatch = session.get_one(Swatch, swatch_id)
        found = session.scalars(
            select(Measurement).where(Measurement.swatch_id == swatch_id, Measurement.binned_at.is_(None))
        ).all()
        stand(swatch, found, profile)


def stand(swatch: Swatch, found: Sequence[Measurement], profile: dict[str, Any]) -> None:
    """Set a swatch's standing colour from its measurements; without any it has none."""
    if not found:
        swatch.standing_id = swatch.lab_l = swatch.lab_a = swatch.lab_b = None
        swatch.method = swatch.condition = swatch.spread = swatch.n = swatch.measured_on = swatch.claim = None
        return
    ranked = sorted(found, key=lambda each: (_rank(each, swatch, profile), each.id))
    best = _rank(ranked[0], swatch, profile)
    equals = [each for each in ranked if _rank(each, swatch, profile) == best]
    first, count = equals[-1], len(equals)
    swatch.standing_id = first.id
    swatch.lab_l = sum(each.lab_l for each in equals) / count
    swatch.lab_a = sum(each.lab_a for each in equals) / count
    swatch.lab_b = sum(each.lab_b for each in equals) / count
    swatch.method, swatch.condition, swatch.spread = first.method, first.condition, first.spread
    swatch.n = sum(each.n or 1 for each in equals)
    swatch.measured_on, swatch.claim = first.measured_on, first.claim


def _rank(measurement: Measurement, swatch: Swatch, profile: dict[str, Any]) -> tuple[int, int, int, int]:
    conditions: list[str] = profile["conditions"]
    condition = measurement.condition
    newest = -first_day(measurement.measured_on).toordinal() if measurement.measured_on else 0
    return (
        _METHODS.index(measurement.method),
        conditions.index(condition) if condition in conditions else len(conditions),
        int(is_fresh(measurement, swatch, float(profile["settled_hours"]))),
        newest,
    )


def is_fresh(measurement: Measurement, swatch: Swatch, settled_hours: float) -> bool:
    """Return whether a reading was taken before the ink had settled."""
    if measurement.hours_after is not None:
        return measurement.hours_after < settled_hours
    if measurement.measured_on is None or swatch.printed_on is None:
        return False
    days = first_day(measurement.measured_on) - first_day(swatch.printed_on)
    return days.days * 24 < settled_hours
