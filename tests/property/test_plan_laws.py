"""Laws of the planner for any course of alarms, answers, restarts and clock ticks."""

from hypothesis import given, settings
from hypothesis import strategies as st
from support.told import ANN, ME, Course, course_changes, told_by

from monitor.events import Change, ChangeKind, Moment, Priority
from monitor.tell.message import Message, MessageKind
from monitor.tell.notification_plan import NotificationPlan
from monitor.tell.policy import Policy
from monitor.watch.alarm_table import TABLE

GATHER_S = 60 + 30  # and the step in which the course looks

STEPS = st.lists(
    st.tuples(
        st.integers(0, 5),  # which alarm
        st.sampled_from(["raise", "clear", "answer", "wait"]),
        st.integers(1, 1500),  # seconds later
    ),
    max_size=40,
)


@settings(max_examples=150, deadline=None)
@given(STEPS)
def test_every_urgent_alarm_is_told_by_a_message_of_its_cause_at_its_time(steps):
    course = Course(steps)
    said = told_by(course, every_s=30)
    for change in course_changes(course):
        if change.change is not ChangeKind.RAISED or change.priority is not Priority.URGENT:
            continue
        if change.alarm.value == "no-readings":
            continue  # gathered for a minute: see the next law
        # A box that joins a trouble told of another box is told with it, within a minute.
        joins = any(
            other.brooder != change.brooder and change.at - 1800 <= other.at <= change.at
            for other in course_changes(course)
            if other.change is ChangeKind.RAISED and other.priority is Priority.URGENT
        )
        told_until = change.at + (GATHER_S if joins else 0)
        if joins and not course.open_at(change.occurrence, told_until):
            continue  # over before that
        by_its_time = [
            m
            for m in said
            if m.kind in (MessageKind.RAISED, MessageKind.AGAIN)
            and m.at <= told_until
            and _covers(m, change, course)
        ]
        assert by_its_time, f"{change.occurrence} was never told"


def _covers(message: Message, change: Change, course: Course) -> bool:
    """It tells of this alarm; or it is about the same trouble in the same brooder, alone or with
    what other boxes have, and either as bad an alarm of it is still open, or it is no older than a
    repeat."""
    if message.key == f"{change.occurrence}:raised":
        return True
    same = {
        occurrence
        for occurrence in (message.thread, *message.ack_for)
        if (told := course.raise_of(occurrence)) is not None
        and (told.brooder, TABLE[told.alarm].family) == (change.brooder, TABLE[change.alarm].family)
    }
    if not same or message.priority is not Priority.URGENT:
        return False
    return message.at >= change.at - Policy().urgent_repeat_s or any(
        course.open_at(occurrence, change.at) for occurrence in same & {*message.ack_for}
    )


@settings(max_examples=150, deadline=None)
@given(STEPS)
def test_no_message_key_is_ever_used_twice_for_a_contact(steps):
    said = told_by(Course(steps), every_s=600)
    pairs = [(m.key, contact) for m in said for contact in m.contacts]
    assert len(pairs) == len(set(pairs))


@settings(max_examples=150, deadline=None)
@given(STEPS, st.integers(5, 900), st.integers(5, 900))
def test_the_messages_do_not_depend_on_how_often_the_plan_is_advanced(steps, often_s, rarely_s):
    course = Course(steps)
    one = [m for m in told_by(course, every_s=often_s) if m.kind is not MessageKind.AGAIN]
    other = [m for m in told_by(course, every_s=rarely_s) if m.kind is not MessageKind.AGAIN]
    assert {(m.key, m.contacts, m.at) for m in one} == {(m.key, m.contacts, m.at) for m in other}


@settings(max_examples=150, deadline=None)
@given(STEPS, st.sets(st.integers(0, 39)), st.floats(-1e6, 1e6))
def test_a_restart_anywhere_changes_nothing_that_is_said(steps, cuts, shift_s):
    course = Course(steps)
    assert told_by(course, every_s=300, restarts=cuts, shift_s=round(shift_s)) == told_by(
        course, every_s=300
    )


@settings(max_examples=100, deadline=None)
@given(STEPS)
def test_nothing_repeats_within_an_hour_of_an_answer_until_something_new_is_raised(steps):
    course = Course(steps)
    said = told_by(course, every_s=60)
    changes = course_changes(course)
    for message in said:
        if message.kind is not MessageKind.AGAIN:
            continue
        if ":anew:" in message.key:
            related = course.related(message.thread)
            answers = [
                c.at
                for c in changes
                if c.change is ChangeKind.ACKNOWLEDGED
                and c.occurrence == message.thread  # in such a course each is a trouble of its own
                and c.at <= message.at
            ]
            assert message.at >= max(answers) + Policy().ask_anew_s
            assert any(course.open_at(o, message.at) for o in related)
            continue
        waiting = [
            c
            for c in changes
            if c.change is ChangeKind.RAISED
            and c.at <= message.at
            and course.open_at(c.occurrence, message.at)
            and not course.answered_at(c.occurrence, message.at)
        ]
        assert waiting, f"{message.key} repeats what nobody needs to answer"


@settings(max_examples=100, deadline=None)
@given(STEPS)
def test_whoever_was_told_of_an_urgent_alarm_hears_that_it_is_over(steps):
    course = Course(steps)
    said = told_by(course, every_s=300)
    last = course.end
    for message in said:
        if message.priority is not Priority.URGENT or message.kind is not MessageKind.RAISED:
            continue
        if any(course.open_at(o, last) for o in course.related(message.thread)):
            continue
        over = [m for m in said if m.kind is MessageKind.OVER and m.thread == message.thread]
        assert over
        assert set(message.contacts) <= set(over[0].contacts)


@given(STEPS)
@settings(max_examples=60, deadline=None)
def test_next_due_is_when_the_plan_next_has_something_to_do(steps):
    """Advancing to just before it does nothing; so a service may sleep until then."""
    course = Course(steps)
    plan = NotificationPlan(course.site, (ME, ANN))
    plan.advance(Moment(course.start, course.start))
    for change in course_changes(course):
        while (due := plan.next_due) is not None and due < change.at:
            assert plan.advance(Moment(due - 0.5, due - 0.5)) == []
            plan.advance(Moment(due, due))
            assert plan.next_due is None or plan.next_due > due
        plan.changes([change], Moment(change.at, change.at))
