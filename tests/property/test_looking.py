"""Whoever looks at the watch changes nothing: with a page open, a question asked or a tick more of
the clock, the same words of the same probes end in the same changes, messages and state."""

import os
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st
from support.senders import Said, Senders

from monitor.events import Change, Moment, State
from monitor.service.core import Core
from monitor.tell.contact import Contact
from monitor.tell.message import Message

EXAMPLES = 300 if os.environ.get("BROODER_LONG") else 5
HOURS = 4.5
PEOPLE = (
    Contact(name="me", url="json://127.0.0.1:9/hook"),
    Contact(name="neighbour", url="json://127.0.0.1:9/other", after_minutes=15.0),
)
Told = tuple[list[Change], list[Message], dict[str, State]]


def told(night: Senders, *, looks: Random | None) -> Told:
    """What a watch makes of it, in whole, and its state then. With `looks` somebody does, often."""
    core: Core | None = None
    now = Moment(0.0, 0.0)
    for step in night.steps:
        if core is None:
            core = Core(
                night.site, Moment(step.at, step.at), contacts=PEOPLE, next_entry_number=lambda: 1
            )
        while looks is not None and now.at and looks.random() < 0.3:
            at = looks.uniform(now.at, step.at)
            now = Moment(at, at)
            looks_at(core, now, looks)
        now = Moment(step.at, step.at)
        core.advance(now)
        if isinstance(step, Said):
            core.hear(step.topic, step.payload.encode(), now)
        else:
            core.enter(step, now)
    assert core is not None
    core.advance(now)
    happened = core.take(now)
    return happened.batch.changes, happened.messages, core.snapshots()


def looks_at(core: Core, now: Moment, rng: Random) -> None:
    """As the clock's tick, the page, a command, a kept state and a question do."""
    what = rng.randrange(5)
    if what < 3:
        core.advance(now)
    if what == 1:
        assert core.status(now).brooders
    elif what == 2:
        assert core.snapshots()
    elif what == 3:
        core.engine.tonight("porch", now, low_c=-3.0, cover="none", extra_watts=100.0)
    elif what == 4:
        assert core.status(now).at == now.at


@settings(max_examples=EXAMPLES, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_what_is_told_and_kept_does_not_hang_on_who_looks(seed: int) -> None:
    night = Senders(seed, HOURS)
    plain, looked_at = told(night, looks=None), told(night, looks=Random(seed + 1))
    assert looked_at[0] == plain[0]
    assert looked_at[1] == plain[1]
    assert looked_at[2] == plain[2]
