"""What goes out next, what is replaced, what is given up. Pure: times are pushed."""

import itertools
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.events import Moment, Priority
from monitor.tell.message import Message, MessageKind, from_row
from monitor.tell.outbox import (
    FIRST_BACK_OFF_S,
    GIVE_UP_S,
    LONGEST_BACK_OFF_S,
    Outbox,
    rows,
)


def at(second: float) -> Moment:
    """Wall time runs with the steady one, a thousand seconds ahead."""
    return Moment(second + 1000.0, second)


def message(
    key: str,
    *,
    thread: str | None = None,
    priority: Priority = Priority.WARNING,
    kind: MessageKind = MessageKind.RAISED,
    said: float = 0.0,
    contacts: tuple[str, ...] = ("me",),
) -> Message:
    return Message(
        key=key,
        thread=thread or key,
        kind=kind,
        contacts=contacts,
        priority=priority,
        title=key,
        body="body",
        short=key,
        at=said + 1000.0,
        attach_brooder="porch",
        ack_for=("porch/cold/1",),
    )


def test_urgent_goes_before_warning_and_news_before_repeats():
    outbox = Outbox(["me"])
    outbox.add(message("advice", priority=Priority.ADVICE, kind=MessageKind.MORNING), at(0))
    outbox.add(message("again", priority=Priority.URGENT, kind=MessageKind.AGAIN), at(1))
    outbox.add(message("warning"), at(2))
    outbox.add(message("urgent", priority=Priority.URGENT), at(3))
    order = []
    while (taken := outbox.take("me", at(4))) is not None:
        order.append(taken.key)
        outbox.done("me", None, at(4))
    assert order == ["urgent", "again", "warning", "advice"]


def test_a_newer_message_of_the_same_cause_replaces_an_undelivered_one():
    outbox = Outbox(["me"])
    outbox.add(message("cold", thread="a", said=0), at(0))
    [gone] = outbox.add(message("over", thread="a", kind=MessageKind.OVER, said=60), at(60))
    assert (gone.key, gone.state) == ("cold", "superseded")
    taken = outbox.take("me", at(61))
    assert taken is not None
    assert taken.key == "over"


def test_one_that_is_being_sent_is_not_replaced_and_if_it_fails_the_newer_goes():
    outbox = Outbox(["me"])
    outbox.add(message("cold", thread="a"), at(0))
    outbox.take("me", at(0))
    assert outbox.add(message("chill", thread="a", said=5), at(5)) == []
    [ended] = outbox.done("me", "no connection", at(6))
    assert (ended.key, ended.state) == ("cold", "superseded")
    assert outbox.pending() == 1


def test_a_repeat_is_brief_for_whom_the_first_message_reached_and_whole_for_others():
    outbox = Outbox(["me", "ann"])
    both = ("me", "ann")
    outbox.add(message("cold", thread="a", contacts=both), at(0))
    for name, failure in (("me", None), ("ann", "no connection")):
        outbox.take(name, at(0))
        outbox.done(name, failure, at(0))
    again = replace(
        message("again", thread="a", contacts=both, kind=MessageKind.AGAIN, said=600),
        brief="in brief",
    )
    outbox.add(again, at(600))
    told = {name: outbox.take(name, at(600)) for name in both}
    assert {name: m.body for name, m in told.items() if m} == {"me": "in brief", "ann": "body"}


def test_a_repeat_is_whole_where_the_news_that_it_repeats_did_not_get_through():
    outbox = Outbox(["me"])
    said = replace(message("cold", thread="a"), brief="see the first message")
    outbox.add(said, at(0))
    outbox.take("me", at(0))
    outbox.done("me", None, at(0))
    outbox.add(replace(said, key="cold anew", at=8000.0), at(7000))
    again = replace(said, key="again", kind=MessageKind.AGAIN, at=8600.0)
    outbox.add(again, at(7600))
    taken = outbox.take("me", at(7600))
    assert taken is not None
    assert (taken.key, taken.body) == ("again", "body")


