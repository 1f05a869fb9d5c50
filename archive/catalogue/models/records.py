"""Who did what: users, changes, edits, claims, the workshop's profile, and the archive's own facts."""

from __future__ import annotations

from typing import Any

from sqlalchemy import ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from archive.catalogue.base import Base, JsonText, Kept, Row, one_of, table_args, unique_among_living


class User(Row):
    """Someone who writes in the archive."""

    __tablename__ = "user_name"
    __table_args__ = table_args()

    name: Mapped[str]
    name_key: Mapped[str] = mapped_column(unique=True)


class Change(Row):
    """One person's act: everything one command or form did."""

    __tablename__ = "change"
    __table_args__ = table_args(one_of("kind", "edit", "import", "undo", "forget"))

    at: Mapped[str]
    user_id: Mapped[int] = mapped_column(ForeignKey("user_name.id"), index=True)
    words: Mapped[str]
    kind: Mapped[str]
    schema_revision: Mapped[str]
    undoes_id: Mapped[int | None] = mapped_column(ForeignKey("change.id"), default=None, index=True)


class Edit(Base):
    """One column of one row, before and after."""

    __tablename__ = "edit"
    __table_args__ = table_args(Index("ix_edit_row", "table_name", "row_id"))

    id: Mapped[int] = mapped_column(primary_key=True)
    change_id: Mapped[int] = mapped_column(ForeignKey("change.id"), index=True)
    table_name: Mapped[str]
    row_id: Mapped[int]
    column_name: Mapped[str]
    old: Mapped[Any] = mapped_column(JsonText, nullable=True)
    new: Mapped[Any] = mapped_column(JsonText, nullable=True)


class Claim(Kept):
    """What somebody said of a fact; the record's own column holds the standing one."""

    __tablename__ = "claim"
    __table_args__ = table_args(
        one_of("basis", "stated", "observed", "inferred", "unknown"),
        Index("ix_claim_subject", "subject_table", "subject_id"),
    )

    subject_table: Mapped[str]
    subject_id: Mapped[int]
    field: Mapped[str]
    value: Mapped[str]
    basis: Mapped[str]
    person_id: Mapped[int | None] = mapped_column(ForeignKey("person.id"), index=True)
    said_on: Mapped[str | None]
    words: Mapped[str] = mapped_column(default="")
    is_standing: Mapped[bool] = mapped_column(default=False)


class Setting(Kept):
    """One value of the workshop's profile that differs from its start value, or a name it gave."""

    __tablename__ = "setting"
    __table_args__ = table_args(unique_among_living("setting", "key"))

    key: Mapped[str]
    value: Mapped[Any] = mapped_column(JsonText)


class Fact(Base):
    """What the archive knows of itself: its uid, when it was made, the last backup."""

    __tablename__ = "fact"

    key: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[Any] = mapped_column(JsonText, nullable=True)
