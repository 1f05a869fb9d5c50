"""The storeroom: sittings, frames, proposals, inquiries, job slips."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

TEXT = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")  # sorts by its bytes, as SQLite does


def upgrade() -> None:
    """Bring the archive to this revision."""
    op.create_table(
        "sitting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("ref", TEXT, nullable=False),
        sa.Column("ref_key", TEXT, nullable=False),
        sa.Column("opened_at", TEXT, nullable=False),
        sa.Column("closed_at", TEXT, nullable=True),
        sa.Column("place_id", sa.Integer(), nullable=True),
        sa.Column("edition", TEXT, nullable=False),
        sa.Column("card_width_mm", sa.Double(), nullable=False),
        sa.Column("card_height_mm", sa.Double(), nullable=False),
        sa.Column("fall_off", TEXT, nullable=True),
        sa.Column("card", TEXT, nullable=True),
        sa.Column("correction", TEXT, nullable=True),
        sa.Column("claim", sa.Double(), nullable=True),
        sa.Column("verdict", TEXT, nullable=False),
        sa.Column("grades", TEXT, nullable=True),
        sa.Column("note", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_sitting_change_id_change")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_sitting_place_id_place")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sitting")),
        sa.UniqueConstraint("uid", name=op.f("uq_sitting_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("sitting", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sitting_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sitting_place_id"), ["place_id"], unique=False)
        batch_op.create_index(
            "uq_sitting_living_ref_key",
            ["ref_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "inquiry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("subject_table", TEXT, nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("field", TEXT, nullable=False),
        sa.Column("words", TEXT, nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("asked_on", TEXT, nullable=False),
        sa.Column("state", TEXT, nullable=False),
        sa.Column("claim_id", sa.Integer(), nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("state IN ('open', 'answered', 'nobody left')", name=op.f("ck_inquiry_state_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_inquiry_change_id_change")),
        sa.ForeignKeyConstraint(["claim_id"], ["claim.id"], name=op.f("fk_inquiry_claim_id_claim")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_inquiry_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_inquiry")),
        sa.UniqueConstraint("uid", name=op.f("uq_inquiry_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("inquiry", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_inquiry_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_inquiry_claim_id"), ["claim_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_inquiry_person_id"), ["person_id"], unique=False)

    op.create_table(
        "joined",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("copy_id", sa.Integer(), nullable=False),
        sa.Column("parts", TEXT, nullable=False),
        sa.Column("residual_mm", sa.Double(), nullable=True),
        sa.Column("why", TEXT, nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_joined_change_id_change")),
        sa.ForeignKeyConstraint(["copy_id"], ["copy.id"], name=op.f("fk_joined_copy_id_copy")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_joined")),
        sa.UniqueConstraint("uid", name=op.f("uq_joined_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("joined", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_joined_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_joined_copy_id"), ["copy_id"], unique=False)

    op.create_table(
        "sitting_shot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("sitting_id", sa.Integer(), nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("sha256", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("media_type", TEXT, nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("kind IN ('white sheet', 'colour card')", name=op.f("ck_sitting_shot_kind_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_sitting_shot_change_id_change")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_sitting_shot_sitting_id_sitting")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sitting_shot")),
        sa.UniqueConstraint("uid", name=op.f("uq_sitting_shot_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("sitting_shot", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sitting_shot_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sitting_shot_sha256"), ["sha256"], unique=False)
        batch_op.create_index(batch_op.f("ix_sitting_shot_sitting_id"), ["sitting_id"], unique=False)

    op.create_table(
        "strip",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("ref", TEXT, nullable=False),
        sa.Column("ref_key", TEXT, nullable=False),
        sa.Column("design", TEXT, nullable=False),
        sa.Column("paper_id", sa.Integer(), nullable=False),
        sa.Column("machine_id", sa.Integer(), nullable=True),
        sa.Column("screen", TEXT, nullable=True),
        sa.Column("layout", TEXT, nullable=False),
        sa.Column("inks", TEXT, nullable=False),
        sa.Column("made_on", TEXT, nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("shift", TEXT, nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("screen IN ('FM', 'AM')", name=op.f("ck_strip_screen_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_strip_change_id_change")),
        sa.ForeignKeyConstraint(["machine_id"], ["machine.id"], name=op.f("fk_strip_machine_id_machine")),
        sa.ForeignKeyConstraint(["paper_id"], ["paper.id"], name=op.f("fk_strip_paper_id_paper")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_strip_run_id_run")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_strip")),
        sa.UniqueConstraint("uid", name=op.f("uq_strip_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("strip", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_strip_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_strip_machine_id"), ["machine_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_strip_paper_id"), ["paper_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_strip_run_id"), ["run_id"], unique=False)
        batch_op.create_index(
            "uq_strip_living_ref_key",
            ["ref_key"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "frame",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("sitting_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("status", TEXT, nullable=False),
        sa.Column("why", TEXT, nullable=False),
        sa.Column("sha256", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("taken_at", TEXT, nullable=True),
        sa.Column("group_number", sa.Integer(), nullable=True),
        sa.Column("picture_id", sa.Integer(), nullable=True),
        sa.Column("place_id", sa.Integer(), nullable=True),
        sa.Column("corners", TEXT, nullable=True),
        sa.Column("corners_sure", sa.Boolean(), nullable=False),
        sa.Column("mm_per_px", sa.Double(), nullable=True),
        sa.Column("width_mm", sa.Double(), nullable=True),
        sa.Column("height_mm", sa.Double(), nullable=True),
        sa.Column("card", TEXT, nullable=True),
        sa.Column("correction", TEXT, nullable=True),
        sa.Column("claim", sa.Double(), nullable=True),
        sa.Column("warnings", TEXT, nullable=True),
        sa.Column("alike", TEXT, nullable=True),
        sa.Column("look", TEXT, nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint(
            "kind IN ('print', 'place card', 'colour card', 'white sheet', 'job slip')", name=op.f("ck_frame_kind_word")
        ),
        sa.CheckConstraint("status IN ('taken', 'skipped', 'refused')", name=op.f("ck_frame_status_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_frame_change_id_change")),
        sa.ForeignKeyConstraint(["picture_id"], ["picture.id"], name=op.f("fk_frame_picture_id_picture")),
        sa.ForeignKeyConstraint(["place_id"], ["place.id"], name=op.f("fk_frame_place_id_place")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_frame_sitting_id_sitting")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_frame")),
        sa.UniqueConstraint("uid", name=op.f("uq_frame_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("frame", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_frame_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_frame_picture_id"), ["picture_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_frame_place_id"), ["place_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_frame_sitting_id"), ["sitting_id"], unique=False)
        batch_op.create_index(
            "uq_frame_living_sitting_id_sha256",
            ["sitting_id", "sha256"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    op.create_table(
        "slip",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("printed_on", TEXT, nullable=False),
        sa.Column("layout", TEXT, nullable=False),
        sa.Column("picture_id", sa.Integer(), nullable=True),
        sa.Column("ticks", TEXT, nullable=True),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_slip_change_id_change")),
        sa.ForeignKeyConstraint(["picture_id"], ["picture.id"], name=op.f("fk_slip_picture_id_picture")),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name=op.f("fk_slip_run_id_run")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_slip")),
        sa.UniqueConstraint("uid", name=op.f("uq_slip_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("slip", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_slip_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_slip_picture_id"), ["picture_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_slip_run_id"), ["run_id"], unique=False)

    op.create_table(
        "strip_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("strip_id", sa.Integer(), nullable=False),
        sa.Column("kind", TEXT, nullable=False),
        sa.Column("sha256", TEXT, nullable=False),
        sa.Column("name", TEXT, nullable=False),
        sa.Column("media_type", TEXT, nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("read_on", TEXT, nullable=False),
        sa.Column("hours_after", sa.Double(), nullable=False),
        sa.Column("claim", sa.Double(), nullable=True),
        sa.Column("seen", TEXT, nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("kind IN ('photo', 'scan', 'readings')", name=op.f("ck_strip_reading_kind_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_strip_reading_change_id_change")),
        sa.ForeignKeyConstraint(["strip_id"], ["strip.id"], name=op.f("fk_strip_reading_strip_id_strip")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_strip_reading")),
        sa.UniqueConstraint("uid", name=op.f("uq_strip_reading_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("strip_reading", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_strip_reading_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_strip_reading_sha256"), ["sha256"], unique=False)
        batch_op.create_index(batch_op.f("ix_strip_reading_strip_id"), ["strip_id"], unique=False)

    op.create_table(
        "proposal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("picture_id", sa.Integer(), nullable=False),
        sa.Column("x", sa.Double(), nullable=False),
        sa.Column("y", sa.Double(), nullable=False),
        sa.Column("radius_px", sa.Double(), nullable=False),
        sa.Column("lab_l", sa.Double(), nullable=False),
        sa.Column("lab_a", sa.Double(), nullable=False),
        sa.Column("lab_b", sa.Double(), nullable=False),
        sa.Column("spread", sa.Double(), nullable=False),
        sa.Column("share", sa.Double(), nullable=False),
        sa.Column("state", TEXT, nullable=False),
        sa.Column("swatch_id", sa.Integer(), nullable=True),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.CheckConstraint("state IN ('open', 'accepted', 'declined')", name=op.f("ck_proposal_state_word")),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_proposal_change_id_change")),
        sa.ForeignKeyConstraint(["picture_id"], ["picture.id"], name=op.f("fk_proposal_picture_id_picture")),
        sa.ForeignKeyConstraint(["swatch_id"], ["swatch.id"], name=op.f("fk_proposal_swatch_id_swatch")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_proposal")),
        sa.UniqueConstraint("uid", name=op.f("uq_proposal_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("proposal", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_proposal_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_proposal_picture_id"), ["picture_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_proposal_swatch_id"), ["swatch_id"], unique=False)

    op.create_table(
        "strip_patch",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", TEXT, nullable=False),
        sa.Column("strip_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("swatch_id", sa.Integer(), nullable=False),
        sa.Column("change_id", sa.Integer(), nullable=False),
        sa.Column("binned_at", TEXT, nullable=True),
        sa.ForeignKeyConstraint(["change_id"], ["change.id"], name=op.f("fk_strip_patch_change_id_change")),
        sa.ForeignKeyConstraint(["strip_id"], ["strip.id"], name=op.f("fk_strip_patch_strip_id_strip")),
        sa.ForeignKeyConstraint(["swatch_id"], ["swatch.id"], name=op.f("fk_strip_patch_swatch_id_swatch")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_strip_patch")),
        sa.UniqueConstraint("uid", name=op.f("uq_strip_patch_uid")),
        sqlite_autoincrement=True,
    )
    with op.batch_alter_table("strip_patch", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_strip_patch_change_id"), ["change_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_strip_patch_strip_id"), ["strip_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_strip_patch_swatch_id"), ["swatch_id"], unique=False)
        batch_op.create_index(
            "uq_strip_patch_living_strip_id_number",
            ["strip_id", "number"],
            unique=True,
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )

    with op.batch_alter_table("measurement", schema=None) as batch_op:
        batch_op.add_column(sa.Column("claim", sa.Double(), nullable=True))

    with op.batch_alter_table("picture", schema=None) as batch_op:
        batch_op.add_column(sa.Column("came_from", TEXT, nullable=False, server_default=""))
        batch_op.add_column(sa.Column("claim", sa.Double(), nullable=True))

    with op.batch_alter_table("place", schema=None) as batch_op:
        batch_op.add_column(sa.Column("quarantine", TEXT, nullable=True))

    with op.batch_alter_table("swatch", schema=None) as batch_op:
        batch_op.add_column(sa.Column("claim", sa.Double(), nullable=True))

    with op.batch_alter_table("work", schema=None) as batch_op:
        batch_op.add_column(sa.Column("described_at", TEXT, nullable=True))


def downgrade() -> None:
    """Take the archive back to the revision before."""
    with op.batch_alter_table("work", schema=None) as batch_op:
        batch_op.drop_column("described_at")

    with op.batch_alter_table("swatch", schema=None) as batch_op:
        batch_op.drop_column("claim")

    with op.batch_alter_table("place", schema=None) as batch_op:
        batch_op.drop_column("quarantine")

    with op.batch_alter_table("picture", schema=None) as batch_op:
        batch_op.drop_column("claim")
        batch_op.drop_column("came_from")

    with op.batch_alter_table("measurement", schema=None) as batch_op:
        batch_op.drop_column("claim")

    with op.batch_alter_table("strip_patch", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_strip_patch_living_strip_id_number",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_strip_patch_swatch_id"))
        batch_op.drop_index(batch_op.f("ix_strip_patch_strip_id"))
        batch_op.drop_index(batch_op.f("ix_strip_patch_change_id"))

    op.drop_table("strip_patch")
    with op.batch_alter_table("proposal", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_proposal_swatch_id"))
        batch_op.drop_index(batch_op.f("ix_proposal_picture_id"))
        batch_op.drop_index(batch_op.f("ix_proposal_change_id"))

    op.drop_table("proposal")
    with op.batch_alter_table("strip_reading", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_strip_reading_strip_id"))
        batch_op.drop_index(batch_op.f("ix_strip_reading_sha256"))
        batch_op.drop_index(batch_op.f("ix_strip_reading_change_id"))

    op.drop_table("strip_reading")
    with op.batch_alter_table("slip", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_slip_run_id"))
        batch_op.drop_index(batch_op.f("ix_slip_picture_id"))
        batch_op.drop_index(batch_op.f("ix_slip_change_id"))

    op.drop_table("slip")
    with op.batch_alter_table("frame", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_frame_living_sitting_id_sha256",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_frame_sitting_id"))
        batch_op.drop_index(batch_op.f("ix_frame_place_id"))
        batch_op.drop_index(batch_op.f("ix_frame_picture_id"))
        batch_op.drop_index(batch_op.f("ix_frame_change_id"))

    op.drop_table("frame")
    with op.batch_alter_table("strip", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_strip_living_ref_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_strip_run_id"))
        batch_op.drop_index(batch_op.f("ix_strip_paper_id"))
        batch_op.drop_index(batch_op.f("ix_strip_machine_id"))
        batch_op.drop_index(batch_op.f("ix_strip_change_id"))

    op.drop_table("strip")
    with op.batch_alter_table("sitting_shot", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sitting_shot_sitting_id"))
        batch_op.drop_index(batch_op.f("ix_sitting_shot_sha256"))
        batch_op.drop_index(batch_op.f("ix_sitting_shot_change_id"))

    op.drop_table("sitting_shot")
    with op.batch_alter_table("joined", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_joined_copy_id"))
        batch_op.drop_index(batch_op.f("ix_joined_change_id"))

    op.drop_table("joined")
    with op.batch_alter_table("inquiry", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_inquiry_person_id"))
        batch_op.drop_index(batch_op.f("ix_inquiry_claim_id"))
        batch_op.drop_index(batch_op.f("ix_inquiry_change_id"))

    op.drop_table("inquiry")
    with op.batch_alter_table("sitting", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_sitting_living_ref_key",
            sqlite_where=sa.text("binned_at IS NULL"),
            postgresql_where=sa.text("binned_at IS NULL"),
        )
        batch_op.drop_index(batch_op.f("ix_sitting_place_id"))
        batch_op.drop_index(batch_op.f("ix_sitting_change_id"))

    op.drop_table("sitting")
