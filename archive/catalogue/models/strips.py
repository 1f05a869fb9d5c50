"""Strips: sheets of patches printed to learn what inks do, their patches, and each time one was read."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Double, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from archive.catalogue.base import JsonText, Kept, derived, one_of, table_args, unique_among_living
from archive.catalogue.models.prints import SCREENS

STRIP_KINDS = ("photo", "scan", "readings")


class Strip(Kept):
    """A strip as it was laid out; its code names its uid."""

    __tablename__ = "strip"
    __table_args__ = table_args(unique_among_living("strip", "ref_key"), one_of("screen", *SCREENS))

    ref: Mapped[str]
    ref_key: Mapped[str] = derived()
    design: Mapped[str]
    paper_id: Mapped[int] = mapped_column(ForeignKey("paper.id"), index=True)
    machine_id: Mapped[int | None] = mapped_column(ForeignKey("machine.id"), index=True)
    screen: Mapped[str | None]
    layout: Mapped[Any] = mapped_column(JsonText)
    inks: Mapped[Any] = mapped_column(JsonText)  # their ids, in printing order
    made_on: Mapped[str]
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"), index=True)
    shift: Mapped[Any] = mapped_column(JsonText, nullable=True)  # settled less wet: {"lab", "delta_e_2000", "patches"}


class StripPatch(Kept):
    """The swatch that a patch of a strip became."""

    __tablename__ = "strip_patch"
    __table_args__ = table_args(unique_among_living("strip_patch", "strip_id", "number"))

    strip_id: Mapped[int] = mapped_column(ForeignKey("strip.id"), index=True)
    number: Mapped[int]
    swatch_id: Mapped[int] = mapped_column(ForeignKey("swatch.id"), index=True)


class StripReading(Kept):
    """One file that a strip was read from; it lies in the originals under its SHA-256."""

    __tablename__ = "strip_reading"
    __table_args__ = table_args(one_of("kind", *STRIP_KINDS))

    strip_id: Mapped[int] = mapped_column(ForeignKey("strip.id"), index=True)
    kind: Mapped[str]
    sha256: Mapped[str] = mapped_column(index=True)
    name: Mapped[str]
    media_type: Mapped[str]
    size: Mapped[int]
    read_on: Mapped[str]
    hours_after: Mapped[float] = mapped_column(Double)
    claim: Mapped[float | None] = mapped_column(Double)  # of the correction it was read through, mean CIEDE2000
    seen: Mapped[Any] = mapped_column(JsonText, nullable=True)  # {"drums", "rejected", "lost", "closed"}
