"""A slip of the hand must not end the watch over birds unnoticed: what would end it wants a yes,
and every contact hears of it."""

from itertools import count

import pytest
from support.engine_night import EVENING, a_brooder, a_site

from monitor.brooding.objection import NeedsYes, Objection
from monitor.events import Entry, EntryKind, Moment, Priority
from monitor.service import core_answers
from monitor.service.core import Core
from monitor.tell.contact import Contact

NOW = Moment(EVENING, EVENING)
CONTACTS = (
    Contact(name="phone", url="json://a"),
    Contact(name="office", url="json://b", priorities=frozenset({Priority.ADVICE})),
    Contact(name="neighbour", url="json://c", after_minutes=30),
)
PLACED = {"entry": "placed", "count": 100, "hatched": "2026-02-08", "kind": "broiler"}


@pytest.fixture
def core() -> Core:
    site = a_site(a_brooder("porch", floors=2), a_brooder("shed"))
    core = Core(site, NOW, contacts=CONTACTS, next_entry_number=count(1).__next__)
    for box in ("porch", "shed"):
        core_answers.asked(core, {**PLACED, "brooder": box}, NOW)
    core.take(NOW)
    return core


ENDS = {
    "all moved": {"entry": "moved", "brooder": "porch"},
    "as many lost as there are": {"entry": "loss", "brooder": "porch", "count": 100},
    "the crate taken back": {"entry": "undo", "undoes": 1},
    "the box out of service": {"entry": "out-of-service", "brooder": "porch"},
    "the only floor probe out of service": {
        "entry": "out-of-service",
        "brooder": "shed",
        "probe": "shed/floor",
    },
    "chicks of a year ago": {
        "entry": "placed",
        "brooder": "shed",
        "count": 9,
        "hatched": "2025-02-13",
        "kind": "broiler",
    },
}
GOES_ON = {
    "half of them moved": {"entry": "moved", "brooder": "porch", "count": 50},
    "one found dead": {"entry": "loss", "brooder": "porch", "count": 1},
    "a loss taken back": {"entry": "undo", "undoes": 3},
    "one of two floor probes out of service": {
        "entry": "out-of-service",
        "brooder": "porch",
        "probe": "porch/floor",
    },
}


@pytest.mark.parametrize("what", ENDS)
def test_what_would_end_the_watch_of_birds_is_done_only_after_a_yes(core: Core, what: str) -> None:
    if what == "chicks of a year ago":
        core_answers.asked(core, {"entry": "moved", "brooder": "shed", "yes": True}, NOW)
    before = core.ledger
    with pytest.raises(NeedsYes, match=r"cold|freeze"):
        core_answers.asked(core, ENDS[what], NOW)
    assert core.ledger is before
    assert core_answers.asked(core, {**ENDS[what], "yes": True}, NOW)["number"] > 0


@pytest.mark.parametrize("what", GOES_ON)
def test_what_leaves_birds_watched_is_not_asked_back(core: Core, what: str) -> None:
    core_answers.asked(core, {"entry": "loss", "brooder": "porch", "count": 1}, NOW)
    core_answers.asked(core, GOES_ON[what], NOW)


def test_what_is_wrong_anyway_is_refused_and_not_asked_back(core: Core) -> None:
    with pytest.raises(Objection, match="100 birds") as refused:
        core_answers.asked(core, {"entry": "loss", "brooder": "porch", "count": 101}, NOW)
    assert not isinstance(refused.value, NeedsYes)


@pytest.mark.parametrize("what", ["all moved", "as many lost as there are", "the crate taken back"])
def test_every_contact_hears_that_a_box_is_no_longer_watched(core: Core, what: str) -> None:
    said = core_answers.asked(core, {**ENDS[what], "yes": True, "by": "page"}, NOW)
    [message] = core.take(NOW).messages
    assert message.contacts == ("phone", "office", "neighbour")
    assert "porch: no birds, so no watch for cold" in message.title
    if what != "the crate taken back":
        assert f"flock undo {said['number']}" in message.body


def test_birds_in_a_box_that_is_not_configured_can_be_moved_out(core: Core) -> None:
    core.site = a_site(a_brooder("shed"))
    out = Entry(at=EVENING, entry=EntryKind.MOVED, brooder="porch")
    assert core_answers.enter(core, out, NOW, sure=True)["head_count"] == 0


def test_birds_placed_after_the_clock_was_set_back_are_in_the_box(core: Core) -> None:
    """Written before the last entry, they would have left with the birds before them."""
    later = Moment(EVENING + 7200, EVENING + 7200)
    answers_yes = {"entry": "moved", "brooder": "porch", "yes": True}
    core_answers.asked(core, answers_yes, later)
    core.clock_jumped(Moment(EVENING + 3600, EVENING + 7260), -3660.0)
    now = Moment(EVENING + 3700, EVENING + 7360)
    assert core_answers.asked(core, {**PLACED, "brooder": "porch"}, now)["head_count"] == 100
