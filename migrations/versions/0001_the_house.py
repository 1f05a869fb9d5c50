"""The house: every table of the first release."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")  # sorts by its bytes, as SQLite does


def upgrade() -> None:
    """Bring the archive to this revision."""
    op.create_table(
        "fact",
        sa.Column("key", TEXT, nullable=False),
        sa.Column("value", TEXT, nullable=True),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_fact")),
    )
    op.create_table(
        "user_name",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("name_key", TEXT, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_user_name")),
        sa.UniqueConstraint("name_key", name=op.f("uq_user_name_name_key")),
        sa.UniqueConstraint("uid", name=op.f("uq_user_name_uid")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("at", TEXT, nullable=False),
        sa.Column("user_id", sa.Integer(), nullable=False),
        sa.Column("words", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("schema_revision", TEXT, nullable=False),
        sa.Column("undoes_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("kind IN ('edit', 'import', 'undo', 'forget')", name=op.f("ck_change_kind_word")),
        sa.ForeignKeyConstraint(["undoes_id"], ["change.id"], name=op.f("fk_change_undoes_id_change")),
        sa.ForeignKeyConstraint(["user_id"], ["user_name.id"], name=op.f("fk_change_user_id_user_name")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change")),
        sa.UniqueConstraint("uid", name=op.f("uq_change_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_change_undoes_id"), ["undoes_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_change_user_id"), ["user_id"], unique=False)

    op.create_table(
        "edit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("table_name", TEXT, nullable=False),
        sa.Column("row_id", sa.Integer(), nullable=False),
        sa.Column("column_name", TEXT, nullable=False),
        sa.Column("old", TEXT, nullable=True),
        sa.Column("new", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_edit_change_id_change")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_edit")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("edit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_edit_change_id"), ["change_id"], unique=False)
        batch_op.create_index("ix_edit_row", ["table_name", "row_id"], unique=False)

    op.create_table(
        "ink",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("name_key", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("in_house", sa.Boolean(), nullable=False),
        sa.Column("looks", TEXT, nullable=True),
        sa.Column("lightest_tint", sa.Double(), nullable=True),
        sa.Column("closing_tint", sa.Double(), nullable=True),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("origin", TEXT, nullable=True),
        sa.Column("same_as_id", sa.Integer(), nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint(
            "kind IN ('transparent', 'opaque', 'fluorescent', 'metallic')", name=op.f("ck_ink_kind_word")
        ),
        sa.CheckConstraint("closing_tint BETWEEN 0 AND 100", name=op.f("ck_ink_closing_tint_range")),
        sa.CheckConstraint("lightest_tint BETWEEN 0 AND 100", name=op.f("ck_ink_lightest_tint_range")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_ink_change_id_change")),
        sa.ForeignKeyConstraint(["same_as_id"], ["ink.id"], name=op.f("fk_ink_same_as_id_ink")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ink")),
        sa.UniqueConstraint("uid", name=op.f("uq_ink_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("ink", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_ink_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_ink_same_as_id"), ["same_as_id"], unique=False)
        batch_op.create_index(
            "uq_ink_living_name_key",
            ["name_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "machine",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("name_key", TEXT, nullable=False),
        sa.Column("drums", sa.Integer(), nullable=False),
        sa.Column("in_house", sa.Boolean(), nullable=False),
        sa.Column("dpi", sa.Integer(), nullable=True),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("dpi BETWEEN 1 AND 10000", name=op.f("ck_machine_dpi_range")),
        sa.CheckConstraint("drums BETWEEN 1 AND 4", name=op.f("ck_machine_drums_range")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_machine_change_id_change")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_machine")),
        sa.UniqueConstraint("uid", name=op.f("uq_machine_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("machine", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_machine_change_id"), ["change_id"], unique=False)
        batch_op.create_index(
            "uq_machine_living_name_key",
            ["name_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "paper",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("name_key", TEXT, nullable=False),
        sa.Column("shade", TEXT, nullable=False),
        sa.Column("gsm", sa.Double(), nullable=True),
        sa.Column("lot", TEXT, nullable=False),
        sa.Column("grain", TEXT, nullable=False),
        sa.Column("is_coloured", sa.Boolean(), nullable=False),
        sa.Column("opacity", sa.Double(), nullable=True),
        sa.Column("sheets_left", sa.Integer(), nullable=True),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("origin", TEXT, nullable=True),
        sa.Column("same_as_id", sa.Integer(), nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("gsm BETWEEN 1 AND 2000", name=op.f("ck_paper_gsm_range")),
        sa.CheckConstraint("opacity BETWEEN 0 AND 100", name=op.f("ck_paper_opacity_range")),
        sa.CheckConstraint("sheets_left BETWEEN 0 AND 1000000000", name=op.f("ck_paper_sheets_left_range")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_paper_change_id_change")),
        sa.ForeignKeyConstraint(["same_as_id"], ["paper.id"], name=op.f("fk_paper_same_as_id_paper")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_paper")),
        sa.UniqueConstraint("uid", name=op.f("uq_paper_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("paper", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_paper_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_paper_same_as_id"), ["same_as_id"], unique=False)
        batch_op.create_index(
            "uq_paper_living_name_key",
            ["name_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("name_key", TEXT, nullable=False),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_person_change_id_change")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("uid", name=op.f("uq_person_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_person_change_id"), ["change_id"], unique=False)
        batch_op.create_index(
            "uq_person_living_name_key",
            ["name_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "place",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("path", TEXT, nullable=False),
        sa.Column("path_key", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("parent_id", sa.Integer(), nullable=True),
        sa.Column("state", TEXT, nullable=False),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint(
            "kind IN ('room', 'shelf', 'chest', 'drawer', 'box', 'folder')", name=op.f("ck_place_kind_word")
        ),
        sa.CheckConstraint("state IN ('open', 'checked', 'closed')", name=op.f("ck_place_state_word")),
        sa.CheckConstraint("parent_id <> id", name=op.f("ck_place_not_in_itself")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_place_change_id_change")),
        sa.ForeignKeyConstraint(["parent_id"], ["place.id"], name=op.f("fk_place_parent_id_place")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_place")),
        sa.UniqueConstraint("uid", name=op.f("uq_place_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("place", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_place_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_place_parent_id"), ["parent_id"], unique=False)
        batch_op.create_index(
            "uq_place_living_path_key",
            ["path_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "readings_set",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("name_key", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("file_name", TEXT, nullable=False),
        sa.Column("header", TEXT, nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("kind IN ('csv', 'cgats', 'cxf')", name=op.f("ck_readings_set_kind_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_readings_set_change_id_change")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readings_set")),
        sa.UniqueConstraint("uid", name=op.f("uq_readings_set_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("readings_set", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_readings_set_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_readings_set_name_key"), ["name_key"], unique=False)

    op.create_table(
        "setting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("key", TEXT, nullable=False),
        sa.Column("value", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_setting_change_id_change")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setting")),
        sa.UniqueConstraint("uid", name=op.f("uq_setting_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("setting", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_setting_change_id"), ["change_id"], unique=False)
        batch_op.create_index(
            "uq_setting_living_key",
            ["key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "work",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("ref", TEXT, nullable=False),
        sa.Column("ref_key", TEXT, nullable=False),
        sa.Column("title", TEXT, nullable=False),
        sa.Column("title_kind", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("date_text", TEXT, nullable=False),
        sa.Column("date_edtf", TEXT, nullable=True),
        sa.Column("date_earliest", TEXT, nullable=True),
        sa.Column("date_latest", TEXT, nullable=True),
        sa.Column("date_sort_earliest", TEXT, nullable=True),
        sa.Column("date_sort_latest", TEXT, nullable=True),
        sa.Column("date_basis", TEXT, nullable=True),
        sa.Column("old_number", TEXT, nullable=False),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("search_text", TEXT, nullable=False),
        sa.Column("original", TEXT, nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("date_basis IN ('written', 'datable', 'assigned')", name=op.f("ck_work_date_basis_word")),
        sa.CheckConstraint(
            "kind IN ('poster', 'zine', 'book', 'card', 'test', 'other')", name=op.f("ck_work_kind_word")
        ),
        sa.CheckConstraint("title_kind IN ('given', 'inscribed', 'descriptive')", name=op.f("ck_work_title_kind_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_work_change_id_change")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_work")),
        sa.UniqueConstraint("uid", name=op.f("uq_work_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("work", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_work_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_work_date_sort_earliest"), ["date_sort_earliest"], unique=False)
        batch_op.create_index(
            "uq_work_living_ref_key",
            ["ref_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "claim",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("subject_table", TEXT, nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("field", TEXT, nullable=False),
        sa.Column("value", TEXT, nullable=False),
        sa.Column("basis", TEXT, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("said_on", TEXT, nullable=True),
        sa.Column("words", TEXT, nullable=False),
        sa.Column("is_standing", sa.Boolean(), nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("basis IN ('stated', 'observed', 'inferred', 'unknown')", name=op.f("ck_claim_basis_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_claim_change_id_change")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_claim_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_claim")),
        sa.UniqueConstraint("uid", name=op.f("uq_claim_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("claim", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_claim_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_claim_person_id"), ["person_id"], unique=False)
        batch_op.create_index("ix_claim_subject", ["subject_table", "subject_id"], unique=False)

    op.create_table(
        "copy",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("ref", TEXT, nullable=False),
        sa.Column("ref_key", TEXT, nullable=False),
        sa.Column("role", TEXT, nullable=True),
        sa.Column("edition", TEXT, nullable=False),
        sa.Column("place_id", sa.Integer(), nullable=True),
        sa.Column("whereabouts", TEXT, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("until", TEXT, nullable=True),
        sa.Column("seen_on", TEXT, nullable=True),
        sa.Column("seen_by_id", sa.Integer(), nullable=True),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint(
            "role IN ('good to print', 'trial', 'reference', 'leftover', 'start-up')", name=op.f("ck_copy_role_word")
        ),
        sa.CheckConstraint(
            "whereabouts IN ('here', 'out', 'lent', 'sold', 'given', 'missing', 'destroyed')",
            name=op.f("ck_copy_whereabouts_word"),
        ),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_copy_change_id_change")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_copy_person_id_person")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_copy_place_id_place")),
        sa.ForeignKeyConstraint(["seen_by_id"], ["person.id"], name=op.f("fk_copy_seen_by_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_copy")),
        sa.UniqueConstraint("uid", name=op.f("uq_copy_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("copy", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_copy_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_copy_person_id"), ["person_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_copy_place_id"), ["place_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_copy_seen_by_id"), ["seen_by_id"], unique=False)
        batch_op.create_index(
            "uq_copy_living_ref_key",
            ["ref_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "drum",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("number", TEXT, nullable=False),
        sa.Column("number_key", TEXT, nullable=False),
        sa.Column("ink_id", sa.Integer(), nullable=True),
        sa.Column("state", TEXT, nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=True),
        sa.Column("position", sa.Integer(), nullable=True),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("(state = 'loaded') = (machine_id IS NOT NULL)", name=op.f("ck_drum_loaded_on")),
        sa.CheckConstraint("state IN ('loaded', 'away', 'empty')", name=op.f("ck_drum_state_word")),
        sa.CheckConstraint("position BETWEEN 1 AND 4", name=op.f("ck_drum_position_range")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_drum_change_id_change")),
        sa.ForeignKeyConstraint(["ink_id"], ["ink.id"], name=op.f("fk_drum_ink_id_ink")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_drum_machine_id_machine")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_drum")),
        sa.UniqueConstraint("uid", name=op.f("uq_drum_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("drum", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_drum_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_drum_ink_id"), ["ink_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_drum_machine_id"), ["machine_id"], unique=False)
        batch_op.create_index(
            "uq_drum_living_number_key",
            ["number_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "recipe",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("key", TEXT, nullable=True),
        sa.Column("paper_id", sa.Integer(), nullable=True),
        sa.Column("screen", TEXT, nullable=True),
        sa.Column("lpi", sa.Double(), nullable=True),
        sa.Column("is_told", sa.Boolean(), nullable=False),
        sa.Column("order_known", sa.Boolean(), nullable=False),
        sa.Column("words", TEXT, nullable=False),
        sa.Column("origin", TEXT, nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("screen IN ('FM', 'AM')", name=op.f("ck_recipe_screen_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_recipe_change_id_change")),
        sa.ForeignKeyConstraint(["paper_id"], ["paper.id"], name=op.f("fk_recipe_paper_id_paper")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recipe")),
        sa.UniqueConstraint("uid", name=op.f("uq_recipe_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("recipe", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recipe_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_recipe_paper_id"), ["paper_id"], unique=False)
        batch_op.create_index(
            "uq_recipe_living_key",
            ["key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "work_person",
        sa.Column("work_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("role", TEXT, nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_work_person_person_id_person")),
        sa.ForeignKeyConstraint(["work_id"], ["work.id"], name=op.f("fk_work_person_work_id_work")),
        sa.PrimaryKeyConstraint("work_id", "person_id", "role", name=op.f("pk_work_person")),
    )
    with op.batch_alter_table("work_person", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_work_person_person_id"), ["person_id"], unique=False)

    op.create_table(
        "drum_fit",
        sa.Column("drum_id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["drum_id"], ["drum.id"], name=op.f("fk_drum_fit_drum_id_drum")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_drum_fit_machine_id_machine")),
        sa.PrimaryKeyConstraint("drum_id", "machine_id", name=op.f("pk_drum_fit")),
    )
    with op.batch_alter_table("drum_fit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_drum_fit_machine_id"), ["machine_id"], unique=False)

    op.create_table(
        "filling",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("name_key", TEXT, nullable=False),
        sa.Column("ink_id", sa.Integer(), nullable=False),
        sa.Column("drum_id", sa.Integer(), nullable=True),
        sa.Column("since", TEXT, nullable=True),
        sa.Column("until", TEXT, nullable=True),
        sa.Column("batch", TEXT, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_filling_change_id_change")),
        sa.ForeignKeyConstraint(["drum_id"], ["drum.id"], name=op.f("fk_filling_drum_id_drum")),
        sa.ForeignKeyConstraint(["ink_id"], ["ink.id"], name=op.f("fk_filling_ink_id_ink")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_filling_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_filling")),
        sa.UniqueConstraint("uid", name=op.f("uq_filling_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("filling", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_filling_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_filling_drum_id"), ["drum_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_filling_ink_id"), ["ink_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_filling_person_id"), ["person_id"], unique=False)
        batch_op.create_index(
            "uq_filling_living_name_key",
            ["name_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "layer",
        sa.Column("recipe_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("print_pass", sa.Integer(), nullable=True),
        sa.Column("ink_id", sa.Integer(), nullable=True),
        sa.Column("ink_words", TEXT, nullable=False),
        sa.Column("ink_sure", sa.Boolean(), nullable=False),
        sa.Column("tint_low", sa.Double(), nullable=True),
        sa.Column("tint_high", sa.Double(), nullable=True),
        sa.Column("angle", sa.Double(), nullable=True),
        sa.CheckConstraint("print_pass BETWEEN 1 AND 9", name=op.f("ck_layer_print_pass_range")),
        sa.CheckConstraint("tint_high BETWEEN 0 AND 100", name=op.f("ck_layer_tint_high_range")),
        sa.CheckConstraint("tint_low BETWEEN 0 AND 100", name=op.f("ck_layer_tint_low_range")),
        sa.ForeignKeyConstraint(["ink_id"], ["ink.id"], name=op.f("fk_layer_ink_id_ink")),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipe.id"], name=op.f("fk_layer_recipe_id_recipe")),
        sa.PrimaryKeyConstraint("recipe_id", "position", name=op.f("pk_layer")),
    )
    with op.batch_alter_table("layer", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_layer_ink_id"), ["ink_id"], unique=False)

    op.create_table(
        "variant",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("ref", TEXT, nullable=False),
        sa.Column("ref_key", TEXT, nullable=False),
        sa.Column("work_id", sa.Integer(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("recipe_id", sa.Integer(), nullable=True),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("kind IN ('first', 'colourway', 'paper', 'state')", name=op.f("ck_variant_kind_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_variant_change_id_change")),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipe.id"], name=op.f("fk_variant_recipe_id_recipe")),
        sa.ForeignKeyConstraint(["work_id"], ["work.id"], name=op.f("fk_variant_work_id_work")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_variant")),
        sa.UniqueConstraint("uid", name=op.f("uq_variant_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("variant", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_variant_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_variant_recipe_id"), ["recipe_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_variant_work_id"), ["work_id"], unique=False)
        batch_op.create_index(
            "uq_variant_living_ref_key",
            ["ref_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "appearance",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("copy_id", sa.Integer(), nullable=False),
        sa.Column("variant_id", sa.Integer(), nullable=False),
        sa.Column("role", TEXT, nullable=False),
        sa.Column("region", TEXT, nullable=True),
        sa.Column("page", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint(
            "role IN ('front', 'back', 'page', 'spread', 'imposed sheet', 'test')", name=op.f("ck_appearance_role_word")
        ),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_appearance_change_id_change")),
        sa.ForeignKeyConstraint(["copy_id"], ["copy.id"], name=op.f("fk_appearance_copy_id_copy")),
        sa.ForeignKeyConstraint(["variant_id"], ["variant.id"], name=op.f("fk_appearance_variant_id_variant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_appearance")),
        sa.UniqueConstraint("uid", name=op.f("uq_appearance_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("appearance", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_appearance_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_appearance_copy_id"), ["copy_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_appearance_variant_id"), ["variant_id"], unique=False)

    op.create_table(
        "job_file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("variant_id", sa.Integer(), nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("lies_at", TEXT, nullable=False),
        sa.Column("checksum", TEXT, nullable=False),
        sa.Column("ink_id", sa.Integer(), nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_job_file_change_id_change")),
        sa.ForeignKeyConstraint(["ink_id"], ["ink.id"], name=op.f("fk_job_file_ink_id_ink")),
        sa.ForeignKeyConstraint(["variant_id"], ["variant.id"], name=op.f("fk_job_file_variant_id_variant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_file")),
        sa.UniqueConstraint("uid", name=op.f("uq_job_file_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("job_file", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_job_file_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_job_file_ink_id"), ["ink_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_job_file_variant_id"), ["variant_id"], unique=False)

    op.create_table(
        "mix_part",
        sa.Column("filling_id", sa.Integer(), nullable=False),
        sa.Column("ink_id", sa.Integer(), nullable=False),
        sa.Column("parts", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["filling_id"], ["filling.id"], name=op.f("fk_mix_part_filling_id_filling")),
        sa.ForeignKeyConstraint(["ink_id"], ["ink.id"], name=op.f("fk_mix_part_ink_id_ink")),
        sa.PrimaryKeyConstraint("filling_id", "ink_id", name=op.f("pk_mix_part")),
    )
    with op.batch_alter_table("mix_part", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_mix_part_ink_id"), ["ink_id"], unique=False)

    op.create_table(
        "run",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("ref", TEXT, nullable=False),
        sa.Column("ref_key", TEXT, nullable=False),
        sa.Column("variant_id", sa.Integer(), nullable=True),
        sa.Column("recipe_id", sa.Integer(), nullable=True),
        sa.Column("printed_on", TEXT, nullable=True),
        sa.Column("machine_id", sa.Integer(), nullable=True),
        sa.Column("density", sa.Double(), nullable=True),
        sa.Column("speed", sa.Double(), nullable=True),
        sa.Column("screen", TEXT, nullable=True),
        sa.Column("good", sa.Integer(), nullable=True),
        sa.Column("spoiled", sa.Integer(), nullable=True),
        sa.Column("waited_hours", sa.Double(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("origin", TEXT, nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("screen IN ('FM', 'AM')", name=op.f("ck_run_screen_word")),
        sa.CheckConstraint("density BETWEEN 0 AND 20", name=op.f("ck_run_density_range")),
        sa.CheckConstraint("good BETWEEN 0 AND 1000000000", name=op.f("ck_run_good_range")),
        sa.CheckConstraint("speed BETWEEN 0 AND 300", name=op.f("ck_run_speed_range")),
        sa.CheckConstraint("spoiled BETWEEN 0 AND 1000000000", name=op.f("ck_run_spoiled_range")),
        sa.CheckConstraint("waited_hours BETWEEN 0 AND 1000000", name=op.f("ck_run_waited_hours_range")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_run_change_id_change")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_run_machine_id_machine")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_run_person_id_person")),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipe.id"], name=op.f("fk_run_recipe_id_recipe")),
        sa.ForeignKeyConstraint(["variant_id"], ["variant.id"], name=op.f("fk_run_variant_id_variant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_run")),
        sa.UniqueConstraint("uid", name=op.f("uq_run_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("run", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_run_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_run_machine_id"), ["machine_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_run_person_id"), ["person_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_run_recipe_id"), ["recipe_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_run_variant_id"), ["variant_id"], unique=False)
        batch_op.create_index(
            "uq_run_living_ref_key",
            ["ref_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "picture",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("copy_id", sa.Integer(), nullable=True),
        sa.Column("appearance_id", sa.Integer(), nullable=True),
        sa.Column("sha256", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("media_type", TEXT, nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("bits", sa.Integer(), nullable=False),
        sa.Column("colour_path", TEXT, nullable=False),
        sa.Column("taken_at", TEXT, nullable=True),
        sa.Column("phash", TEXT, nullable=False),
        sa.Column("is_plain", sa.Boolean(), nullable=False),
        sa.Column("paper_l", sa.Double(), nullable=True),
        sa.Column("paper_a", sa.Double(), nullable=True),
        sa.Column("paper_b", sa.Double(), nullable=True),
        sa.Column("paper_share", sa.Double(), nullable=True),
        sa.Column("paper_sure", sa.Boolean(), nullable=False),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["appearance_id"], ["appearance.id"], name=op.f("fk_picture_appearance_id_appearance")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_picture_change_id_change")),
        sa.ForeignKeyConstraint(["copy_id"], ["copy.id"], name=op.f("fk_picture_copy_id_copy")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_picture")),
        sa.UniqueConstraint("uid", name=op.f("uq_picture_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("picture", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_picture_appearance_id"), ["appearance_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_picture_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_picture_copy_id"), ["copy_id"], unique=False)
        batch_op.create_index(
            "uq_picture_living_sha256",
            ["sha256"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "run_filling",
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("filling_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["filling_id"], ["filling.id"], name=op.f("fk_run_filling_filling_id_filling")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_run_filling_run_id_run")),
        sa.PrimaryKeyConstraint("run_id", "filling_id", name=op.f("pk_run_filling")),
    )
    with op.batch_alter_table("run_filling", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_run_filling_filling_id"), ["filling_id"], unique=False)

    op.create_table(
        "palette_colour",
        sa.Column("picture_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("lab_l", sa.Double(), nullable=False),
        sa.Column("lab_a", sa.Double(), nullable=False),
        sa.Column("lab_b", sa.Double(), nullable=False),
        sa.Column("share", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(["picture_id"], ["picture.id"], name=op.f("fk_palette_colour_picture_id_picture")),
        sa.PrimaryKeyConstraint("picture_id", "position", name=op.f("pk_palette_colour")),
    )
    op.create_table(
        "swatch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("recipe_id", sa.Integer(), nullable=True),
        sa.Column("set_id", sa.Integer(), nullable=True),
        sa.Column("sample", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("name_key", TEXT, nullable=False),
        sa.Column("fingerprint", TEXT, nullable=True),
        sa.Column("picture_id", sa.Integer(), nullable=True),
        sa.Column("x", sa.Double(), nullable=True),
        sa.Column("y", sa.Double(), nullable=True),
        sa.Column("radius_px", sa.Double(), nullable=True),
        sa.Column("copy_id", sa.Integer(), nullable=True),
        sa.Column("variant_id", sa.Integer(), nullable=True),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("printed_on", TEXT, nullable=True),
        sa.Column("standing_id", sa.Integer(), nullable=True),
        sa.Column("lab_l", sa.Double(), nullable=True),
        sa.Column("lab_a", sa.Double(), nullable=True),
        sa.Column("lab_b", sa.Double(), nullable=True),
        sa.Column("method", TEXT, nullable=True),
        sa.Column("condition", TEXT, nullable=True),
        sa.Column("spread", sa.Double(), nullable=True),
        sa.Column("n", sa.Integer(), nullable=True),
        sa.Column("measured_on", TEXT, nullable=True),
        sa.Column("out_of_range", sa.Boolean(), nullable=False),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("origin", TEXT, nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_swatch_change_id_change")),
        sa.ForeignKeyConstraint(["copy_id"], ["copy.id"], name=op.f("fk_swatch_copy_id_copy")),
        sa.ForeignKeyConstraint(["picture_id"], ["picture.id"], name=op.f("fk_swatch_picture_id_picture")),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipe.id"], name=op.f("fk_swatch_recipe_id_recipe")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_swatch_run_id_run")),
        sa.ForeignKeyConstraint(["set_id"], ["readings_set.id"], name=op.f("fk_swatch_set_id_readings_set")),
        sa.ForeignKeyConstraint(["variant_id"], ["variant.id"], name=op.f("fk_swatch_variant_id_variant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_swatch")),
        sa.UniqueConstraint("uid", name=op.f("uq_swatch_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("swatch", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_swatch_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_swatch_copy_id"), ["copy_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_swatch_fingerprint"), ["fingerprint"], unique=False)
        batch_op.create_index(batch_op.f("ix_swatch_name_key"), ["name_key"], unique=False)
        batch_op.create_index(batch_op.f("ix_swatch_picture_id"), ["picture_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_swatch_recipe_id"), ["recipe_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_swatch_run_id"), ["run_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_swatch_set_id"), ["set_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_swatch_variant_id"), ["variant_id"], unique=False)

    op.create_table(
        "measurement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("swatch_id", sa.Integer(), nullable=False),
        sa.Column("lab_l", sa.Double(), nullable=False),
        sa.Column("lab_a", sa.Double(), nullable=False),
        sa.Column("lab_b", sa.Double(), nullable=False),
        sa.Column("lab_from", TEXT, nullable=False),
        sa.Column("spectrum", TEXT, nullable=True),
        sa.Column("xyz", TEXT, nullable=True),
        sa.Column("method", TEXT, nullable=False),
        sa.Column("condition", TEXT, nullable=True),
        sa.Column("backing", TEXT, nullable=True),
        sa.Column("instrument", TEXT, nullable=True),
        sa.Column("measured_on", TEXT, nullable=True),
        sa.Column("hours_after", sa.Double(), nullable=True),
        sa.Column("n", sa.Integer(), nullable=True),
        sa.Column("spread", sa.Double(), nullable=True),
        sa.Column("colour_path", TEXT, nullable=False),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("origin", TEXT, nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint(
            "lab_from IN ('lab', 'spectrum', 'xyz', 'picture', 'eye')", name=op.f("ck_measurement_lab_from_word")
        ),
        sa.CheckConstraint(
            "method IN ('instrument', 'camera', 'picture', 'eye')", name=op.f("ck_measurement_method_word")
        ),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_measurement_change_id_change")),
        sa.ForeignKeyConstraint(["swatch_id"], ["swatch.id"], name=op.f("fk_measurement_swatch_id_swatch")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_measurement")),
        sa.UniqueConstraint("uid", name=op.f("uq_measurement_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("measurement", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_measurement_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_measurement_swatch_id"), ["swatch_id"], unique=False)


def downgrade() -> None:
    """Take the archive back to the revision before."""
    with op.batch_alter_table("measurement", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_measurement_swatch_id"))
        batch_op.drop_index(batch_op.f("ix_measurement_change_id"))

    op.drop_table("measurement")
    with op.batch_alter_table("swatch", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_swatch_variant_id"))
        batch_op.drop_index(batch_op.f("ix_swatch_set_id"))
        batch_op.drop_index(batch_op.f("ix_swatch_run_id"))
        batch_op.drop_index(batch_op.f("ix_swatch_recipe_id"))
        batch_op.drop_index(batch_op.f("ix_swatch_picture_id"))
        batch_op.drop_index(batch_op.f("ix_swatch_name_key"))
        batch_op.drop_index(batch_op.f("ix_swatch_fingerprint"))
        batch_op.drop_index(batch_op.f("ix_swatch_copy_id"))
        batch_op.drop_index(batch_op.f("ix_swatch_change_id"))

    op.drop_table("swatch")
    op.drop_table("palette_colour")
    with op.batch_alter_table("run_filling", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_run_filling_filling_id"))

    op.drop_table("run_filling")
    with op.batch_alter_table("picture", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_picture_living_sha256",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_picture_copy_id"))
        batch_op.drop_index(batch_op.f("ix_picture_change_id"))
        batch_op.drop_index(batch_op.f("ix_picture_appearance_id"))

    op.drop_table("picture")
    with op.batch_alter_table("run", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_run_living_ref_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_run_variant_id"))
        batch_op.drop_index(batch_op.f("ix_run_recipe_id"))
        batch_op.drop_index(batch_op.f("ix_run_person_id"))
        batch_op.drop_index(batch_op.f("ix_run_machine_id"))
        batch_op.drop_index(batch_op.f("ix_run_change_id"))

    op.drop_table("run")
    with op.batch_alter_table("mix_part", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_mix_part_ink_id"))

    op.drop_table("mix_part")
    with op.batch_alter_table("job_file", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_job_file_variant_id"))
        batch_op.drop_index(batch_op.f("ix_job_file_ink_id"))
        batch_op.drop_index(batch_op.f("ix_job_file_change_id"))

    op.drop_table("job_file")
    with op.batch_alter_table("appearance", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_appearance_variant_id"))
        batch_op.drop_index(batch_op.f("ix_appearance_copy_id"))
        batch_op.drop_index(batch_op.f("ix_appearance_change_id"))

    op.drop_table("appearance")
    with op.batch_alter_table("variant", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_variant_living_ref_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_variant_work_id"))
        batch_op.drop_index(batch_op.f("ix_variant_recipe_id"))
        batch_op.drop_index(batch_op.f("ix_variant_change_id"))

    op.drop_table("variant")
    with op.batch_alter_table("layer", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_layer_ink_id"))

    op.drop_table("layer")
    with op.batch_alter_table("filling", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_filling_living_name_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_filling_person_id"))
        batch_op.drop_index(batch_op.f("ix_filling_ink_id"))
        batch_op.drop_index(batch_op.f("ix_filling_drum_id"))
        batch_op.drop_index(batch_op.f("ix_filling_change_id"))

    op.drop_table("filling")
    with op.batch_alter_table("drum_fit", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_drum_fit_machine_id"))

    op.drop_table("drum_fit")
    with op.batch_alter_table("work_person", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_work_person_person_id"))

    op.drop_table("work_person")
    with op.batch_alter_table("recipe", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_recipe_living_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_recipe_paper_id"))
        batch_op.drop_index(batch_op.f("ix_recipe_change_id"))

    op.drop_table("recipe")
    with op.batch_alter_table("drum", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_drum_living_number_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_drum_machine_id"))
        batch_op.drop_index(batch_op.f("ix_drum_ink_id"))
        batch_op.drop_index(batch_op.f("ix_drum_change_id"))

    op.drop_table("drum")
    with op.batch_alter_table("copy", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_copy_living_ref_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_copy_seen_by_id"))
        batch_op.drop_index(batch_op.f("ix_copy_place_id"))
        batch_op.drop_index(batch_op.f("ix_copy_person_id"))
        batch_op.drop_index(batch_op.f("ix_copy_change_id"))

    op.drop_table("copy")
    with op.batch_alter_table("claim", schema=None) as batch_op:
        batch_op.drop_index("ix_claim_subject")
        batch_op.drop_index(batch_op.f("ix_claim_person_id"))
        batch_op.drop_index(batch_op.f("ix_claim_change_id"))

    op.drop_table("claim")
    with op.batch_alter_table("work", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_work_living_ref_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_work_date_sort_earliest"))
        batch_op.drop_index(batch_op.f("ix_work_change_id"))

    op.drop_table("work")
    with op.batch_alter_table("setting", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_setting_living_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_setting_change_id"))

    op.drop_table("setting")
    with op.batch_alter_table("readings_set", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_readings_set_name_key"))
        batch_op.drop_index(batch_op.f("ix_readings_set_change_id"))

    op.drop_table("readings_set")
    with op.batch_alter_table("place", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_place_living_path_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_place_parent_id"))
        batch_op.drop_index(batch_op.f("ix_place_change_id"))

    op.drop_table("place")
    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_person_living_name_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_person_change_id"))

    op.drop_table("person")
    with op.batch_alter_table("paper", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_paper_living_name_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_paper_same_as_id"))
        batch_op.drop_index(batch_op.f("ix_paper_change_id"))

    op.drop_table("paper")
    with op.batch_alter_table("machine", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_machine_living_name_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_machine_change_id"))

    op.drop_table("machine")
    with op.batch_alter_table("ink", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_ink_living_name_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_ink_same_as_id"))
        batch_op.drop_index(batch_op.f("ix_ink_change_id"))

    op.drop_table("ink")
    with op.batch_alter_table("edit", schema=None) as batch_op:
        batch_op.drop_index("ix_edit_row")
        batch_op.drop_index(batch_op.f("ix_edit_change_id"))

    op.drop_table("edit")
    with op.batch_alter_table("change", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_change_user_id"))
        batch_op.drop_index(batch_op.f("ix_change_undoes_id"))

    op.drop_table("change")
    op.drop_table("user_name")
    op.drop_table("fact")
