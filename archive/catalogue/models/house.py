"""What stands in the house: inks, fillings, drums, machines, papers, persons, places."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Double, ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from archive.catalogue.base import Base, Kept, derived, one_of, table_args, unique_among_living, within


class Ink(Kept):
    """A colourant, by the name the workshop gives it."""

    __tablename__ = "ink"
    __table_args__ = table_args(
        unique_among_living("ink", "name_key"),
        one_of("kind", "transparent", "opaque", "fluorescent", "metallic"),
        within("lightest_tint", 0, 100),
        within("closing_tint", 0, 100),
    )

    name: Mapped[str]
    name_key: Mapped[str] = derived()
    kind: Mapped[str] = mapped_column(default="transparent")
    in_house: Mapped[bool] = mapped_column(default=True)
    looks: Mapped[str | None]  # a colour by eye, as it was given: '#2a5ea8' or 'lab:…'
    lightest_tint: Mapped[float | None] = mapped_column(Double)
    closing_tint: Mapped[float | None] = mapped_column(Double)
    note: Mapped[str] = mapped_column(default="")
    origin: Mapped[str | None]  # the workshop that it is from; none for ours
    same_as_id: Mapped[int | None] = mapped_column(ForeignKey("ink.id"), index=True)  # theirs: the ink of ours


class Machine(Kept):
    """A press, and how many drums it takes in one pass."""

    __tablename__ = "machine"
    __table_args__ = table_args(
        unique_among_living("machine", "name_key"), within("drums", 1, 4), within("dpi", 1, 10000)
    )

    name: Mapped[str]
    name_key: Mapped[str] = derived()
    drums: Mapped[int] = mapped_column(default=2)
    in_house: Mapped[bool] = mapped_column(default=True)
    dpi: Mapped[int | None]
    note: Mapped[str] = mapped_column(default="")


class Drum(Kept):
    """A cylinder that holds one ink; with no fit rows it fits every machine."""

    __tablename__ = "drum"
    __table_args__ = table_args(
        unique_among_living("drum", "number_key"),
        one_of("state", "loaded", "away", "empty"),
        CheckConstraint("(state = 'loaded') = (machine_id IS NOT NULL)", name="loaded_on"),
        within("position", 1, 4),
    )

    number: Mapped[str]
    number_key: Mapped[str] = derived()
    ink_id: Mapped[int | None] = mapped_column(ForeignKey("ink.id"), index=True)
    state: Mapped[str] = mapped_column(default="away")
    machine_id: Mapped[int | None] = mapped_column(ForeignKey("machine.id"), index=True)
    position: Mapped[int | None]
    note: Mapped[str] = mapped_column(default="")


class DrumFit(Base):
    """A machine that a drum fits."""

    __tablename__ = "drum_fit"

    drum_id: Mapped[int] = mapped_column(ForeignKey("drum.id"), primary_key=True)
    machine_id: Mapped[int] = mapped_column(ForeignKey("machine.id"), primary_key=True, index=True)


class Filling(Kept):
    """What is in a drum since a date: a batch, or a mix of inks."""

    __tablename__ = "filling"
    __table_args__ = table_args(unique_among_living("filling", "name_key"))

    name: Mapped[str]
    name_key: Mapped[str] = derived()
    ink_id: Mapped[int] = mapped_column(ForeignKey("ink.id"), index=True)
    drum_id: Mapped[int | None] = mapped_column(ForeignKey("drum.id"), index=True)
    since: Mapped[str | None]
    until: Mapped[str | None]
    batch: Mapped[str] = mapped_column(default="")
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    note: Mapped[str] = mapped_column(default="")


class MixPart(Base):
    """One ink of a mixed filling."""

    __tablename__ = "mix_part"

    filling_id: Mapped[int] = mapped_column(ForeignKey("filling.id"), primary_key=True)
    ink_id: Mapped[int] = mapped_column(ForeignKey("ink.id"), primary_key=True, index=True)
    parts: Mapped[float] = mapped_column(Double)


class Paper(Kept):
    """A stock: its bare patches give its white."""

    __tablename__ = "paper"
    __table_args__ = table_args(
        unique_among_living("paper", "name_key"),
        within("gsm", 1, 2000),
        within("opacity", 0, 100),
        within("sheets_left", 0, 10**9),
    )

    name: Mapped[str]
    name_key: Mapped[str] = derived()
    shade: Mapped[str] = mapped_column(default="")
    gsm: Mapped[float | None] = mapped_column(Double)
    lot: Mapped[str] = mapped_column(default="")
    grain: Mapped[str] = mapped_column(default="")
    is_coloured: Mapped[bool] = mapped_column(default=False)
    opacity: Mapped[float | None] = mapped_column(Double)
    sheets_left: Mapped[int | None]
    note: Mapped[str] = mapped_column(default="")
    origin: Mapped[str | None]
    same_as_id: Mapped[int | None] = mapped_column(ForeignKey("paper.id"), index=True)


class Person(Kept):
    """Somebody who made, printed, owned or remembers a work."""

    __tablename__ = "person"
    __table_args__ = table_args(unique_among_living("person", "name_key"))

    name: Mapped[str]
    name_key: Mapped[str] = derived()
    note: Mapped[str] = mapped_column(default="")


class Place(Kept):
    """A room, shelf, chest, drawer, box or folder, inside another or not."""

    __tablename__ = "place"
    __table_args__ = table_args(
        unique_among_living("place", "path_key"),
        one_of("kind", "room", "shelf", "chest", "drawer", "box", "folder"),
        one_of("state", "open", "checked", "closed"),
        CheckConstraint("parent_id <> id", name="not_in_itself"),
    )

    name: Mapped[str]
    path: Mapped[str] = derived()  # "Storeroom / Plan chest 2 / drawer 5", kept by the service that moves places
    path_key: Mapped[str] = derived()
    kind: Mapped[str] = mapped_column(default="box")
    parent_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"), index=True)
    state: Mapped[str] = mapped_column(default="open")
    quarantine: Mapped[str | None]  # why it is kept apart: mould suspected, insects
    note: Mapped[str] = mapped_column(default="")
