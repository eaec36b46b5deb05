"""Mail against a real server: what it carries, what is verified, which refusals are final."""

from __future__ import annotations

import pytest

from stability.errors import DeliveryError
from stability.senders.base import Message
from stability.senders.mail import MailSender
from tests.smtp import PASSWORD, USER, Mailbox, free_port, self_signed, serving


def message(**given: str) -> Message:
    values = {
        "key": "alert-12-opened-mail-lena@lab.example",
        "receiver": "lena@lab.example",
        "subject": "[urgent] heading for limit – S-07: Heron-A in n-propyl acetate 20 %",
        "body": "97 % chance of crossing the limit, 398 mPa·s at 50 °C\n",
        "line": "one line",
    }
    return Message(**(values | given))


def plain(port: int, **given: object) -> MailSender:
    values = {"host": "127.0.0.1", "port": port, "security": "none", "sender": "stability@lab.example"}
    return MailSender(**(values | {"timeout_s": 5.0} | given))


def test_a_mail_carries_its_words_and_says_that_a_machine_wrote_it():
    with serving(Mailbox()) as box:
        plain(box.port).send(message())
    (mail,) = box.mails
    assert box.receivers == ["lena@lab.example"]
    assert mail["To"] == "lena@lab.example"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["Date"]
    assert "398 mPa·s at 50 °C" in mail.get_payload(decode=True).decode("utf-8")


def test_the_same_key_gives_the_same_message_id_so_that_twins_are_known():
    with serving(Mailbox()) as box:
        sender = plain(box.port)
        sender.send(message())
        sender.send(message())
        sender.send(message(key="alert-13-opened-mail-lena@lab.example"))
    assert box.ids[0] == box.ids[1] != box.ids[2]
    assert box.ids[0].endswith("@lab.example>")


def test_starttls_and_log_in_work_with_a_certificate_that_is_trusted(tmp_path, monkeypatch):
    certificate = self_signed(tmp_path)
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate))
    with serving(Mailbox(), certificate=certificate) as box:
        plain(box.port, host="localhost", security="starttls", user=USER, password=PASSWORD).send(message())
    assert len(box.mails) == 1


def test_a_certificate_that_nobody_vouches_for_is_refused_and_tried_again(tmp_path):
    certificate = self_signed(tmp_path)
    with serving(Mailbox(), certificate=certificate) as box:
        sender = plain(box.port, host="localhost", security="starttls", user=USER, password=PASSWORD)
        with pytest.raises(DeliveryError, match=r"(?i)certificate") as told:
            sender.send(message())
    assert not told.value.permanent
    assert box.mails == []


def test_a_wrong_password_is_the_channels_fault_and_is_tried_again(tmp_path, monkeypatch):
    certificate = self_signed(tmp_path)
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate))
    with serving(Mailbox(), certificate=certificate) as box:
        sender = plain(box.port, host="localhost", security="starttls", user=USER, password=USER)
        with pytest.raises(DeliveryError, match="log-in refused") as told:
            sender.send(message())
    assert not told.value.permanent


def test_the_password_is_not_shown():
    assert "correct horse" not in repr(plain(1, user=USER, password=PASSWORD))


@pytest.mark.parametrize(("answer", "permanent"), [("550 no such user", True), ("450 mailbox busy", False)])
def test_a_refused_receiver_is_final_from_500_on(answer, permanent):
    box = Mailbox()
    box.answers["lena@lab.example"] = answer
    with serving(box), pytest.raises(DeliveryError, match=answer[:3]) as told:
        plain(box.port).send(message())
    assert told.value.permanent is permanent


@pytest.mark.parametrize(("answer", "permanent"), [("554 not wanted", True), ("451 later", False)])
def test_refused_words_are_final_from_500_on(answer, permanent):
    box = Mailbox()
    box.data_answer = answer
    with serving(box), pytest.raises(DeliveryError, match=answer[:3]) as told:
        plain(box.port).send(message())
    assert told.value.permanent is permanent


def test_a_server_that_is_down_is_tried_again():
    with pytest.raises(DeliveryError, match=r"127\.0\.0\.1") as told:
        plain(free_port()).send(message())
    assert not told.value.permanent


def test_a_line_break_in_a_header_never_reaches_the_server():
    with serving(Mailbox()) as box, pytest.raises(DeliveryError) as told:
        plain(box.port).send(message(receiver="a@b.example\nBcc: c@d.example"))
    assert told.value.permanent
    assert box.mails == []
