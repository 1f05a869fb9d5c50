"""What was made: works, variants, copies, what is on a copy, and the files a job was made from."""

from __future__ import annotations

from typing import Any

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from archive.catalogue.base import Base, JsonText, Kept, derived, one_of, table_args, unique_among_living


class Work(Kept):
    """What was made; its ref is kept to the letter."""

    __tablename__ = "work"
    __table_args__ = table_args(
        unique_among_living("work", "ref_key"),
        one_of("kind", "poster", "zine", "book", "card", "test", "other"),
        one_of("title_kind", "given", "inscribed", "descriptive"),
        one_of("date_basis", "written", "datable", "assigned"),
    )

    ref: Mapped[str]
    ref_key: Mapped[str] = derived()
    title: Mapped[str] = mapped_column(default="")
    title_kind: Mapped[str] = mapped_column(default="given")
    kind: Mapped[str] = mapped_column(default="poster")
    date_text: Mapped[str] = mapped_column(default="")
    date_edtf: Mapped[str | None] = derived()
    date_earliest: Mapped[str | None] = derived()
    date_latest: Mapped[str | None] = derived()
    date_sort_earliest: Mapped[str | None] = derived(index=True)
    date_sort_latest: Mapped[str | None] = derived()
    date_basis: Mapped[str | None]
    old_number: Mapped[str] = mapped_column(default="")
    note: Mapped[str] = mapped_column(default="")
    search_text: Mapped[str] = derived(default="")
    described_at: Mapped[str | None]  # when somebody gave its short facts after it was photographed
    original: Mapped[Any] = mapped_column(JsonText, nullable=True)  # {"file", "line", "cells"} of the list it came in


class WorkPerson(Base):
    """A person's part in a work."""

    __tablename__ = "work_person"

    work_id: Mapped[int] = mapped_column(ForeignKey("work.id"), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"), primary_key=True, index=True)
    role: Mapped[str] = mapped_column(primary_key=True, default="maker")


class Variant(Kept):
    """One colourway, paper or state of a work, and the inks it was printed with."""

    __tablename__ = "variant"
    __table_args__ = table_args(
        unique_among_living("variant", "ref_key"), one_of("kind", "first", "colourway", "paper", "state")
    )

    ref: Mapped[str]  # the work's ref and a letter: QA-0042a
    ref_key: Mapped[str] = derived()
    work_id: Mapped[int] = mapped_column(ForeignKey("work.id"), index=True)
    name: Mapped[str] = mapped_column(default="")
    kind: Mapped[str] = mapped_column(default="first")
    recipe_id: Mapped[int | None] = mapped_column(ForeignKey("recipe.id"), index=True)
    note: Mapped[str] = mapped_column(default="")


class Copy(Kept):
    """One physical sheet or book."""

    __tablename__ = "copy"
    __table_args__ = table_args(
        unique_among_living("copy", "ref_key"),
        one_of("role", "good to print", "trial", "reference", "leftover", "start-up"),
        one_of("whereabouts", "here", "out", "lent", "sold", "given", "missing", "destroyed"),
    )

    ref: Mapped[str]
    ref_key: Mapped[str] = derived()
    role: Mapped[str | None]
    edition: Mapped[str] = mapped_column(default="")
    place_id: Mapped[int | None] = mapped_column(ForeignKey("place.id"), index=True)
    whereabouts: Mapped[str] = mapped_column(default="here")
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    until: Mapped[str | None]
    seen_on: Mapped[str | None]
    seen_by_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    note: Mapped[str] = mapped_column(default="")


class Appearance(Kept):
    """A variant on a copy; three for a make-ready sheet with three jobs."""

    __tablename__ = "appearance"
    __table_args__ = table_args(
        one_of("role", "front", "back", "page", "spread", "imposed sheet", "test"),
    )

    copy_id: Mapped[int] = mapped_column(ForeignKey("copy.id"), index=True)
    variant_id: Mapped[int] = mapped_column(ForeignKey("variant.id"), index=True)
    role: Mapped[str] = mapped_column(default="front")
    region: Mapped[Any] = mapped_column(JsonText, nullable=True)  # [x, y, width, height] as fractions
    page: Mapped[str] = mapped_column(default="")


class JobFile(Kept):
    """A file that a variant was made from, wherever it lies."""

    __tablename__ = "job_file"
    __table_args__ = table_args()

    variant_id: Mapped[int] = mapped_column(ForeignKey("variant.id"), index=True)
    name: Mapped[str]
    lies_at: Mapped[str] = mapped_column(default="")
    checksum: Mapped[str] = mapped_column(default="")
    ink_id: Mapped[int | None] = mapped_column(ForeignKey("ink.id"), index=True)