def test_back_off_doubles_up_to_its_longest_and_a_success_ends_it():
    outbox = Outbox(["me"])
    outbox.add(message("cold"), at(0))
    now, waits = 0.0, []
    for _ in range(9):
        assert outbox.take("me", at(now)) is not None
        [outcome] = outbox.done("me", "no connection", at(now))
        assert outcome.state == "pending"
        assert outbox.next_due is not None
        waits.append(outbox.next_due - now)
        assert outbox.take("me", at(now + waits[-1] - 0.1)) is None
        now += waits[-1]
    assert waits[0] == FIRST_BACK_OFF_S
    assert all(b == min(2 * a, LONGEST_BACK_OFF_S) for a, b in itertools.pairwise(waits))
    outbox.take("me", at(now))
    [sent] = outbox.done("me", None, at(now))
    assert (sent.state, sent.tries, sent.failure) == ("sent", 10, None)
    assert outbox.failures("me") == 0


def test_a_contact_that_answers_late_is_waited_for_longer_each_time_and_stays_so():
    outbox = Outbox(["me", "ann"])
    outbox.add(message("cold"), at(0))
    waited = []
    for second in (0, 60, 120, 240):
        outbox.take("me", at(second))
        waited.append(outbox.patience("me"))
        outbox.done("me", "no answer in time", at(second + 20), late=True)
    outbox.take("me", at(600))
    outbox.done("me", None, at(640))
    assert waited == [1, 2, 3, 3]
    assert (outbox.patience("me"), outbox.patience("ann")) == (3, 1)


def test_after_a_restart_a_contact_that_was_not_reached_is_waited_for_no_shorter():
    """A slow one got the message it had got already, twice more for each start."""
    [row] = rows(message("cold"))
    outbox = Outbox(["me", "ann"])
    outbox.restore([replace(row, contact="me", tries=1), replace(row, contact="ann")], at(60))
    assert (outbox.patience("me"), outbox.patience("ann")) == (2, 1)


def test_urgent_news_is_tried_soon_though_the_contact_is_in_a_long_back_off():
    outbox = Outbox(["me"])
    outbox.add(message("cold"), at(0))
    now = 0.0
    for _ in range(8):
        outbox.take("me", at(now))
        outbox.done("me", "no connection", at(now))
        now = outbox.next_due or 0.0
    last = now - LONGEST_BACK_OFF_S
    outbox.add(message("chill", priority=Priority.URGENT), at(last + 60))
    taken = outbox.take("me", at(last + 60))
    assert taken is not None
    assert taken.key == "chill"


def test_a_contact_in_back_off_delays_nobody_else():
    outbox = Outbox(["me", "ann"])
    outbox.add(message("cold", contacts=("me", "ann")), at(0))
    outbox.take("me", at(0))
    outbox.done("me", "no connection", at(0))
    assert outbox.take("ann", at(0)) is not None


def test_no_more_than_the_cap_waits_and_the_least_important_oldest_is_given_up():
    outbox = Outbox(["me"], most_pending=3)
    outbox.add(message("urgent", priority=Priority.URGENT), at(0))
    outbox.add(message("old", said=1), at(1))
    outbox.add(message("new", said=2), at(2))
    [gone] = outbox.add(message("newest", said=3), at(3))
    assert (gone.key, gone.state) == ("old", "given-up")
    assert gone.failure is not None
    assert outbox.pending("me") == 3


@pytest.mark.parametrize("priority", list(Priority))
def test_what_cannot_be_delivered_is_given_up_in_the_end(priority):
    outbox = Outbox(["me"])
    outbox.add(message("cold", priority=priority), at(0))
    outbox.take("me", at(GIVE_UP_S[priority] - 1))
    [still] = outbox.done("me", "no connection", at(GIVE_UP_S[priority] - 1))
    assert still.state == "pending"
    outbox.take("me", at(GIVE_UP_S[priority] + 400))
    [ended] = outbox.done("me", "no connection", at(GIVE_UP_S[priority] + 400))
    assert (ended.state, ended.failure) == ("given-up", "no connection")


