"""A whole batch lived through: what the phone says in thirty days, read aloud, and in the month
after. WRITE_GOLDEN=1 writes it anew; then read it as who gets it on the porch at six."""

import os
import re
from datetime import datetime
from functools import cache
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

from support import whole_batch
from support.one_box import settings_of

from monitor.service.replay import Replay
from monitor.tell.message import Message, MessageKind

GOLDEN = Path(__file__).with_name("whole_batch.txt")
FIGURE = re.compile(r"\d+(?:[.:]\d+)?")
BEGIN, END = whole_batch.at(1), whole_batch.at(whole_batch.OUT_DAY, "11:00")


@cache
def told() -> tuple[Message, ...]:
    """All that reached the phone; nobody answered any of it."""
    said: list[Message] = []
    with TemporaryDirectory() as folder:
        settings = settings_of(Path(folder), whole_batch.FILE)
        replay = Replay(settings, lambda happened: said.extend(happened.messages))
        tally = replay.feed(whole_batch.lines(1, months_after=1))
    assert tally.objections == []
    return tuple(message for message in said if message.contacts)


def in_the_batch() -> list[Message]:
    return [message for message in told() if BEGIN <= message.at < END]


def test_three_messages_a_day_at_the_most_with_every_repeat_counted() -> None:
    days = (END - BEGIN) / 86400.0
    assert 2.0 <= len(in_the_batch()) / days <= 3.0


def test_a_word_each_evening_and_each_morning() -> None:
    for kind in (MessageKind.MORNING, MessageKind.EVENING):
        times = [message.at for message in in_the_batch() if message.kind is kind]
        assert len(times) in (whole_batch.OUT_DAY - 1, whole_batch.OUT_DAY - 2)
        assert all(later - earlier == 86400.0 for earlier, later in pairwise(times))


def test_the_morning_and_a_calm_evening_are_read_at_a_glance() -> None:
    for message in in_the_batch():
        if message.kind is MessageKind.MORNING or "nothing to do" in message.title:
            assert len(f"{message.title}\n{message.body}") <= 600


def test_each_step_is_told_on_its_morning_and_once_for_both_boxes() -> None:
    """With two boxes feed and water stood there instead."""
    steps = [m for m in in_the_batch() if "less heat. Target" in m.body]
    assert [m.at for m in steps] == [whole_batch.at(day, "07:00") for day in (7, 14, 21, 28)]
    assert all(m.body.count("less heat") == 1 for m in steps)


def test_the_lamp_that_died_at_two_is_told_within_a_quarter_of_an_hour() -> None:
    died = whole_batch.at(9, "02:10")
    raised = [m for m in in_the_batch() if m.kind is MessageKind.RAISED and m.at >= died]
    assert raised[0].title == "porch: heat has stopped"
    assert raised[0].at - died <= 900.0


def test_after_the_end_there_is_one_word_and_no_more() -> None:
    after = [message.title for message in told() if message.at >= END]
    assert after == ["Hillside: the watch sleeps"]
    assert [m.title for m in told() if m.at < BEGIN] == [], "nor before the birds are in"


def test_both_boxes_of_a_split_batch_have_one_mortality() -> None:
    last = told()[-1]
    assert "115 birds placed, 7 lost." in last.body


def test_the_batch_reads_as_agreed() -> None:
    text = "".join(
        f"== {datetime.fromtimestamp(m.at, whole_batch.ZONE):%a %d %b %H:%M} {m.priority.value}\n"
        f"{m.title}\n{m.brief or m.body}\n\n"
        for m in told()
    )
    if os.environ.get("WRITE_GOLDEN"):
        GOLDEN.write_text(text, encoding="utf-8")
    agreed = GOLDEN.read_text(encoding="utf-8")
    # The words; the figures are an estimate's, which other tests hold.
    assert FIGURE.sub("0", text).split("\n== ") == FIGURE.sub("0", agreed).split("\n== ")
