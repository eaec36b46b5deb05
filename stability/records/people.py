"""Persons on record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import sqlalchemy as sa

from stability.records.tables import table
from stability.records.tables.bench import Person

__all__ = ["PersonRow", "person_of_account", "persons", "put_person"]

_person = table(Person)


@dataclass(frozen=True, slots=True)
class PersonRow:
    """One person as on record."""

    person: str
    role: str
    mail: str | None
    stand_in: str | None
    account: str | None


def persons(connection: sa.Connection) -> tuple[PersonRow, ...]:
    """Return everybody on record, by name."""
    columns = (_person.c.person, _person.c.role, _person.c.mail, _person.c.stand_in, _person.c.account)
    rows = connection.execute(sa.select(*columns).order_by(_person.c.person))
    return tuple(PersonRow(*row) for row in rows)


def person_of_account(connection: sa.Connection, account: str) -> str | None:
    """Return the name of the person bound to an operating-system account."""
    found = connection.execute(sa.select(_person.c.person).where(_person.c.account == account)).scalar()
    return None if found is None else str(found)


def put_person(connection: sa.Connection, person: str, values: Mapping[str, str | None]) -> None:
    """Write a person, or what is given of one on record."""
    changed = connection.execute(
        _person.update().where(_person.c.person == person).values(person=person, **values)
    )
    if not changed.rowcount:
        connection.execute(_person.insert().values(person=person, **values))
