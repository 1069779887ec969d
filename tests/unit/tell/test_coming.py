"""A planned day wakes the watch: the evening before the chicks come and that evening, once each."""

from itertools import count
from random import Random
from typing import Any

from tell_samples import local, site

from monitor.events import Entry, EntryKind, Moment, Priority, Reading
from monitor.service.core import Core
from monitor.tell.contact import Contact
from monitor.tell.message import Message
from monitor.tell.wording.evening import Coming, with_coming
from monitor.tell.wording.words import Voice, compose

START = local(10, 12)


class Porch:
    """An empty box whose floor says the same all the time, and what was told of it."""

    def __init__(self, floor_c: float = 12.0) -> None:
        me = (Contact(name="me", url="json://nowhere"),)
        number = count(1).__next__
        self.core = Core(site(), Moment(START, START), contacts=me, next_entry_number=number)
        self.at, self.floor_c = START, floor_c

    def enter(self, what: EntryKind, **fields: Any) -> None:
        given: dict[str, Any] = {"count": 100, "kind": "layer", "brooder": "porch", **fields}
        self.core.enter(Entry(at=self.at, entry=what, **given), Moment(self.at, self.at))

    def until(self, at: float) -> list[Message]:
        """What is told by then; a batch that runs is kept as it should be."""
        self.core.take(Moment(self.at, self.at))
        dice = Random(1)
        while self.at < at:
            self.at = min(at, self.at + 300.0)
            said = self.floor_c + dice.choice((-0.06, 0.0, 0.06))
            self.core.take_in(Reading(self.at, self.at, "porch/floor", said))
            self.core.take_in(Reading(self.at, self.at, "porch/cool end", said - 3.0))
            self.core.advance(Moment(self.at, self.at))
        return list(self.core.take(Moment(self.at, self.at)).messages)


def test_the_evening_before_chicks_come_says_whether_their_box_is_ready() -> None:
    porch = Porch()
    porch.enter(EntryKind.EXPECTED, note="2026-02-12")
    assert porch.until(local(11, 19, 55)) == []
    [eve] = porch.until(local(11, 21))
    assert (eve.title, eve.priority) == ("Hillside: chicks come tomorrow", Priority.ADVICE)
    assert eve.body.startswith(
        "porch: 100 layer pullets come tomorrow. Not ready for chicks yet: the floor is 11.9 °C "
        "and should be 35.0 °C: give it more time, or more heat."
    )
    assert "lukewarm" in eve.body
    assert len(eve.body) < 600


def test_a_box_that_is_warm_by_then_is_said_to_be_ready() -> None:
    porch = Porch(floor_c=34.8)
    porch.enter(EntryKind.EXPECTED, note="2026-02-12")
    porch.until(local(11, 19, 55))
    [eve] = porch.until(local(11, 21))
    assert "Ready for chicks: the floor is 34.7 °C" in eve.body


def test_a_season_that_was_closed_is_woken_by_the_planned_day_and_by_nothing_else() -> None:
    porch = Porch(floor_c=34.8)
    porch.enter(EntryKind.PLACED, hatched="2026-02-09")
    porch.enter(EntryKind.END, count=None, kind=None)
    porch.until(local(10, 13))
    porch.enter(EntryKind.EXPECTED, note="2026-02-18")
    titles = [message.title for message in porch.until(local(17, 21))]
    assert titles == ["Hillside: chicks come tomorrow"]


def test_chicks_that_were_to_come_and_were_not_entered_are_asked_for_once() -> None:
    porch = Porch()
    porch.enter(EntryKind.EXPECTED, note="2026-02-12")
    porch.until(local(12, 19, 55))
    [asks] = porch.until(local(12, 21))
    assert (asks.title, asks.priority) == ("Hillside: are the chicks in?", Priority.WARNING)
    assert "until then nothing watches for cold" in asks.body
    assert porch.until(local(20, 12)) == []


def test_chicks_that_were_entered_are_not_asked_for() -> None:
    porch = Porch(floor_c=34.8)
    porch.enter(EntryKind.EXPECTED, note="2026-02-12")
    porch.until(local(12, 10))
    porch.enter(EntryKind.PLACED, hatched="2026-02-11")
    porch.until(local(12, 19, 55))
    [evening] = porch.until(local(12, 21))
    assert evening.title == "Hillside: tonight, it looks as if it will hold"


def test_chicks_that_come_to_another_box_lead_an_evening_with_nothing_else_to_do() -> None:
    calm = compose("Hillside: tonight, nothing to do", "porch 35.0 °C. Nothing to do.")
    cold = compose("porch: cold night ahead", "Add cover.")
    eve = Coming("chicks come tomorrow", "shed: 50 chicks come tomorrow.", unentered=False)
    led = with_coming(calm, [eve], Voice(site()))
    assert led.title == "Hillside: chicks come tomorrow"
    assert led.body.split("\n") == [eve.line, "porch 35.0 °C. Nothing to do."]
    behind = with_coming(cold, [eve], Voice(site()))
    assert (behind.title, behind.body) == (cold.title, f"Add cover.\n{eve.line}")
