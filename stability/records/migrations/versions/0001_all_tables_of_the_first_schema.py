"""All tables of the first schema."""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "alert",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cause", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=False),
        sa.Column("kind", sqlmodel.sql.sqltypes.AutoString(length=40), nullable=False),
        sa.Column("study", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=True),
        sa.Column("product", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("thinner", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("level_pct", sa.Float(), nullable=True),
        sa.Column("additive", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("pack", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("sample", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=True),
        sa.Column("store", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("severity", sa.Integer(), nullable=False),
        sa.Column("opened_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("closed_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.Column("acknowledged_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.Column("acknowledged_by", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("acknowledged_reason", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=True),
        sa.Column("probability", sa.Float(), nullable=True),
        sa.Column("priors_used", sa.Boolean(), nullable=True),
        sa.Column("limit_date", sqlmodel.sql.sqltypes.AutoString(length=10), nullable=True),
        sa.Column("says", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=False),
        sa.Column("detail", sqlmodel.sql.sqltypes.AutoString(length=100000), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alert")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("alert", schema=None) as batch_op:
        batch_op.create_index("ix_alert_opened_at", ["opened_at"], unique=False)
        batch_op.create_index(
            "uq_alert_open_cause",
            ["cause"],
            unique=True,
            sqlite_where=sa.text("closed_at IS NULL"),
            postgresql_where=sa.text("closed_at IS NULL"),
        )

    op.create_table(
        "event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("person", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("verb", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=False),
        sa.Column("subject", sqlmodel.sql.sqltypes.AutoString(length=300), nullable=False),
        sa.Column("details", sqlmodel.sql.sqltypes.AutoString(length=100000), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_event")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("event", schema=None) as batch_op:
        batch_op.create_index("ix_event_subject", ["subject"], unique=False)

    op.create_table(
        "instrument",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("kind", sqlmodel.sql.sqltypes.AutoString(length=40), nullable=False),
        sa.Column("full_scale_mpas", sa.Float(), nullable=True),
        sa.Column("factor", sa.Float(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument")),
        sa.UniqueConstraint("instrument", name=op.f("uq_instrument_instrument")),
        sqlite_strict=True,
    )
    op.create_table(
        "lease",
        sa.Column("name", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=False),
        sa.Column("holder", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("until", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_lease")),
        sqlite_strict=True,
    )
    op.create_table(
        "lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("lot", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("kind", sqlmodel.sql.sqltypes.AutoString(length=20), nullable=False),
        sa.Column("opened_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.Column("water_ppm", sa.Float(), nullable=True),
        sa.Column("acid_pct", sa.Float(), nullable=True),
        sa.Column("alcohol_pct", sa.Float(), nullable=True),
        sa.Column("methoxy_mmol_g", sa.Float(), nullable=True),
        sa.CheckConstraint("kind IN ('product', 'thinner')", name=op.f("ck_lot_kind")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot")),
        sa.UniqueConstraint("kind", "lot", name=op.f("uq_lot_kind_lot")),
        sqlite_strict=True,
    )
    op.create_table(
        "method_change",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("what", sqlmodel.sql.sqltypes.AutoString(length=20), nullable=False),
        sa.Column("study", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=False),
        sa.Column("instrument", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("note", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint(
            "what IN ('spindle', 'instrument', 'oil', 'method', 'operator')",
            name=op.f("ck_method_change_what"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_method_change")),
        sa.UniqueConstraint(
            "at", "what", "study", "instrument", name=op.f("uq_method_change_at_what_study_instrument")
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("channel", sqlmodel.sql.sqltypes.AutoString(length=20), nullable=False),
        sa.Column("receiver", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("payload", sqlmodel.sql.sqltypes.AutoString(length=100000), nullable=False),
        sa.Column("state", sqlmodel.sql.sqltypes.AutoString(length=20), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("not_before", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("lease_until", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.Column("last_error", sqlmodel.sql.sqltypes.AutoString(length=1000), nullable=True),
        sa.Column("created_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("sent_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.CheckConstraint("state IN ('pending', 'sending', 'sent', 'dead')", name=op.f("ck_outbox_state")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("key", name=op.f("uq_outbox_key")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("outbox", schema=None) as batch_op:
        batch_op.create_index("ix_outbox_state_not_before", ["state", "not_before"], unique=False)

    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("role", sqlmodel.sql.sqltypes.AutoString(length=20), nullable=False),
        sa.Column("mail", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("stand_in", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("account", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.CheckConstraint("role IN ('assistant', 'formulator', 'qa')", name=op.f("ck_person_role")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("account", name=op.f("uq_person_account")),
        sa.UniqueConstraint("person", name=op.f("uq_person_person")),
        sqlite_strict=True,
    )
    op.create_table(
        "seal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("first_event_id", sa.Integer(), nullable=False),
        sa.Column("last_event_id", sa.Integer(), nullable=False),
        sa.Column("previous_digest", sqlmodel.sql.sqltypes.AutoString(length=64), nullable=False),
        sa.Column("digest", sqlmodel.sql.sqltypes.AutoString(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_seal")),
        sa.UniqueConstraint("last_event_id", name=op.f("uq_seal_last_event_id")),
        sqlite_strict=True,
    )
    op.create_table(
        "store",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("store", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("temperature_c", sa.Float(), nullable=False),
        sa.Column("tolerance_c", sa.Float(), nullable=True),
        sa.Column("humidity_pct", sa.Float(), nullable=True),
        sa.CheckConstraint("temperature_c > -273.15", name=op.f("ck_store_above_zero")),
        sa.CheckConstraint(
            "temperature_c IS NULL OR (temperature_c > -1e300 AND temperature_c < 1e300)",
            name=op.f("ck_store_temperature_c_finite"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_store")),
        sa.UniqueConstraint("store", name=op.f("uq_store_store")),
        sqlite_strict=True,
    )
    op.create_table(
        "study",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study")),
        sa.UniqueConstraint("code", name=op.f("uq_study_code")),
        sqlite_strict=True,
    )
    op.create_table(
        "sweep",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("as_of", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("started_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("finished_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("blind_from", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.Column("says", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sweep")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("sweep", schema=None) as batch_op:
        batch_op.create_index("ix_sweep_as_of", ["as_of"], unique=False)

    op.create_table(
        "thinner",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("thinner", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("thinner_class", sqlmodel.sql.sqltypes.AutoString(length=40), nullable=False),
        sa.Column("flash_c", sa.Float(), nullable=True),
        sa.Column("sds", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=True),
        sa.CheckConstraint(
            "flash_c IS NULL OR (flash_c > -1e300 AND flash_c < 1e300)",
            name=op.f("ck_thinner_flash_c_finite"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_thinner")),
        sa.UniqueConstraint("thinner", name=op.f("uq_thinner_thinner")),
        sqlite_strict=True,
    )
    op.create_table(
        "alert_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("alert_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("step", sqlmodel.sql.sqltypes.AutoString(length=20), nullable=False),
        sa.Column("person", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("says", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=False),
        sa.CheckConstraint(
            "step IN ('opened', 'worse', 'acknowledged', 'closed')", name=op.f("ck_alert_event_step")
        ),
        sa.ForeignKeyConstraint(
            ["alert_id"], ["alert.id"], name=op.f("fk_alert_event_alert_id_alert"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alert_event")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("alert_event", schema=None) as batch_op:
        batch_op.create_index("ix_alert_event_alert_id", ["alert_id"], unique=False)

    op.create_table(
        "calibration",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("due_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("as_found_pct", sa.Float(), nullable=True),
        sa.Column("certificate", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_calibration_instrument_id_instrument"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calibration")),
        sa.UniqueConstraint("instrument_id", "at", name=op.f("uq_calibration_instrument_id_at")),
        sqlite_strict=True,
    )
    op.create_table(
        "forecast",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("blend_key", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=False),
        sa.Column("as_of", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("made_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("digest", sqlmodel.sql.sqltypes.AutoString(length=64), nullable=False),
        sa.Column("outcome", sqlmodel.sql.sqltypes.AutoString(length=40), nullable=False),
        sa.Column("life_days", sa.Float(), nullable=True),
        sa.Column("life_days_lower95", sa.Float(), nullable=True),
        sa.Column("probability", sa.Float(), nullable=True),
        sa.Column("alert_probability", sa.Float(), nullable=True),
        sa.Column("payload", sqlmodel.sql.sqltypes.AutoString(length=1000000), nullable=False),
        sa.ForeignKeyConstraint(
            ["study_id"], ["study.id"], name=op.f("fk_forecast_study_id_study"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forecast")),
        sa.UniqueConstraint("blend_key", "as_of", "digest", name=op.f("uq_forecast_blend_key_as_of_digest")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("forecast", schema=None) as batch_op:
        batch_op.create_index("ix_forecast_blend_key_id", ["blend_key", "id"], unique=False)

    op.create_table(
        "oil_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("certified_mpas", sa.Float(), nullable=False),
        sa.Column("read_mpas", sa.Float(), nullable=False),
        sa.Column("operator", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint("certified_mpas > 0 AND read_mpas > 0", name=op.f("ck_oil_check_positive")),
        sa.ForeignKeyConstraint(
            ["instrument_id"],
            ["instrument.id"],
            name=op.f("fk_oil_check_instrument_id_instrument"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_oil_check")),
        sa.UniqueConstraint("instrument_id", "at", name=op.f("uq_oil_check_instrument_id_at")),
        sqlite_strict=True,
    )
    op.create_table(
        "sample",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("product", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("product_lot", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("thinner", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("thinner_lot", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("level_pct", sa.Float(), nullable=True),
        sa.Column("additive", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("additive_pct", sa.Float(), nullable=True),
        sa.Column("pack", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("fill_pct", sa.Float(), nullable=True),
        sa.Column("store_id", sa.Integer(), nullable=False),
        sa.Column("placed_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("twin", sqlmodel.sql.sqltypes.AutoString(length=20), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint("twin IS NULL OR twin IN ('opened', 'sealed')", name=op.f("ck_sample_twin")),
        sa.CheckConstraint(
            "level_pct IS NULL OR (level_pct > -1e300 AND level_pct < 1e300)",
            name=op.f("ck_sample_level_pct_finite"),
        ),
        sa.CheckConstraint(
            "level_pct IS NULL OR (level_pct >= 0 AND level_pct < 100)", name=op.f("ck_sample_level")
        ),
        sa.ForeignKeyConstraint(
            ["store_id"], ["store.id"], name=op.f("fk_sample_store_id_store"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["study_id"], ["study.id"], name=op.f("fk_sample_study_id_study"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sample")),
        sa.UniqueConstraint("sample", name=op.f("uq_sample_sample")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("sample", schema=None) as batch_op:
        batch_op.create_index("ix_sample_store_id", ["store_id"], unique=False)
        batch_op.create_index("ix_sample_study_id", ["study_id"], unique=False)

    op.create_table(
        "statement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("blend_key", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=False),
        sa.Column("months", sa.Integer(), nullable=False),
        sa.Column("made_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("author", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("payload", sqlmodel.sql.sqltypes.AutoString(length=10000000), nullable=False),
        sa.Column("digest", sqlmodel.sql.sqltypes.AutoString(length=64), nullable=False),
        sa.Column("signature", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=True),
        sa.ForeignKeyConstraint(
            ["study_id"], ["study.id"], name=op.f("fk_statement_study_id_study"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_statement")),
        sa.UniqueConstraint("number", "version", name=op.f("uq_statement_number_version")),
        sqlite_strict=True,
    )
    op.create_table(
        "store_temperature",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("store_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("temperature_c", sa.Float(), nullable=False),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint(
            "temperature_c IS NULL OR (temperature_c > -1e300 AND temperature_c < 1e300)",
            name=op.f("ck_store_temperature_temperature_c_finite"),
        ),
        sa.ForeignKeyConstraint(
            ["store_id"], ["store.id"], name=op.f("fk_store_temperature_store_id_store"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_store_temperature")),
        sa.UniqueConstraint(
            "store_id", "at", "entered_at", name=op.f("uq_store_temperature_store_id_at_entered_at")
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "study_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("title", sqlmodel.sql.sqltypes.AutoString(length=300), nullable=False),
        sa.Column("target_life_days", sa.Float(), nullable=False),
        sa.Column("storage_c", sa.Float(), nullable=False),
        sa.Column("owner", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("closed_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.Column("source", sqlmodel.sql.sqltypes.AutoString(length=100000), nullable=False),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("entered_by", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.CheckConstraint("storage_c > -273.15 AND storage_c < 200", name=op.f("ck_study_version_storage")),
        sa.CheckConstraint("target_life_days > 0", name=op.f("ck_study_version_target")),
        sa.ForeignKeyConstraint(
            ["study_id"], ["study.id"], name=op.f("fk_study_version_study_id_study"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study_version")),
        sa.UniqueConstraint("study_id", "version", name=op.f("uq_study_version_study_id_version")),
        sqlite_strict=True,
    )
    op.create_table(
        "cure",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("humidity_pct", sa.Float(), nullable=False),
        sa.Column("film_um", sa.Float(), nullable=True),
        sa.Column("dry_through_h", sa.Float(), nullable=True),
        sa.Column("operator", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("note", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("entered_by", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.Column("reason", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=True),
        sa.CheckConstraint(
            "corrects_id IS NOT NULL OR dry_through_h IS NOT NULL", name=op.f("ck_cure_something")
        ),
        sa.CheckConstraint("corrects_id IS NULL OR reason IS NOT NULL", name=op.f("ck_cure_reason")),
        sa.CheckConstraint("dry_through_h IS NULL OR dry_through_h > 0", name=op.f("ck_cure_dry_through")),
        sa.ForeignKeyConstraint(
            ["corrects_id"], ["cure.id"], name=op.f("fk_cure_corrects_id_cure"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_cure_sample_id_sample"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cure")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("cure", schema=None) as batch_op:
        batch_op.create_index(
            "uq_cure_correction",
            ["corrects_id", "entered_at"],
            unique=True,
            sqlite_where=sa.text("corrects_id IS NOT NULL"),
            postgresql_where=sa.text("corrects_id IS NOT NULL"),
        )
        batch_op.create_index(
            "uq_cure_original",
            ["sample_id", "taken_at", "humidity_pct"],
            unique=True,
            sqlite_where=sa.text("corrects_id IS NULL"),
            postgresql_where=sa.text("corrects_id IS NULL"),
        )

    op.create_table(
        "ending",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("reason", sqlmodel.sql.sqltypes.AutoString(length=20), nullable=False),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint(
            "reason IN ('gelled', 'dropped', 'used', 'closed')", name=op.f("ck_ending_reason")
        ),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_ending_sample_id_sample"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ending")),
        sa.UniqueConstraint("sample_id", name=op.f("uq_ending_sample_id")),
        sqlite_strict=True,
    )
    op.create_table(
        "expected_band",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("forecast_id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("knots", sqlmodel.sql.sqltypes.AutoString(length=20000), nullable=False),
        sa.ForeignKeyConstraint(
            ["forecast_id"],
            ["forecast.id"],
            name=op.f("fk_expected_band_forecast_id_forecast"),
            ondelete="RESTRICT",
        ),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_expected_band_sample_id_sample"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_expected_band")),
        sa.UniqueConstraint("forecast_id", "sample_id", name=op.f("uq_expected_band_forecast_id_sample_id")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("expected_band", schema=None) as batch_op:
        batch_op.create_index("ix_expected_band_sample_id_id", ["sample_id", "id"], unique=False)

    op.create_table(
        "outing",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("out_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("back_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.CheckConstraint("back_at > out_at", name=op.f("ck_outing_order")),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_outing_sample_id_sample"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outing")),
        sa.UniqueConstraint("sample_id", "out_at", name=op.f("uq_outing_sample_id_out_at")),
        sqlite_strict=True,
    )
    op.create_table(
        "planned_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("kind", sqlmodel.sql.sqltypes.AutoString(length=40), nullable=False),
        sa.Column("age_days", sa.Float(), nullable=False),
        sa.Column("due_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("take_out_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.Column("moved", sa.Boolean(), nullable=False),
        sa.Column("state", sqlmodel.sql.sqltypes.AutoString(length=20), nullable=False),
        sa.Column("done_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
        sa.CheckConstraint(
            "state IN ('planned', 'due', 'late', 'missed', 'done', 'cancelled')",
            name=op.f("ck_planned_check_state"),
        ),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_planned_check_sample_id_sample"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_planned_check")),
        sa.UniqueConstraint(
            "sample_id", "kind", "age_days", name=op.f("uq_planned_check_sample_id_kind_age_days")
        ),
        sqlite_strict=True,
    )
    with op.batch_alter_table("planned_check", schema=None) as batch_op:
        batch_op.create_index("ix_planned_check_state_due_at", ["state", "due_at"], unique=False)

    op.create_table(
        "reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("taken_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("viscosity_mpas", sa.Float(), nullable=True),
        sa.Column("viscosity_text", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=True),
        sa.Column("over_range", sa.Integer(), nullable=False),
        sa.Column("temperature_c", sa.Float(), nullable=True),
        sa.Column("gel_grade", sa.Integer(), nullable=True),
        sa.Column("operator", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("instrument", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=True),
        sa.Column("spindle", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=True),
        sa.Column("speed_rpm", sa.Float(), nullable=True),
        sa.Column("torque_pct", sa.Float(), nullable=True),
        sa.Column("cup", sqlmodel.sql.sqltypes.AutoString(length=60), nullable=True),
        sa.Column("efflux_s", sa.Float(), nullable=True),
        sa.Column("density_g_ml", sa.Float(), nullable=True),
        sa.Column("mass_g", sa.Float(), nullable=True),
        sa.Column("appearance", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=True),
        sa.Column("photo", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=True),
        sa.Column("note", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=True),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("entered_by", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.Column("reason", sqlmodel.sql.sqltypes.AutoString(length=500), nullable=True),
        sa.Column("rule", sqlmodel.sql.sqltypes.AutoString(length=40), nullable=True),
        sa.CheckConstraint(
            "corrects_id IS NOT NULL OR viscosity_mpas IS NOT NULL OR gel_grade IS NOT NULL",
            name=op.f("ck_reading_something"),
        ),
        sa.CheckConstraint("corrects_id IS NULL OR reason IS NOT NULL", name=op.f("ck_reading_reason")),
        sa.CheckConstraint(
            "gel_grade IS NULL OR gel_grade BETWEEN 0 AND 5", name=op.f("ck_reading_gel_grade")
        ),
        sa.CheckConstraint("over_range IN (0, 1)", name=op.f("ck_reading_over_range")),
        sa.CheckConstraint(
            "viscosity_mpas IS NULL OR (viscosity_mpas > -1e300 AND viscosity_mpas < 1e300)",
            name=op.f("ck_reading_viscosity_mpas_finite"),
        ),
        sa.CheckConstraint("viscosity_mpas IS NULL OR viscosity_mpas > 0", name=op.f("ck_reading_viscosity")),
        sa.ForeignKeyConstraint(
            ["corrects_id"], ["reading.id"], name=op.f("fk_reading_corrects_id_reading"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_reading_sample_id_sample"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index(
            "ix_reading_corrected_sample",
            ["sample_id"],
            unique=False,
            sqlite_where=sa.text("corrects_id IS NOT NULL"),
            postgresql_where=sa.text("corrects_id IS NOT NULL"),
        )
        batch_op.create_index(
            "uq_reading_correction",
            ["corrects_id", "entered_at"],
            unique=True,
            sqlite_where=sa.text("corrects_id IS NOT NULL"),
            postgresql_where=sa.text("corrects_id IS NOT NULL"),
        )
        batch_op.create_index(
            "uq_reading_original",
            ["sample_id", "taken_at"],
            unique=True,
            sqlite_where=sa.text("corrects_id IS NULL"),
            postgresql_where=sa.text("corrects_id IS NULL"),
        )

    op.create_table(
        "sample_move",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sample_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("to_store_id", sa.Integer(), nullable=False),
        sa.Column("entered_at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["sample_id"], ["sample.id"], name=op.f("fk_sample_move_sample_id_sample"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["to_store_id"], ["store.id"], name=op.f("fk_sample_move_to_store_id_store"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sample_move")),
        sa.UniqueConstraint("sample_id", "at", name=op.f("uq_sample_move_sample_id_at")),
        sqlite_strict=True,
    )
    op.create_table(
        "statement_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("statement_id", sa.Integer(), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.Column("step", sqlmodel.sql.sqltypes.AutoString(length=40), nullable=False),
        sa.Column("person", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("says", sqlmodel.sql.sqltypes.AutoString(length=2000), nullable=False),
        sa.ForeignKeyConstraint(
            ["statement_id"],
            ["statement.id"],
            name=op.f("fk_statement_event_statement_id_statement"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_statement_event")),
        sqlite_strict=True,
    )
    with op.batch_alter_table("statement_event", schema=None) as batch_op:
        batch_op.create_index("ix_statement_event_statement_id", ["statement_id"], unique=False)

    op.create_table(
        "statement_recipient",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("statement_id", sa.Integer(), nullable=False),
        sa.Column("receiver", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("at", sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
        sa.ForeignKeyConstraint(
            ["statement_id"],
            ["statement.id"],
            name=op.f("fk_statement_recipient_statement_id_statement"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_statement_recipient")),
        sa.UniqueConstraint(
            "statement_id", "receiver", name=op.f("uq_statement_recipient_statement_id_receiver")
        ),
        sqlite_strict=True,
    )
    op.create_table(
        "study_limit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_version_id", sa.Integer(), nullable=False),
        sa.Column("name", sqlmodel.sql.sqltypes.AutoString(length=40), nullable=False),
        sa.Column("value", sa.Float(), nullable=False),
        sa.CheckConstraint(
            "name IN ('viscosity_ratio', 'viscosity_max_mpas', 'gel_grade', 'dry_through_ratio')",
            name=op.f("ck_study_limit_name"),
        ),
        sa.CheckConstraint("value > 0", name=op.f("ck_study_limit_value")),
        sa.ForeignKeyConstraint(
            ["study_version_id"],
            ["study_version.id"],
            name=op.f("fk_study_limit_study_version_id_study_version"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study_limit")),
        sa.UniqueConstraint("study_version_id", "name", name=op.f("uq_study_limit_study_version_id_name")),
        sqlite_strict=True,
    )
    op.create_table(
        "study_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_version_id", sa.Integer(), nullable=False),
        sa.Column("store", sqlmodel.sql.sqltypes.AutoString(length=200), nullable=False),
        sa.Column("age_days", sa.Float(), nullable=False),
        sa.Column("kind", sqlmodel.sql.sqltypes.AutoString(length=40), nullable=False),
        sa.CheckConstraint("age_days >= 0", name=op.f("ck_study_plan_age")),
        sa.ForeignKeyConstraint(
            ["study_version_id"],
            ["study_version.id"],
            name=op.f("fk_study_plan_study_version_id_study_version"),
            ondelete="RESTRICT",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study_plan")),
        sa.UniqueConstraint(
            "study_version_id",
            "store",
            "age_days",
            "kind",
            name=op.f("uq_study_plan_study_version_id_store_age_days_kind"),
        ),
        sqlite_strict=True,
    )


def downgrade() -> None:
    raise NotImplementedError("records are never taken back to an older schema; restore a backup")
