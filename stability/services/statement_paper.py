"""An issued statement out of its row: the PDF set anew from its data, and the signature file beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.statements import StatementRow, statement_rows
from stability.services.faults import typed
from stability.statements.record import digest_of, parsed
from stability.statements.sidecar import Sidecar, to_bytes

__all__ = ["Issued", "listed", "on_record", "paper_named", "paper_of", "sidecar_of", "unsigned"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Issued:
    """A statement as it leaves the house: its row, the PDF, and the signature file beside it."""

    row: StatementRow
    pdf: bytes
    sidecar: bytes
    replaced: tuple[StatementRow, ...] = ()

    @property
    def file_name(self) -> str:
        """The name of the PDF; the signature file has `.sig` behind it."""
        return f"{self.row.number}-v{self.row.version}.pdf"


def on_record(connection: sa.Connection, number: str, version: int | None, *, now: datetime) -> StatementRow:
    """Return a version of a statement, or the latest.

    Raises
    ------
    InputError
        If there is none.
    """
    rows = statement_rows(connection, as_of=now)
    found = [row for row in rows if row.number.casefold() == number.strip().casefold()]
    found = [row for row in found if version in (None, row.version)]
    if not found:
        names = ", ".join(row.name for row in rows) or "there is none"
        raise InputError(f"statement {typed(number)} is not on record", hint=names)
    return found[-1]


def listed(records: Records, *, as_of: datetime) -> tuple[StatementRow, ...]:
    """Return all versions of all statements as they stood at an instant."""
    with records.reading() as connection:
        return statement_rows(connection, as_of=as_of)


def paper_named(records: Records, number: str, version: int | None, *, now: datetime) -> Issued:
    """Return a statement by its number, out of its row.

    Raises
    ------
    InputError
        If it is not on record, or does not come out as it was signed.
    """
    with records.reading() as connection:
        row = on_record(connection, number, version, now=now)
    return paper_of(row)


def sidecar_of(row: StatementRow) -> Sidecar:
    """Return the signature file of a row.

    Raises
    ------
    InputError
        If the row holds no signature as it should.
    """
    parts = (row.signature or "").split(":")
    data = parsed(row.payload.encode("utf-8"), f"the data of {row.name}")
    if len(parts) != 3 or not isinstance(data, dict) or "approver" not in data:
        raise InputError(f"{row.name} holds no signature as it should")
    public, pdf, signature = parts
    return replace(unsigned(data, row.digest, pdf), public=public, signature=signature)


def paper_of(row: StatementRow) -> Issued:
    """Return a statement out of its row: the PDF set anew from its data, and its signature file.

    Raises
    ------
    InputError
        If the PDF is not the one that was signed.
    """
    from stability.reports.statement_page import statement_pdf

    content = row.payload.encode("utf-8")
    sidecar = sidecar_of(row)
    pdf = statement_pdf(parsed(content, f"the data of {row.name}"), content=content, digest=row.digest)
    if digest_of(pdf) != sidecar.pdf:
        raise InputError(
            f"the PDF of {row.name} comes out differently from the one that was signed",
            hint="the row or the program has changed: take the file that was issued; stability doctor",
        )
    return Issued(row=row, pdf=pdf, sidecar=to_bytes(sidecar))


def unsigned(data: Mapping[str, Any], digest: str, pdf: str) -> Sidecar:
    """Return what is signed of a statement, before it is; digests of its data and of its PDF."""
    return Sidecar(
        number=data["number"],
        version=data["version"],
        months=data["months"],
        issued_at=data["issued_at"],
        approver=data["approver"]["name"],
        data=digest,
        pdf=pdf,
    )
