"""From draft to statement and out of force again: draft file, issue, recipients, withdrawal, replacement.

A draft is a file whose digest is noted in the log of acts under its author; what is issued is that draft,
looked at anew, approved and signed by somebody else. Rows are never changed: a withdrawal is a further step.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from stability.errors import InputError, RefusedError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.people import persons
from stability.records.statements import (
    DRAFT_WRITTEN,
    StatementRow,
    add_recipients,
    add_step,
    draft_author,
    insert_statement,
    statement_rows,
)
from stability.services.claim_watch import asked_again, what_speaks_against
from stability.services.instants import iso
from stability.services.release import named_person
from stability.services.signing_keys import approver, owner_of, roles_on_record
from stability.services.statement import Prepared
from stability.services.statement_after import named_receivers
from stability.services.statement_data import KIND, Signatories, Worded, number_for, statement_data
from stability.services.statement_paper import Issued, on_record, unsigned
from stability.settings import Settings
from stability.statements.record import canonical, digest_of, parsed
from stability.statements.sidecar import Sidecar, signed, to_bytes
from stability.statements.signature import SigningKey, fingerprint

__all__ = ["draft_written", "issue"]

_LONGEST_KEYS = 2000


def draft_written(
    records: Records, made: Prepared, worded: Worded, *, person: str, now: datetime, settings: Settings
) -> bytes:
    """Return the content of a draft file, and note its digest under its author.

    Raises
    ------
    InputError
        If the author is nobody in particular, or not on record.
    RefusedError
        If the evidence does not carry the claim, or a question was not answered.
    """
    with records.reading() as connection:
        named_person(connection, person, "a draft")
        role = next((row.role for row in persons(connection) if row.person == person), "")
    data = statement_data(records, made, worded, author=Signatories(person, role), settings=settings)
    content = canonical(data)
    with records.writing() as connection:
        details = {"digest": digest_of(content), "months": data["months"], "version": data["version"]}
        note(
            connection,
            at=now,
            person=person,
            verb=DRAFT_WRITTEN,
            subject=str(data["number"]),
            details=details,
        )
    return content


def issue(
    records: Records,
    draft: bytes,
    key: SigningKey,
    *,
    receivers: Sequence[str] = (),
    now: datetime,
    settings: Settings,
) -> Issued:
    """Issue a draft: looked at anew, approved and signed by the owner of the key, who is not its author.

    Raises
    ------
    InputError
        If the draft was changed or never written here, its number has moved on, or the key is not on record.
    RefusedError
        If author and approver are one person, or what is known now does not carry the claim.
    """
    from stability.reports.statement_page import statement_pdf

    data = _draft_in(records, draft, now)
    person = owner_of(records, key)
    if person.casefold() == str(data["author"]["name"]).casefold():
        raise RefusedError(
            [f"{person} wrote this draft; author and approver are two persons"],
            hint="somebody else with the role qa signs it",
        )
    role = approver(roles_on_record(records), person)
    against = what_speaks_against(
        records,
        asked_again(data["asked"]),
        data["months"],
        list(data["digests"]),
        now=now,
        settings=settings,
    )
    if against.reasons:
        raise RefusedError(against.reasons, hint="nothing was issued; draft it anew")
    whole = {
        **data,
        "issued_at": iso(now.replace(microsecond=0)),
        "approver": {"name": person, "role": role, "key": fingerprint(key.public)},
        "draft": digest_of(draft),
    }
    content = canonical(whole)
    pdf = statement_pdf(whole, content=content, digest=digest_of(content))
    sidecar = signed(unsigned(whole, digest_of(content), digest_of(pdf)), key)
    with records.writing() as connection:
        row, replaced = _put(connection, whole, content, sidecar, receivers=receivers, now=now)
    return Issued(row=row, pdf=pdf, sidecar=to_bytes(sidecar), replaced=replaced)


def _draft_in(records: Records, draft: bytes, now: datetime) -> dict[str, Any]:
    data = parsed(draft, "the draft")
    if not isinstance(data, dict) or data.get("kind") != KIND or "approver" in data:
        raise InputError("this is no draft of a statement", hint="stability statement draft … --write FILE")
    with records.reading() as connection:
        author = draft_author(connection, digest_of(draft))
        number, version = number_for(connection, data["number"], now=now)
    if author is None or author != data["author"]["name"]:
        raise InputError(
            "the draft was changed after it was written, or written elsewhere: its digest is not on record",
            hint="draft it anew",
        )
    if version != data["version"]:
        raise InputError(
            f"{number} version {data['version']} was issued meanwhile; next is version {version}",
            hint="draft it anew",
        )
    return data


def _put(
    connection: sa.Connection,
    data: Mapping[str, Any],
    content: bytes,
    sidecar: Sidecar,
    *,
    receivers: Sequence[str],
    now: datetime,
) -> tuple[StatementRow, tuple[StatementRow, ...]]:
    number, version, person = data["number"], data["version"], sidecar.approver
    older = [row for row in statement_rows(connection, as_of=now, number=number) if row.live]
    blends = "\n".join(sorted(data["digests"]))
    if len(blends) > _LONGEST_KEYS:
        raise InputError(f"{len(data['lots'])} lots are too many for one statement", hint="--lot chooses")
    values = {
        "number": number,
        "version": version,
        "study_id": data["lots"][0]["study"]["id"],
        "blend_key": blends,
        "months": data["months"],
        "made_at": now,
        "author": data["author"]["name"],
        "payload": content.decode("utf-8"),
        "digest": sidecar.data,
        "signature": f"{sidecar.public}:{sidecar.pdf}:{sidecar.signature}",
    }
    new = insert_statement(connection, values)
    says = f"{data['months']} months, approved by {person}, data {sidecar.data}"
    add_step(connection, new, at=now, step="issued", person=person, says=says)
    for row in older:
        words = f"replaced by version {version}: {data['reason']}"
        add_step(connection, row.id, at=now, step="superseded", person=person, says=words)
    add_recipients(connection, new, named_receivers(receivers), at=now)
    details = {"version": version, "digest": sidecar.data, "receivers": list(receivers)}
    note(connection, at=now, person=person, verb="issued statement", subject=number, details=details)
    return on_record(connection, number, version, now=now), tuple(older)
