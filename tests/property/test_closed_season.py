"""Whatever the probes, the broker, the card and the clock do once a batch is closed: nobody hears
of it, until birds are placed again. A fire alone is told: it burns in an empty box too."""

from dataclasses import replace
from datetime import UTC, datetime
from itertools import count

from hypothesis import given, settings
from hypothesis import strategies as st
from support.engine_night import ZONE, a_brooder, a_site

from monitor.events import AlarmName, BadValue, Entry, EntryKind, Facts, Moment, Reading
from monitor.service.core import Core
from monitor.tell.contact import Contact

HOUR = 3600.0
START = datetime(2026, 4, 1, 9, tzinfo=UTC).timestamp()
PROBES = ("porch/floor", "porch/far floor", "shed/floor", "site/shade")
FAULTS = (AlarmName.BROKER_LOST, AlarmName.STORAGE_FAULT, AlarmName.WAS_DOWN, AlarmName.CLOCK_FAULT)

happenings = st.one_of(
    st.tuples(st.just("reads"), st.sampled_from(PROBES), st.floats(-30.0, 49.0)),
    st.tuples(st.just("babbles"), st.sampled_from(PROBES), st.sampled_from([85.0, -127.0])),
    st.tuples(st.just("breaks"), st.sampled_from(FAULTS), st.booleans()),
    st.tuples(st.just("waits"), st.floats(0.1, 30.0), st.none()),
)


def entry(what: EntryKind, box: str | None, at: float, **more: object) -> Entry:
    return Entry(at=at, entry=what, brooder=box, **more)  # type: ignore[arg-type]


def closed_season(*, by_moving: bool) -> Core:
    """Two boxes had birds, split from one batch; now both are empty."""
    site = a_site(a_brooder("porch", floors=2), a_brooder("shed"), outside=True)
    contacts = (Contact(name="phone", url="json://a"),)
    core = Core(site, Moment(START, START), contacts=contacts, next_entry_number=count(1).__next__)
    birds = {"hatched": "2026-03-31", "kind": "broiler"}
    for number, written in enumerate(
        (
            entry(EntryKind.PLACED, "porch", START, count=100, **birds),
            entry(EntryKind.MOVED, "porch", START, count=50),
            entry(EntryKind.PLACED, "shed", START, count=50, **birds),
        )
    ):
        at = START + 60.0 * number
        core.enter(replace(written, at=at), Moment(at, at))
    at = START + 600.0
    for probe in PROBES:
        core.take_in(Reading(at, at, probe, 34.5))
    if by_moving:
        for box in ("porch", "shed"):
            core.enter(entry(EntryKind.MOVED, box, at), Moment(at, at))
    else:
        core.enter(entry(EntryKind.END, None, at), Moment(at, at))
    return core


@settings(max_examples=25, deadline=None)
@given(course=st.lists(happenings, max_size=12), by_moving=st.booleans())
def test_a_closed_season_is_silent(course, by_moving) -> None:
    core = closed_season(by_moving=by_moving)
    at = START + 600.0
    told = core.take(Moment(at, at)).messages
    if not by_moving:
        assert [message.title for message in told] == ["Hillside: the watch sleeps"]
    for what, which, how in [*course, ("waits", 60.0, None)]:
        at += 30.0
        now = Moment(at, at)
        core.advance(now)
        match what:
            case "reads":
                core.take_in(Reading(at, at, which, round(how, 2)))
            case "babbles":
                core.take_in(BadValue(at, at, which, "no floor can be that", how))
            case "breaks":
                core.fault(which, how, now, Facts(reason="a trial"))
            case "waits":
                until = at + which * HOUR
                while (due := core.next_due) is not None and due < until:
                    core.advance(Moment(due, due))
                at = until
    assert [f"{m.at}: {m.title}" for m in core.take(Moment(at, at)).messages] == []


def test_what_is_still_wrong_is_told_when_birds_come_again() -> None:
    core = closed_season(by_moving=False)
    at = START + 90 * 24 * HOUR
    core.take(Moment(at, at))
    core.fault(AlarmName.STORAGE_FAULT, True, Moment(at, at), Facts(reason="the card is full"))
    day = datetime.fromtimestamp(at, ZONE).date().isoformat()
    placed = entry(EntryKind.PLACED, "porch", at, count=80, hatched=day, kind="broiler")
    core.enter(placed, Moment(at, at))
    for minutes in range(1, 90):
        core.advance(Moment(at + 60.0 * minutes, at + 60.0 * minutes))
    titles = {message.title for message in core.take(Moment(at, at)).messages}
    assert "Hillside: records cannot be kept" in titles
    assert "Hillside: no readings" in titles
