"""What was concluded and told: forecasts, alerts, messages, statements, the event log, the sweeps."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field, SQLModel

from stability.records.tables.base import options, reference, text
from stability.records.tables.bench import Event, ExpectedBand

__all__ = [
    "Alert",
    "AlertEvent",
    "Event",
    "ExpectedBand",
    "Forecast",
    "Lease",
    "Outbox",
    "Seal",
    "Statement",
    "StatementEvent",
    "StatementRecipient",
    "Sweep",
]


class Forecast(SQLModel, table=True):
    """What the fit said of one blend, frozen, with the digest of everything that went in."""

    __table_args__ = options(
        sa.UniqueConstraint("blend_key", "as_of", "digest"),
        sa.Index("ix_forecast_blend_key_id", "blend_key", "id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    study_id: int = reference("study.id")
    blend_key: str = text(2000)
    as_of: datetime
    made_at: datetime
    digest: str = text(64)
    outcome: str = text(40)
    life_days: float | None = None
    life_days_lower95: float | None = None
    probability: float | None = None
    alert_probability: float | None = None
    payload: str = text(1_000_000)


class Alert(SQLModel, table=True):
    """One alert with a life: open, worse, acknowledged, closed; at most one open per cause."""

    __table_args__ = options(
        sa.Index(
            "uq_alert_open_cause",
            "cause",
            unique=True,
            sqlite_where=sa.text("closed_at IS NULL"),
        ),
        sa.Index("ix_alert_opened_at", "opened_at"),
    )
    id: int | None = Field(default=None, primary_key=True)
    cause: str = text(2000)
    kind: str = text(40)
    study: str | None = text(60, default=None)
    product: str | None = text(default=None)
    thinner: str | None = text(default=None)
    level_pct: float | None = None
    additive: str | None = text(default=None)
    pack: str | None = text(default=None)
    sample: str | None = text(60, default=None)
    store: str | None = text(default=None)
    severity: int = 1
    opened_at: datetime
    closed_at: datetime | None = None
    acknowledged_at: datetime | None = None
    acknowledged_by: str | None = text(default=None)
    acknowledged_reason: str | None = text(500, default=None)
    probability: float | None = None
    priors_used: bool | None = None
    limit_date: str | None = text(10, default=None)
    says: str = text(2000)
    detail: str = text(100_000, default="{}")


class AlertEvent(SQLModel, table=True):
    """One step in an alert's life."""

    __tablename__ = "alert_event"
    __table_args__ = options(
        sa.CheckConstraint("step IN ('opened', 'worse', 'acknowledged', 'closed')", name="step"),
        sa.Index("ix_alert_event_alert_id", "alert_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    alert_id: int = reference("alert.id")
    at: datetime
    step: str = text(20)
    person: str | None = text(default=None)
    says: str = text(2000)


class Outbox(SQLModel, table=True):
    """One message for one receiver, written with its cause; delivered at least once, its key tells twins."""

    __table_args__ = options(
        sa.CheckConstraint("state IN ('pending', 'sending', 'sent', 'dead')", name="state"),
        sa.Index("ix_outbox_state_not_before", "state", "not_before"),
    )
    id: int | None = Field(default=None, primary_key=True)
    key: str = text(200, unique=True)
    channel: str = text(20)
    receiver: str = text()
    payload: str = text(100_000)
    state: str = text(20, default="pending")
    attempts: int = 0
    not_before: datetime
    lease_until: datetime | None = None
    last_error: str | None = text(1000, default=None)
    created_at: datetime
    sent_at: datetime | None = None


class Statement(SQLModel, table=True):
    """One version of a statement of months, immutable; its life is in the events."""

    __table_args__ = options(sa.UniqueConstraint("number", "version"))
    id: int | None = Field(default=None, primary_key=True)
    number: str = text(60)
    version: int
    study_id: int = reference("study.id")
    blend_key: str = text(2000)
    months: int
    made_at: datetime
    author: str = text()
    payload: str = text(10_000_000)
    digest: str = text(64)
    signature: str | None = text(500, default=None)


class StatementEvent(SQLModel, table=True):
    """Drafted, issued, withdrawn, superseded, found no longer carried."""

    __tablename__ = "statement_event"
    __table_args__ = options(sa.Index("ix_statement_event_statement_id", "statement_id"))
    id: int | None = Field(default=None, primary_key=True)
    statement_id: int = reference("statement.id")
    at: datetime
    step: str = text(40)
    person: str = text()
    says: str = text(2000)


class StatementRecipient(SQLModel, table=True):
    """Who received a statement."""

    __tablename__ = "statement_recipient"
    __table_args__ = options(sa.UniqueConstraint("statement_id", "receiver"))
    id: int | None = Field(default=None, primary_key=True)
    statement_id: int = reference("statement.id")
    receiver: str = text()
    at: datetime


class Seal(SQLModel, table=True):
    """One link of the chain: the digest over the events of a span and the link before."""

    __table_args__ = options(sa.UniqueConstraint("last_event_id"))
    id: int | None = Field(default=None, primary_key=True)
    at: datetime
    first_event_id: int
    last_event_id: int
    previous_digest: str = text(64)
    digest: str = text(64)


class Sweep(SQLModel, table=True):
    """The heartbeat: when the tool looked, so that blind periods are known."""

    __table_args__ = options(sa.Index("ix_sweep_as_of", "as_of"))
    id: int | None = Field(default=None, primary_key=True)
    as_of: datetime
    started_at: datetime
    finished_at: datetime
    blind_from: datetime | None = None
    says: str = text(2000, default="")


class Lease(SQLModel, table=True):
    """Who may do a thing until when; a second daemon waits or goes on without."""

    __table_args__ = options()
    name: str = text(60, primary_key=True)
    holder: str = text()
    until: datetime