def test_a_message_is_the_same_after_the_journal_kept_it():
    original = message("cold", contacts=("me", "ann"), priority=Priority.URGENT)
    for row in rows(original):
        kept = from_row(row.key, row.contact, row.at, row.priority, row.message)
        assert kept == replace(original, contacts=(row.contact,))


def test_after_a_restart_what_was_unsent_goes_at_once_and_replaced_ones_do_not():
    outbox = Outbox(["me"])
    pending = [
        *rows(message("cold", thread="a", said=0)),
        *rows(message("over", thread="a", said=600, kind=MessageKind.OVER)),
    ]
    [gone] = outbox.restore(pending, at(700))
    assert (gone.key, gone.state) == ("cold", "superseded")
    taken = outbox.take("me", at(700))
    assert taken is not None
    assert taken.key == "over"


def test_what_could_not_be_sent_for_long_says_how_long_ago_it_was_said():
    """A floor of three hours ago was told as that of now."""
    outbox = Outbox(["me"])
    cold = replace(message("cold"), title="porch: too cold", body="Now 31 °C.\nAll probes.")
    outbox.add(cold, at(0))
    outbox.take("me", at(0))
    outbox.done("me", "no connection", at(0))
    soon = outbox.take("me", at(600))
    outbox.done("me", "no connection", at(600))
    late = outbox.take("me", at(3 * 3600))
    assert soon == cold
    assert late is not None
    assert late.title == "porch: too cold (3 h ago)"
    assert late.body == "Now 31 °C.\nSaid 3 h ago: it could not be sent before.\nAll probes."


def test_what_was_cut_off_by_a_power_cut_says_how_long_ago_it_was_said():
    outbox = Outbox(["me"])
    outbox.restore(rows(message("cold")), at(7200))
    taken = outbox.take("me", at(7200))
    assert taken is not None
    assert taken.title == "cold (2 h ago)"


def test_the_morning_message_that_waited_for_who_slept_longer_is_not_called_late():
    outbox = Outbox(["me"])
    outbox.add(message("morning", kind=MessageKind.MORNING), at(7200))
    taken = outbox.take("me", at(7200))
    assert taken is not None
    assert taken.title == "morning"
    outbox.done("me", "no connection", at(7200))
    late = outbox.take("me", at(7200 + 3 * 3600))
    assert late is not None
    assert late.title == "morning (3 h ago)", "what needed attention then may not now"


def test_what_is_said_of_several_boxes_replaces_what_waits_of_each():
    outbox = Outbox(["me"])
    outbox.add(message("porch cold", thread="porch/chill/1"), at(0))
    both = replace(message("both", thread="shed/chill/1", said=60), also=("porch/chill/1",))
    [gone] = outbox.add(both, at(60))
    assert (gone.key, gone.state) == ("porch cold", "superseded")


def test_once_a_contact_is_reached_again_what_is_over_by_then_goes_to_nobody():
    """Each of the others cannot be reached, it said, and a moment later that they are."""
    outbox = Outbox(["me"])
    outbox.add(message("urgent", priority=Priority.URGENT), at(0))
    outbox.add(message("ann is not reached", thread="ann"), at(0))
    for second in (0, 10, 30):
        outbox.take("me", at(second))
        outbox.done("me", "no connection", at(second))
    urgent = outbox.take("me", at(3000))
    outbox.done("me", None, at(3000))
    assert urgent is not None
    assert urgent.key == "urgent"
    assert outbox.take("me", at(3001)) is None
    outbox.add(message("over", thread="ann", kind=MessageKind.OVER, said=3005), at(3005))
    assert outbox.next_due == 3060.0
    rest = outbox.take("me", at(3060))
    assert rest is not None
    assert rest.key == "over"


