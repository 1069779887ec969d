"""How often the watch comes round changes nothing: with a round each second, or each seven, the
same is told in the same words, of the same moments."""

import os

from hypothesis import given, settings
from hypothesis import strategies as st
from support.senders import Said, Senders

from monitor.events import Change, Moment
from monitor.service.core import Core
from monitor.tell.contact import Contact
from monitor.tell.message import Message

EXAMPLES = 100 if os.environ.get("BROODER_LONG") else 5
HOURS = 4.5
PEOPLE = (
    Contact(name="me", url="json://127.0.0.1:9/hook"),
    Contact(name="neighbour", url="json://127.0.0.1:9/other", after_minutes=15.0),
)


def told(night: Senders, every_s: float) -> tuple[list[Change], list[Message]]:
    """What a watch says that takes in each `every_s` what has come since, each at its own time."""
    begins = Moment(night.steps[0].at, night.steps[0].at)
    core = Core(night.site, begins, contacts=PEOPLE, next_entry_number=lambda: 1)
    changes: list[Change] = []
    messages: list[Message] = []
    steps, at = list(reversed(night.steps)), begins.at
    while steps:
        at += every_s
        while steps and steps[-1].at <= at:
            step = steps.pop()
            now = Moment(step.at, step.at)
            if isinstance(step, Said):
                core.hear(step.topic, step.payload.encode(), now)
            else:
                core.enter(step, now)
        core.advance(Moment(at, at))
        happened = core.take(Moment(at, at))
        messages += happened.messages
        changes += happened.batch.changes
    return changes, messages


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([7.0, 31.0]))
def test_what_is_told_does_not_hang_on_how_often_the_watch_comes_round(
    seed: int, every_s: float
) -> None:
    """A reminder was in the words of up to seven seconds after it was due."""
    night = Senders(seed, HOURS)
    assert told(night, every_s) == told(night, 1.0)
