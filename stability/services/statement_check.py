"""Whether the statements on record are those that were signed: rows, data, signatures, keys."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.statements import StatementRow, key_owners, statement_rows
from stability.services.instants import iso
from stability.services.statement_paper import sidecar_of
from stability.statements.record import digest_of, parsed
from stability.statements.sidecar import sound

__all__ = ["statements_looked_at"]

_EVER = datetime(9999, 1, 1, tzinfo=UTC)  # a row whose time was changed must not hide behind it


def statements_looked_at(records: Records) -> tuple[int, tuple[str, ...]]:
    """Return how many statements are on record, and what does not match in them."""
    with records.reading() as connection:
        rows, owners = statement_rows(connection, as_of=_EVER), key_owners(connection)
    return len(rows), tuple(fault for row in rows for fault in _faults(row, owners))


def _faults(row: StatementRow, owners: dict[str, str]) -> Iterator[str]:
    content = row.payload.encode("utf-8")
    if row.signature is None:
        yield f"{row.name} is not signed"
        return
    if digest_of(content) != row.digest:
        yield f"{row.name}: its data do not match their digest"
        return
    try:
        data, sidecar = parsed(content, f"the data of {row.name}"), sidecar_of(row)
        told = (data["number"], data["version"], data["months"], data["author"]["name"])
        blends = "\n".join(sorted(data["digests"]))
    except (InputError, KeyError, TypeError) as exc:
        yield f"{row.name}: {exc}"
        return
    if not sound(sidecar):
        yield f"{row.name}: its signature does not match what was signed"
    elif owners.get(sidecar.public) != sidecar.approver:
        yield f"{row.name} is signed with a key that is not that of {sidecar.approver}"
    if told != (row.number, row.version, row.months, row.author) or blends != row.blend_key:
        yield f"{row.name}: the row says something else than its signed data"
    if data["issued_at"] != iso(row.made_at.replace(microsecond=0)):
        yield f"{row.name}: the row was made at another time than was signed"
