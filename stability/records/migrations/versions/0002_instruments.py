"""Instruments: facts, spindle ranges, certificates in full, checks, overrides, releases."""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "check_oil",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("oil", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("certified_mpas", sa.Float(), nullable=False),
        sa.Column("limit_pct", sa.Float(), nullable=True),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("until", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint("certified_mpas > 0", name=op.f("ck_check_oil_certified")),
        sa.CheckConstraint("limit_pct IS NULL OR limit_pct > 0", name=op.f("ck_check_oil_limit")),
        sa.CheckConstraint(
            "temperature_c IS NULL OR (temperature_c > -1e300 AND temperature_c < 1e300)",
            name=op.f("ck_check_oil_temperature_c_finite"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_oil")),
        sa.UniqueConstraint("oil", name=op.f("uq_check_oil_oil")),
        sqlite_strict=True,
    )
    op.create_table(
        "certificate_detail",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("certified_by", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("as_found", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("tolerance_pct", sa.Float(), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint(
            "tolerance_pct IS NULL OR tolerance_pct > 0", name=op.f("ck_certificate_detail_tolerance")
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_certificate_detail_instrument_id_instrument"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_certificate_detail")),
        sa.UniqueConstraint("instrument_id", "at", name=op.f("uq_certificate_detail_instrument_id_at")),
        sqlite_strict=True,
    )
    op.create_table(
        "instrument_fact",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("torque_constant", sa.Float(), nullable=True),
        sa.Column("speeds_rpm", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=True),
        sa.Column("follows", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=True),
        sa.Column("cup_factor", sa.Float(), nullable=True),
        sa.Column("limit_pct", sa.Float(), nullable=True),
        sa.Column("tolerance_pct", sa.Float(), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint(
            "cup_factor IS NULL OR cup_factor > 0", name=op.f("ck_instrument_fact_cup_factor")
        ),
        sa.CheckConstraint("limit_pct IS NULL OR limit_pct > 0", name=op.f("ck_instrument_fact_limit")),
        sa.CheckConstraint(
            "tolerance_pct IS NULL OR tolerance_pct > 0", name=op.f("ck_instrument_fact_tolerance")
        ),
        sa.CheckConstraint(
            "torque_constant IS NULL OR torque_constant > 0", name=op.f("ck_instrument_fact_torque_constant")
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_instrument_fact_instrument_id_instrument"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument_fact")),
        sa.UniqueConstraint("instrument_id", "at", name=op.f("uq_instrument_fact_instrument_id_at")),
        sqlite_strict=True,
    )
    op.create_table(
        "sentinel_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("sample", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=False),
        sa.Column("expected_mpas", sa.Float(), nullable=False),
        sa.Column("read_mpas", sa.Float(), nullable=False),
        sa.Column("limit_pct", sa.Float(), nullable=True),
        sa.Column("operator", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint("expected_mpas > 0 AND read_mpas > 0", name=op.f("ck_sentinel_check_positive")),
        sa.CheckConstraint("limit_pct IS NULL OR limit_pct > 0", name=op.f("ck_sentinel_check_limit")),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_sentinel_check_instrument_id_instrument"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sentinel_check")),
        sa.UniqueConstraint("instrument_id", "at", name=op.f("uq_sentinel_check_instrument_id_at")),
        sqlite_strict=True,
    )
    op.create_table(
        "session_override",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("person", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("reason", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=False),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_session_override_instrument_id_instrument"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_session_override")),
        sa.UniqueConstraint("instrument_id", "at", name=op.f("uq_session_override_instrument_id_at")),
        sqlite_strict=True,
    )
    op.create_table(
        "spindle_range",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("spindle", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=False),
        sa.Column("speed_rpm", sa.Float(), nullable=True),
        sa.Column("full_scale_mpas", sa.Float(), nullable=True),
        sa.Column("spindle_factor", sa.Float(), nullable=True),
        sa.Column("cell", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=True),
        sa.Column("volume_ml", sa.Float(), nullable=True),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint(
            "(full_scale_mpas IS NULL) <> (spindle_factor IS NULL)", name=op.f("ck_spindle_range_one_range")
        ),
        sa.CheckConstraint(
            "full_scale_mpas IS NULL OR full_scale_mpas > 0", name=op.f("ck_spindle_range_full_scale")
        ),
        sa.CheckConstraint(
            "full_scale_mpas IS NULL OR speed_rpm IS NOT NULL", name=op.f("ck_spindle_range_speed")
        ),
        sa.CheckConstraint("speed_rpm IS NULL OR speed_rpm > 0", name=op.f("ck_spindle_range_rpm")),
        sa.CheckConstraint(
            "spindle_factor IS NULL OR spindle_factor > 0", name=op.f("ck_spindle_range_factor")
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_spindle_range_instrument_id_instrument"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_spindle_range")),
        sa.UniqueConstraint(
            "instrument_id",
            "spindle",
            "speed_rpm",
            "at",
            name=op.f("uq_spindle_range_instrument_id_spindle_speed_rpm_at"),
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "reading_release",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("person", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("reason", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=False),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_reading_release_instrument_id_instrument"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["sample_id"],
            ["sample.id"],
            name=op.f("fk_reading_release_sample_id_sample"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading_release")),
        sa.UniqueConstraint(
            "sample_id",
            "taken_at",
            "instrument_id",
            "at",
            name=op.f("uq_reading_release_sample_id_taken_at_instrument_id_at"),
        ),
        sqlite_strict=True,
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.add_column(sa.Column("uncertainty_mpas", sa.Float(), nullable=True))


def downgrade() -> None:
    raise NotImplementedError("records are never taken back to an older schema; restore a backup")
