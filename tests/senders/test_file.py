"""The text file: appended to, one line each, no line twice."""

from __future__ import annotations

import pytest

from stability.errors import DeliveryError
from stability.senders.base import Message
from stability.senders.file import FileSender


def message(
    key: str = "alert-1-opened-file", line: str = "2025-04-02 12:00 heading_for_limit – 97 %"
) -> Message:
    return Message(key=key, receiver="alerts.txt", subject="s", body="b", line=line)


def test_the_folder_is_made_and_lines_are_appended(tmp_path):
    path = tmp_path / "out" / "alerts.txt"
    sender = FileSender(path)
    sender.send(message())
    sender.send(message(key="alert-2-opened-file", line="second"))
    assert path.read_text("utf-8").splitlines() == [
        "2025-04-02 12:00 heading_for_limit – 97 %  (alert-1-opened-file)",
        "second  (alert-2-opened-file)",
    ]


def test_a_line_that_is_there_already_is_not_written_again(tmp_path):
    sender = FileSender(tmp_path / "alerts.txt")
    sender.send(message())
    sender.send(message(key="alert-11-opened-file"))
    sender.send(message())
    assert len((tmp_path / "alerts.txt").read_text("utf-8").splitlines()) == 2


def test_half_a_line_from_a_power_cut_does_not_swallow_the_next_one(tmp_path):
    path = tmp_path / "alerts.txt"
    path.write_text("2025-04-02 11:59 half a li", "utf-8")
    FileSender(path).send(message())
    assert path.read_text("utf-8").splitlines()[1].endswith("(alert-1-opened-file)")


def test_what_was_there_stays(tmp_path):
    path = tmp_path / "alerts.txt"
    path.write_text("a note of a person\n", "utf-8")
    FileSender(path).send(message())
    assert path.read_text("utf-8").startswith("a note of a person\n")


def test_a_path_that_cannot_be_written_is_tried_again(tmp_path):
    (tmp_path / "file").write_text("", "utf-8")
    with pytest.raises(DeliveryError, match="file") as told:
        FileSender(tmp_path / "file" / "alerts.txt").send(message())
    assert not told.value.permanent
