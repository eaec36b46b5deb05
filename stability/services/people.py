"""Registering persons: who acts, in which role, with which account; a change is noted with what it was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from stability.errors import InputError
from stability.records.engine import Records
from stability.records.events import note
from stability.records.people import PersonRow, persons, put_person
from stability.services.faults import typed

__all__ = ["ROLES", "PersonFiled", "file_person", "people_listed"]

ROLES = ("assistant", "formulator", "qa")


@dataclass(frozen=True, slots=True)
class PersonFiled:
    """A person as on record now, and what was different before: field → (old, new)."""

    row: PersonRow
    new: bool
    changes: Mapping[str, tuple[str | None, str | None]]


def file_person(
    records: Records, asked: Mapping[str, str | None], *, person: str, now: datetime
) -> PersonFiled:
    """Register a person (`person`, `role`, `mail`, `stand_in`, `account`), or change what is given.

    An empty text takes a mail, a stand-in or an account away.

    Raises
    ------
    InputError
        If a new person has no role, a text cannot be kept, or the account belongs to somebody else.
    """
    name = (asked["person"] or "").strip()
    given = {key: value.strip() for key, value in asked.items() if value is not None and key != "person"}
    _check(name, given)
    with records.writing() as connection:
        known = {row.person: row for row in persons(connection)}
        before = known.get(name)
        if before is None and "role" not in given:
            raise InputError(f"person {typed(name)} is new and has no role", hint=f"--role {'|'.join(ROLES)}")
        bound = next(
            (row.person for row in known.values() if row.account and row.account == given.get("account")),
            name,
        )
        if bound != name:
            raise InputError(
                f"account {typed(given['account'])} is bound to {typed(bound)}",
                hint="one account, one person",
            )
        values: dict[str, str | None] = {key: value or None for key, value in given.items()}
        changes = {key: (getattr(before, key, None), value) for key, value in values.items()}
        changes = {key: change for key, change in changes.items() if change[0] != change[1]}
        if changes or before is None:
            put_person(connection, name, values)
            verb = "changed person" if before else "registered person"
            note(connection, at=now, person=person, verb=verb, subject=name, details=changes)
        row = next(row for row in persons(connection) if row.person == name)
    return PersonFiled(row, before is None, changes)


def _check(name: str, given: Mapping[str, str]) -> None:
    if not name:
        raise InputError("a person needs a name")
    for key, value in {"person": name, **given}.items():
        if len(value) > 200 or not value.isprintable():
            raise InputError(
                f"{key} {typed(value)} cannot be kept; expected at most 200 characters that print"
            )
    if given.get("role", ROLES[0]) not in ROLES:
        raise InputError(f"role {typed(given['role'])} is not known; expected one of {', '.join(ROLES)}")
    mail = given.get("mail")
    if mail and ("@" not in mail[1:-1] or any(c.isspace() for c in mail)):
        raise InputError(f"mail {typed(mail)} is no address; expected one such as lena.v@lab.example")


def people_listed(records: Records) -> tuple[PersonRow, ...]:
    """Return everybody on record, by name."""
    with records.reading() as connection:
        return persons(connection)
