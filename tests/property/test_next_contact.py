"""Whoever is next hears of an urgent alarm that nobody answers, however it came: first or again, in
one box or in both."""

from hypothesis import given, settings
from hypothesis import strategies as st
from support.told import ANN, ME, Course

from monitor.events import Change, Moment, Priority
from monitor.tell.message import Message
from monitor.tell.notification_plan import NotificationPlan
from monitor.tell.policy import Policy
from monitor.watch.incidents import Incidents

STEPS = st.lists(
    st.tuples(
        st.sampled_from([1, 2, 3, 5]),  # which alarm: the urgent ones that can be one trouble
        st.sampled_from(["raise", "clear"]),
        st.sampled_from([60, 400, 1000, 2500]),
    ),
    min_size=4,
    max_size=16,
)
# Of a trouble that becomes one with another box's, which they know, they hear with its next repeat.
WITHIN_S = ANN.after_minutes * 60.0 + Policy().urgent_repeat_s


def told_of(course: Course) -> tuple[list[Change], list[Message]]:
    """What is said where the watch says which alarms are one trouble."""
    plan, incidents = NotificationPlan(course.site, (ME, ANN)), Incidents()
    said = plan.advance(Moment(course.start, course.start))
    changes = [incidents.take(change, change.at) for change in course.changes]
    for at, change in [*((one.at, one) for one in changes), (course.end, None)]:
        while (due := plan.next_due) <= at:
            said += plan.advance(Moment(due, due))
        said += plan.changes([] if change is None else [change], Moment(at, at))
    return changes, said


@given(STEPS)
@settings(max_examples=150, deadline=None)
def test_the_next_contact_hears_of_every_urgent_alarm_that_nobody_answers(steps) -> None:
    course = Course(steps)
    changes, said = told_of(course)
    for change in changes:
        by = change.at + WITHIN_S
        if change.priority is not Priority.URGENT or not course.open_at(change.occurrence, by):
            continue
        heard = [m for m in said if ANN.name in m.contacts and change.at <= m.at <= by]
        assert any(change.occurrence in m.ack_for for m in heard), change.occurrence
    keys = [(m.key, contact) for m in said for contact in m.contacts]
    assert len(set(keys)) == len(keys)