@pytest.mark.parametrize(
    ("thread", "first", "heard"),
    [
        ("site/delivery-fault/ann/1", Priority.WARNING, False),
        ("site/no-readings/1", Priority.URGENT, True),  # the chicks were not watched
        ("porch/cold/1", Priority.WARNING, True),  # they were cold
    ],
)
def test_the_end_of_what_a_contact_never_heard_of_is_no_news_but_of_the_chicks(
    thread: str, first: Priority, heard: bool
):
    outbox = Outbox(["me"])
    outbox.add(message("begins", thread=thread, priority=first), at(0))
    outbox.take("me", at(0))
    outbox.done("me", "no connection", at(0))
    gone = outbox.add(message("over", thread=thread, kind=MessageKind.OVER, said=60), at(60))
    assert [o.key for o in gone] == (["begins"] if heard else ["begins", "over"])
    assert {o.state for o in gone} == {"superseded"}
    assert outbox.pending("me") == heard


def test_the_end_of_what_a_contact_has_heard_of_or_may_have_heard_of_is_told():
    thread = "site/delivery-fault/ann/1"
    over = message("over", thread=thread, kind=MessageKind.OVER, said=60)
    outbox = Outbox(["me"])
    outbox.add(message("begins", thread=thread), at(0))
    outbox.take("me", at(0))
    outbox.add(over, at(60))  # while the first word is on its way
    outbox.done("me", "no answer in time", at(61), late=True)
    assert outbox.pending("me") == 1
    assert outbox.take("me", at(100)) == over
    outbox.done("me", None, at(100))
    other = replace(over, thread="site/delivery-fault/bea/1", key="slow", at=1201.0)
    outbox.add(replace(other, kind=MessageKind.RAISED, key="first", at=1200.0), at(200))
    outbox.add(other, at(201))
    assert outbox.pending("me") == 1, "whoever answers late may have had it"
    outbox = Outbox(["me"])
    outbox.add(message("begins", thread=thread), at(0))
    outbox.take("me", at(0))
    outbox.done("me", None, at(1))
    outbox.add(message("again", thread=thread, kind=MessageKind.AGAIN, said=30), at(30))
    outbox.add(over, at(60))
    assert outbox.take("me", at(60)) == over


def test_messages_to_a_contact_that_is_no_longer_configured_are_given_up():
    outbox = Outbox(["ann"])
    [gone] = outbox.restore(rows(message("cold")), at(0))
    assert (gone.state, gone.failure) == ("given-up", "no such contact any more")


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["add", "send", "fail"]),
        st.integers(0, 4),  # thread
        st.sampled_from(list(Priority)),
        st.integers(0, 400),  # seconds later
    ),
    max_size=60,
)


@settings(max_examples=200, deadline=None)
@given(STEPS, st.integers(1, 6))
def test_every_message_ends_as_sent_superseded_or_given_up_and_the_newest_of_a_cause_is_not_lost(
    steps, most
):
    outbox = Outbox(["me"], most_pending=most)
    ended: dict[str, str] = {}
    added: list[Message] = []
    now = 0.0
    for number, (what, thread, priority, later_s) in enumerate(steps):
        now += later_s
        if what == "add":
            new = message(f"{number}", thread=f"t{thread}", priority=priority, said=now)
            added.append(new)
            outcomes = outbox.add(new, at(now))
        elif outbox.take("me", at(now)) is not None:
            outcomes = outbox.done("me", None if what == "send" else "no connection", at(now))
        else:
            outcomes = []
        for outcome in outcomes:
            assert ended.get(outcome.key) is None, "it had ended before"
            if outcome.state != "pending":
                ended[outcome.key] = outcome.state
        assert outbox.pending() <= most + 1
    for _ in range(200):
        now = max(now, outbox.next_due or now)
        if outbox.take("me", at(now)) is not None:
            for outcome in outbox.done("me", None, at(now)):
                ended[outcome.key] = outcome.state
    assert set(ended) == {m.key for m in added}
    for thread in {m.thread for m in added}:
        newest = [m for m in added if m.thread == thread][-1]
        assert ended[newest.key] in ("sent", "given-up")
