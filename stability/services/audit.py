"""Everything about one statement as a folder in open formats: for auditors, who ask and want it in a minute.

PDF, signature and data; the original rows they rest on, corrections beside what they correct; versions,
recipients, alerts; the log of acts with its seals; a list of all files with their digests; an index that
answers question by question. The same records give the same bytes.
"""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from stability.errors import InputError
from stability.records.alerts import alert_rows
from stability.records.engine import Records
from stability.records.events import verify_chain
from stability.records.statements import StatementRow, chain_rows, statement_rows, statement_steps
from stability.reports.audit_page import AuditFacts, audit_page
from stability.services.claim_data import plain
from stability.services.export import table_bytes
from stability.services.instants import iso
from stability.services.selfcheck import calculation_fault
from stability.services.statement_paper import on_record, paper_of
from stability.services.statement_verify import claim_check
from stability.services.tables import TABLES
from stability.services.whole_file import write_whole
from stability.statements.record import digest_of, parsed

__all__ = ["AuditPack", "audit_pack", "write_pack"]

_EPOCH = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class AuditPack:
    """The files of a pack, by name."""

    row: StatementRow
    files: Mapping[str, bytes]

    def zipped(self) -> bytes:
        """Return the pack as one ZIP file; the same files give the same bytes."""
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book:
            for name, content in sorted(self.files.items()):
                entry = zipfile.ZipInfo(name, date_time=_EPOCH)
                entry.compress_type = zipfile.ZIP_DEFLATED
                entry.external_attr = 0o644 << 16
                book.writestr(entry, content)
        return out.getvalue()


def audit_pack(records: Records, number: str, version: int | None, *, now: datetime) -> AuditPack:
    """Return everything about one version of a statement.

    Raises
    ------
    InputError
        If it is not on record, or does not come out as it was signed.
    """
    with records.reading() as connection:
        row = on_record(connection, number, version, now=now)
    paper = paper_of(row)
    content = row.payload.encode("utf-8")
    data = parsed(content, f"the data of {row.name}")
    files = {
        f"statement/{paper.file_name}": paper.pdf,
        f"statement/{paper.file_name}.sig": paper.sidecar,
        f"statement/{row.number}-v{row.version}.json": content,
    }
    with records.reading() as connection:
        versions = statement_rows(connection, as_of=now, number=row.number)
        files |= dict(_tables(connection, data, now))
        files |= dict(_told(connection, versions, data, now))
        chain = verify_chain(connection)
    files["index.html"] = audit_page(_facts(row, data, chain, versions)).encode("utf-8")
    manifest = [{"file": name, "sha256": digest_of(files[name])} for name in sorted(files)]
    files["manifest.json"] = _json({"statement": row.name, "made_at": iso(now), "files": manifest})
    return AuditPack(row, files)


def write_pack(pack: AuditPack, folder: Path) -> tuple[Path, Path]:
    """Write a pack as a folder and as a ZIP file beside it; return both.

    Raises
    ------
    InputError
        If the folder is there and not empty, or cannot be written.
    """
    name = f"audit-{pack.row.number}-v{pack.row.version}"
    place, book = folder / name, folder / f"{name}.zip"
    if place.exists() and any(place.iterdir()):
        raise InputError(f"{place} is there already and not empty", hint="name another folder with --out")
    for file, content in pack.files.items():
        write_whole(place / file, content)
    write_whole(book, pack.zipped())
    return place, book


def _tables(
    connection: sa.Connection, data: Mapping[str, Any], as_of: datetime
) -> Iterator[tuple[str, bytes]]:
    """Yield the rows of every table that concern the tins of a statement, originals and corrections."""
    readings = [r for lot in data["lots"] for r in lot["readings"]]
    own = {
        "sample": {s["sample"] for lot in data["lots"] for s in lot["samples"]},
        "store": {
            s[name] for lot in data["lots"] for s in lot["samples"] for name in ("store", "first_store")
        },
        "instrument": {r[name] for r in readings for name in ("instrument", "cup") if r[name]},
    }
    for name in TABLES:
        first = next((column for column in own if column in TABLES[name].names), None)
        wanted = None if first is None else (first, own[first])
        yield f"tables/{name}.csv", table_bytes(connection, name, as_of=as_of, wanted=wanted)


def _told(
    connection: sa.Connection, versions: tuple[StatementRow, ...], data: Mapping[str, Any], now: datetime
) -> Iterator[tuple[str, bytes]]:
    told = [
        {
            "version": each.version,
            "months": each.months,
            "digest": each.digest,
            "step": each.step,
            "recipients": each.recipients,
            "steps": [
                {"at": step.at, "step": step.step, "person": step.person, "says": step.says}
                for step in statement_steps(connection, each.id)
            ],
        }
        for each in versions
    ]
    yield "versions.json", _json(told)
    alerts = [
        {
            "kind": alert.kind,
            "opened_at": alert.opened_at,
            "closed_at": alert.closed_at,
            "acknowledged_by": alert.acknowledged_by,
            "says": alert.says,
        }
        for alert in alert_rows(connection, as_of=now, closed_too=True)
        if alert.study in (None, data["study"])
    ]
    yield "alerts.json", _json(alerts)
    acts, seals = chain_rows(connection, as_of=now)
    yield "acts.json", _json(acts)
    yield "seals.json", _json(seals)


def _facts(
    row: StatementRow, data: Mapping[str, Any], chain: tuple[str, ...], versions: tuple[StatementRow, ...]
) -> AuditFacts:
    readings = [r for lot in data["lots"] for r in lot["readings"]]
    late = sum(r["first_entered_at"][:10] > r["taken_at"][:10] for r in readings)
    return AuditFacts(
        name=row.name,
        step=row.step,
        recipients=row.recipients,
        versions=tuple(f"{r.name}: {r.months} months, {r.step}" for r in versions),
        data=data,
        readings=len(readings),
        late=late,
        claim=claim_check(data).says,
        chain="; ".join(chain) or "every seal fits",
        calculation=calculation_fault() or "a blend with a known life comes out right on this machine",
    )


def _json(data: Any) -> bytes:
    text = json.dumps(plain(data), ensure_ascii=False, allow_nan=False, indent=1, sort_keys=True)
    return f"{text}\n".encode()
