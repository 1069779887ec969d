"""Acknowledge links: for these alarms, this contact, one use, twelve hours, and nothing else."""

import stat
from pathlib import Path

import pytest
from tell_samples import NIGHT, change, chilled, site

from monitor.events import AlarmName, EntryKind, Moment
from monitor.tell.links import LinkAnswer, LinkFault, Links, already_used, load_key
from monitor.tell.message import Message
from monitor.tell.notification_plan import NotificationPlan

KEY = b"k" * 32
BASE = "http://board.local:8420/"


def told() -> Message:
    plan = NotificationPlan(site(), ())
    plan.advance(Moment(NIGHT - 60, NIGHT - 60))
    [message] = plan.changes([change(AlarmName.CHILL)], Moment(NIGHT, NIGHT))
    return message


def token_for(contact: str = "me") -> str:
    link = Links(KEY, BASE).link(told(), contact, NIGHT)
    assert link is not None
    assert link.startswith("http://board.local:8420/answer/")
    return link.rsplit("/", 1)[1]


def test_a_link_says_whose_it_is_and_which_alarms_it_answers():
    answer = Links(KEY, BASE).read(token_for("ann"), NIGHT + 3600)
    assert answer.contact == "ann"
    assert answer.occurrences == told().ack_for


def test_two_links_of_the_same_message_are_two():
    links = Links(KEY, BASE)
    assert links.read(token_for(), NIGHT).id != links.read(token_for(), NIGHT).id


@pytest.mark.parametrize(
    ("token", "at", "words"),
    [
        (token_for()[:-3] + "abc", NIGHT, "not whole"),
        ("nonsense", NIGHT, "not whole"),
        ("", NIGHT, "not whole"),
        (token_for(), NIGHT + 12 * 3600 + 1, "too old"),
        (token_for(), NIGHT - 4000, "time still to come"),
    ],
)
def test_a_link_that_is_damaged_or_too_old_answers_nothing_and_says_why(token, at, words):
    with pytest.raises(LinkFault, match=words):
        Links(KEY, BASE).read(token, at)


def test_a_link_signed_with_another_key_answers_nothing():
    with pytest.raises(LinkFault):
        Links(b"x" * 32, BASE).read(token_for(), NIGHT)


def test_a_token_fits_into_a_path_without_escaping():
    assert set(token_for()) <= set(
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_.-"
    )


def test_there_is_no_link_where_there_is_no_page_or_nothing_to_answer():
    assert Links(KEY, None).link(told(), "me", NIGHT) is None
    plan = NotificationPlan(site(), ())
    plan.advance(Moment(NIGHT - 60, NIGHT - 60))
    [calm] = plan.changes([change(AlarmName.WAS_DOWN)], Moment(NIGHT, NIGHT))
    assert Links(KEY, BASE).link(calm, "me", NIGHT) is None


def test_an_answer_acknowledges_those_of_its_alarms_that_are_still_open_and_no_others():
    _, status, at = chilled()
    open_ones = {alarm.occurrence: alarm for alarm in status.all_alarms}
    chill = next(a for a in open_ones.values() if a.alarm is AlarmName.CHILL)
    answer = LinkAnswer(id="1f", contact="ann", occurrences=(chill.occurrence, "porch/chill/5"))
    [entry] = answer.entries(status, at)
    assert (entry.entry, entry.brooder, entry.alarm) == (EntryKind.ACKNOWLEDGE, "porch", "chill")
    assert (entry.by, entry.note) == ("ann", "link 1f")


def test_an_alarm_that_came_back_is_not_answered_by_an_old_link():
    _, status, at = chilled()
    answer = LinkAnswer(id="1f", contact="ann", occurrences=("porch/chill/5",))
    assert answer.entries(status, at) == []


def test_a_link_is_used_once_and_the_journal_knows():
    _, status, at = chilled()
    occurrences = tuple(alarm.occurrence for alarm in status.all_alarms)
    answer = LinkAnswer(id="1f", contact="ann", occurrences=occurrences)
    other = LinkAnswer(id="2e", contact="ann", occurrences=occurrences)
    entries = answer.entries(status, at)
    assert entries
    assert not already_used(answer, [])
    assert already_used(answer, entries)
    assert not already_used(other, entries)


def test_the_key_is_made_once_and_is_nobody_elses_to_read(tmp_path: Path):
    key = load_key(tmp_path)
    assert len(key) == 32
    assert load_key(tmp_path) == key
    assert stat.S_IMODE((tmp_path / "links.key").stat().st_mode) == 0o600


def test_a_key_cut_short_by_a_power_cut_is_made_anew(tmp_path: Path):
    (tmp_path / "links.key").write_bytes(b"short")
    assert len(load_key(tmp_path)) == 32
