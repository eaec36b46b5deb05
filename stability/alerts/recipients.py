"""Who is told what: the person who can still do something about it.

Only people with a mail address on record can be told by mail; the text file and the board have everything.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from stability.alerts.findings import Kind

__all__ = ["Person", "recipients"]

_OWNER = frozenset(
    {
        Kind.HEADING_FOR_LIMIT,
        Kind.LIMIT_REACHED,
        Kind.GELLED,
        Kind.CURE_LOST,
        Kind.OUT_OF_TREND,
        Kind.BEND_SEEN,
        Kind.STEP_SEEN,
        Kind.STORAGE_FASTER_THAN_PROMISED,
        Kind.CLOCKS_DISAGREE,
    }
)
_ROUND = frozenset({Kind.CHECK_DUE, Kind.CHECK_OVERDUE})
_QUALITY = frozenset({Kind.CALIBRATION_LAPSED, Kind.SESSION_HELD})


@dataclass(frozen=True, slots=True)
class Person:
    """A person on record; `role` is assistant, formulator or qa, `stand_in` the name of another person."""

    name: str
    role: str
    mail: str | None = None
    stand_in: str | None = None


def recipients(kind: Kind, *, owner: str | None, people: Sequence[Person]) -> tuple[str, ...]:
    """Return the mail addresses for one kind of alert, each once; nobody on record means nobody.

    `owner` is the study's: a mail address or the name of a person. Formulators stand in for a missing owner.
    """
    if kind is Kind.CLAIM_NOT_CARRIED:
        return _mails(_with_role(people, "qa"))
    if kind in _QUALITY:
        return _mails([*_with_role(people, "qa"), *_with_role(people, "assistant")])
    assistants = _with_role(people, "assistant")
    if kind in _ROUND:
        late = kind is Kind.CHECK_OVERDUE
        return _mails([*assistants, *(_stand_ins(assistants, people) if late else ())])
    owners = _owner_mails(owner, people)
    return owners if kind in _OWNER else tuple(dict.fromkeys((*owners, *_mails(assistants))))


def _owner_mails(owner: str | None, people: Sequence[Person]) -> tuple[str, ...]:
    named = _mails(person for person in people if owner and person.name == owner)
    if named:
        return named
    if owner and _deliverable(owner):
        return (owner,)
    return _mails(_with_role(people, "formulator"))


def _with_role(people: Sequence[Person], role: str) -> list[Person]:
    return [person for person in people if person.role == role]


def _stand_ins(assistants: Sequence[Person], people: Sequence[Person]) -> list[Person]:
    names = {person.stand_in for person in assistants if person.stand_in}
    return [person for person in people if person.name in names]


def _mails(people: Iterable[Person]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(person.mail for person in people if person.mail and _deliverable(person.mail)))


def _deliverable(mail: str) -> bool:
    # a line break in an address would open a second mail header
    return "@" in mail.strip("@") and mail.isprintable() and " " not in mail
