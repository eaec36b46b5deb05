"""Delivery from the outbox: once where it can, again where it must, given up where it is useless."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from stability.errors import DeliveryError, InputError
from stability.records import outbox
from stability.records.engine import Records
from stability.records.tables import METADATA
from stability.services.deliver import Delivered, delay_after, deliver, senders_of
from stability.settings import MailSettings, Settings
from tests.smtp import PASSWORD, Mailbox, free_port, serving

NOW = datetime(2025, 4, 2, 12, tzinfo=UTC)
PAYLOAD = {"subject": "s", "body": "b", "line": "l"}


class Recorder:
    """A sender that keeps what it got, and fails while it is told to."""

    def __init__(self, fault: DeliveryError | None = None) -> None:
        self.fault, self.keys = fault, []

    def send(self, message: Any) -> None:
        if self.fault is not None:
            raise self.fault
        self.keys.append(message.key)


def put(records: Records, *keys: str, channel: str = "mail") -> None:
    with records.writing() as connection:
        for key in keys:
            outbox.put(connection, key=key, channel=channel, receiver="a@b.example", payload=PAYLOAD, at=NOW)


def states(records: Records) -> dict[str, str]:
    table = METADATA.tables["outbox"]
    with records.reading() as connection:
        return {row[0]: row[1] for row in connection.execute(sa.select(table.c.key, table.c.state))}


def go(records: Records, senders: dict[str, Any], now: datetime = NOW) -> Delivered:
    return deliver(records, senders, now=now, settings=Settings())


def test_every_message_goes_out_once(records):
    put(records, "k1", "k2")
    sender = Recorder()
    assert go(records, {"mail": sender}) == Delivered(sent=2)
    assert go(records, {"mail": sender}) == Delivered()
    assert sender.keys == ["k1", "k2"]
    assert states(records) == {"k1": "sent", "k2": "sent"}


def test_the_same_key_is_kept_once(records):
    put(records, "k1", "k1")
    assert states(records) == {"k1": "pending"}


def test_a_channel_that_is_not_set_up_keeps_its_messages(records):
    put(records, "k1")
    put(records, "k2", channel="file")
    assert go(records, {"file": Recorder()}) == Delivered(sent=1)
    assert states(records) == {"k1": "pending", "k2": "sent"}


def test_a_failure_is_tried_again_after_a_delay_that_grows(records):
    put(records, "k1")
    sender = Recorder(DeliveryError("down", permanent=False))
    assert go(records, {"mail": sender}) == Delivered(failed=1)
    assert go(records, {"mail": sender}, NOW + timedelta(seconds=1)) == Delivered()
    sender.fault = None
    assert go(records, {"mail": sender}, NOW + delay_after(1, "k1")) == Delivered(sent=1)


def test_a_channel_that_fails_is_left_alone_until_the_next_pass(records):
    put(records, "k1", "k2", "k3")
    assert go(records, {"mail": Recorder(DeliveryError("down", permanent=False))}) == Delivered(failed=1)


def test_what_waits_goes_out_as_soon_as_the_channel_works_again(records):
    put(records, "k1")
    sender = Recorder(DeliveryError("down", permanent=False))
    later = NOW
    for attempt in (1, 2, 3, 4):
        go(records, {"mail": sender}, later)
        later += delay_after(attempt, "k1")
    sender.fault = None
    put(records, "k2")
    assert go(records, {"mail": sender}, later - timedelta(seconds=1)) == Delivered(sent=2)


def test_a_final_refusal_is_given_up_at_once_and_holds_no_other_message(records):
    put(records, "k1", "k2")

    class Picky(Recorder):
        def send(self, message: Any) -> None:
            if message.key == "k1":
                raise DeliveryError("550 no such user", permanent=True)
            super().send(message)

    assert go(records, {"mail": Picky()}) == Delivered(sent=1, dead=1)
    with records.reading() as connection:
        (state,) = outbox.channel_states(connection, as_of=NOW)
    assert (state.receiver, state.dead, state.error) == ("a@b.example", 1, "550 no such user")


def test_after_the_last_attempt_a_message_is_given_up(records):
    put(records, "k1")
    sender, at = Recorder(DeliveryError("down", permanent=False)), NOW
    for attempt in range(1, Settings().mail.attempts + 1):
        found = go(records, {"mail": sender}, at)
        at += delay_after(attempt, "k1")
    assert found == Delivered(dead=1)
    assert states(records) == {"k1": "dead"}


def test_a_claim_whose_holder_died_is_taken_over_when_its_lease_ends(records):
    put(records, "k1")
    with records.writing() as connection:
        outbox.claim(connection, channels=["mail"], now=NOW, lease=timedelta(minutes=1))
    sender = Recorder()
    assert go(records, {"mail": sender}, NOW + timedelta(seconds=59)) == Delivered()
    assert go(records, {"mail": sender}, NOW + timedelta(seconds=60)) == Delivered(sent=1)


def test_a_claim_that_was_taken_over_is_not_undone_by_its_first_holder(records):
    put(records, "k1")
    lease = timedelta(minutes=1)
    with records.writing() as connection:
        first = outbox.claim(connection, channels=["mail"], now=NOW, lease=lease)
    later = NOW + 2 * lease
    with records.writing() as connection:
        outbox.claim(connection, channels=["mail"], now=later, lease=lease)
    with records.writing() as connection:
        outbox.put_off(connection, first, until=later, error="late")
    assert states(records) == {"k1": "sending"}


def test_a_date_from_a_clock_that_ran_ahead_holds_nothing(records):
    with records.writing() as connection:
        outbox.put(
            connection, key="k1", channel="mail", receiver="a@b.example", payload=PAYLOAD,
            at=NOW + timedelta(days=3650),
        )  # fmt: skip
    assert go(records, {"mail": Recorder()}) == Delivered(sent=1)


@pytest.mark.parametrize("attempts", range(1, 12))
def test_delays_grow_and_have_an_end(attempts):
    delay = delay_after(attempts, "key")
    assert delay == delay_after(attempts, "key")
    assert timedelta(seconds=7) < delay <= timedelta(hours=12)
    if attempts < 6:
        assert delay_after(attempts + 1, "key") > 2 * delay


def test_mail_that_met_a_server_that_was_down_arrives_when_it_is_back(records):
    put(records, "k1")
    port = free_port()
    settings = Settings(mail=MailSettings(host="127.0.0.1", port=port, security="none"))
    senders = senders_of(settings)
    assert deliver(records, senders, now=NOW, settings=settings) == Delivered(failed=1)
    with serving(Mailbox(), port=port) as box:
        later = NOW + delay_after(1, "k1")
        assert deliver(records, senders, now=later, settings=settings) == Delivered(sent=1)
    assert len(box.mails) == 1


def test_the_settings_say_which_channels_there_are(tmp_path: Path):
    secret = tmp_path / "secret"
    secret.write_text(f"{PASSWORD}\n", "utf-8")
    found = senders_of(Settings(mail=MailSettings(host="h", user="u", password_file=secret)))
    assert sorted(found) == ["file", "mail"]
    assert found["mail"].password == PASSWORD
    assert sorted(senders_of(Settings())) == ["file"]


def test_a_password_file_that_is_not_there_is_named(tmp_path: Path):
    with pytest.raises(InputError, match="password_file"):
        senders_of(Settings(mail=MailSettings(host="h", password_file=tmp_path / "none")))


def test_on_postgresql_two_senders_claim_beside_each_other(records):
    if records.on_sqlite:
        pytest.skip("on SQLite one writer waits for the other")
    put(records, "k1", "k2")
    lease = timedelta(minutes=1)
    with records.writing() as one, records.writing() as other:
        first = outbox.claim(one, channels=["mail"], now=NOW, lease=lease)
        second = outbox.claim(other, channels=["mail"], now=NOW, lease=lease)
    assert (first.key, second.key) == ("k1", "k2")
