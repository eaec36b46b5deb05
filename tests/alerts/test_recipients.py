from __future__ import annotations

import pytest

from stability.alerts.findings import Kind
from stability.alerts.recipients import Person, recipients

PEOPLE = (
    Person("Mira O.", "assistant", "mira@lab.example", "Jonas K."),
    Person("Jonas K.", "assistant", "jonas@lab.example"),
    Person("Ada", "assistant", None, "Lena V."),
    Person("Lena V.", "formulator", "lena@lab.example"),
    Person("Tomas B.", "qa", "tomas@lab.example"),
)
BENCH = ("mira@lab.example", "jonas@lab.example")


@pytest.mark.parametrize(
    ("kind", "owner", "expected"),
    [
        (Kind.HEADING_FOR_LIMIT, "boss@lab.example", ("boss@lab.example",)),
        (Kind.HEADING_FOR_LIMIT, "Lena V.", ("lena@lab.example",)),
        (Kind.HEADING_FOR_LIMIT, None, ("lena@lab.example",)),
        (Kind.HEADING_FOR_LIMIT, "somebody who left", ("lena@lab.example",)),
        (Kind.CHECK_DUE, "boss@lab.example", BENCH),
        (Kind.CHECK_OVERDUE, None, (*BENCH, "lena@lab.example")),
        (Kind.STORE_EXCURSION, "boss@lab.example", ("boss@lab.example", *BENCH)),
        (Kind.CALIBRATION_LAPSED, "boss@lab.example", ("tomas@lab.example", *BENCH)),
        (Kind.CLAIM_NOT_CARRIED, "boss@lab.example", ("tomas@lab.example",)),
    ],
)
def test_who_is_told(kind, owner, expected):
    assert recipients(kind, owner=owner, people=PEOPLE) == expected


@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_is_told_to_somebody_and_without_addresses_to_nobody(kind):
    assert recipients(kind, owner="boss@lab.example", people=PEOPLE)
    assert recipients(kind, owner=None, people=()) == ()


def test_an_address_that_opens_a_second_header_is_no_address():
    assert recipients(Kind.GELLED, owner="a@b.example\nBcc: c@d.example", people=()) == ()
