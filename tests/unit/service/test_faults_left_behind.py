"""A trouble of what is no longer configured after a start or a reload: nobody else reports its
end."""

from collections.abc import Callable
from dataclasses import replace
from itertools import count
from pathlib import Path

import pytest
from support.birds import chicks_in
from support.engine_night import EVENING, a_brooder, a_meter, a_site
from support.one_box import settings_of

from monitor.events import AlarmName, BadValue, Facts, Measured, Moment, Reading
from monitor.quantities import COVER, MAINS
from monitor.service.copying import Copying
from monitor.service.core import Core
from monitor.site import Site
from monitor.tell.contact import Contact
from monitor.tell.message import Message, MessageKind
from monitor.tell.policy import Policy

ME = Contact(name="me", url="json://nowhere")
ANN = Contact(name="ann", url="json://nowhere")
COVER_OPEN, MAINS_ON = a_meter(COVER, "porch"), a_meter(MAINS, None)
BOX = a_brooder("porch", floors=3)
FULL = replace(a_site(replace(BOX, meters=(COVER_OPEN,)), outside=True), meters=(MAINS_ON,))
OUT = BOX.probes[2].name  # the probe that is taken out
BARE = a_site(replace(BOX, probes=BOX.probes[:2]))


class Watched:
    """A core with birds in the box, and what it told."""

    def __init__(self) -> None:
        self.at = EVENING
        self.told: list[Message] = []
        self.core = self._made(FULL, ME, ANN)
        self.core.enter(chicks_in(self.at), self.now)
        self.floor_c = 35.0

    @property
    def now(self) -> Moment:
        return Moment(self.at, self.at)

    def _made(self, site: Site, *contacts: Contact) -> Core:
        numbers = count(1)
        return Core(site, self.now, contacts=contacts, next_entry_number=numbers.__next__)

    def goes_on(
        self, for_s: float, but: str | None = None, also: Callable[["Watched"], None] | None = None
    ) -> list[Message]:
        """All are well, `but` one probe that is not heard; what is told meanwhile."""
        before, end = len(self.told), self.at + for_s
        while self.at < end:
            self.at += 30.0
            self.core.advance(self.now)
            for probe in self.core.site.all_probes:
                if probe.name != but:
                    temp_c = self.floor_c + self.at % 90 / 1000
                    self.core.take_in(Reading(*self.now, probe.key, temp_c))
            if also is not None:
                also(self)
            self.told += self.core.take(self.now).messages
        return self.told[before:]

    def becomes(self, how: str, site: Site, *contacts: Contact) -> None:
        if how == "a start":
            state = self.core.snapshots()
            self.core = self._made(site, *contacts)
            self.core.restore(state, 0.0)
            self.core.fit_configuration(self.now)
        else:
            self.core.reconfigured(site, contacts, Policy(), self.now)


def bad(watched: Watched) -> None:
    watched.core.take_in(BadValue(*watched.now, f"porch/{OUT}", "is -127 °C", -127.0))


def opened(watched: Watched) -> None:
    watched.core.take_in(Measured(*watched.now, COVER_OPEN.key, 1.0))


def without_mains(watched: Watched) -> None:
    watched.core.take_in(Measured(*watched.now, MAINS_ON.key, 0.0))


@pytest.mark.parametrize("how", ["a start", "a reload"])
@pytest.mark.parametrize(
    ("but", "also"),
    [(OUT, None), ("shade", None), (OUT, bad), (None, opened), (None, without_mains)],
    ids=["silent", "silent outside", "bad", "cover open", "mains off"],
)
def test_nobody_is_reminded_of_what_was_taken_out(
    how: str, but: str | None, also: Callable[[Watched], None] | None
) -> None:
    """Who took a broken probe out was reminded of it every two hours, the page knew of nothing, and
    no answer ended it."""
    watched = Watched()
    watched.goes_on(1800.0)
    told = watched.goes_on(2000.0, but, also)
    assert MessageKind.RAISED in {message.kind for message in told}
    watched.becomes(how, BARE, ME)
    after = [m for m in watched.goes_on(5 * 3600.0) if m.kind is not MessageKind.EVENING]
    assert [message.kind for message in after] == [MessageKind.OVER]
    assert "no longer configured" in after[0].body


@pytest.mark.parametrize("how", ["a start", "a reload"])
def test_the_cold_of_a_box_that_has_another_name_is_told_of_that_one_and_over_of_the_old(
    how: str,
) -> None:
    """Its trouble was dropped without a word: the record and the page knew of its end, and whoever
    was told did not."""
    watched = Watched()
    watched.goes_on(600.0)
    watched.floor_c = 21.0
    watched.goes_on(600.0)
    watched.becomes(how, a_site(replace(a_brooder("shed", floors=2), renamed_from="porch")), ME)
    watched.told += watched.core.take(watched.now).messages
    told = {(message.kind, message.title) for message in watched.goes_on(600.0)}
    assert {
        (MessageKind.OVER, "porch: alarm ended"),
        (MessageKind.RAISED, "shed: dangerously cold"),
    } <= told


@pytest.mark.parametrize("how", ["a start", "a reload"])
def test_a_full_disk_is_no_other_trouble_where_the_only_box_is_renamed(how: str) -> None:
    """Between its two entries no box held birds: the trouble was told as over, and told anew."""
    watched = Watched()
    watched.core.fault(AlarmName.STORAGE_FAULT, True, watched.now, Facts(reason="it is full"))
    assert [message.kind for message in watched.goes_on(600.0)] == [MessageKind.RAISED]
    watched.becomes(how, a_site(replace(a_brooder("shed", floors=2), renamed_from="porch")), ME)
    assert [message.title for message in watched.goes_on(600.0)] == []


@pytest.mark.parametrize("how", ["a start", "a reload"])
def test_who_has_another_name_hears_how_it_goes_on(how: str) -> None:
    """The warning went on, and its reminders and its end were for nobody."""
    watched = Watched()
    watched.becomes("a reload", FULL, ME)
    watched.goes_on(1800.0)
    watched.goes_on(2000.0, OUT)
    watched.becomes(how, FULL, replace(ME, name="grower"))
    told = [*watched.goes_on(7200.0, OUT), *watched.goes_on(3600.0)]
    about = [m for m in told if m.kind is not MessageKind.EVENING]
    assert {message.kind for message in about} == {MessageKind.AGAIN, MessageKind.OVER}
    assert {message.contacts for message in about} == {("grower",)}


@pytest.mark.parametrize("how", ["a start", "a reload"])
def test_that_the_only_contact_cannot_be_reached_is_for_the_next_one_that_is_added(
    how: str,
) -> None:
    watched = Watched()
    watched.becomes("a reload", FULL, ME)
    about = Facts(contact="me", reason="no answer")
    watched.core.fault(AlarmName.DELIVERY_FAULT, True, watched.now, about)
    assert [message.contacts for message in watched.goes_on(600.0)] == [()]
    watched.becomes("a start", FULL, ME)
    watched.becomes(how, FULL, ME, ANN)
    again = [m for m in watched.goes_on(7200.0) if m.kind is MessageKind.AGAIN]
    assert [message.contacts for message in again] == [("ann",)]


@pytest.mark.parametrize("how", ["a start", "a reload"])
def test_a_contact_that_is_gone_need_not_be_reached(how: str) -> None:
    """It was asked for every two hours, and each morning, for good."""
    watched = Watched()
    for name in ("ann", "me"):
        about = Facts(contact=name, reason="no answer")
        watched.core.fault(AlarmName.DELIVERY_FAULT, True, watched.now, about)
    watched.becomes(how, FULL, ME)
    alarms = watched.core.status(watched.now).alarms
    assert [alarm.contact for alarm in alarms if alarm.active] == ["me"]


def test_a_mirror_that_is_configured_no_longer_is_not_behind(tmp_path: Path) -> None:
    """Taken out over a reload that was seen, but not over a start."""
    settings, said = settings_of(tmp_path), []
    copying = Copying(
        settings, lambda _name, _state: None, lambda name, begins, _: said.append((name, begins))
    )
    copying.start()
    assert said == [(AlarmName.MIRROR_FAULT, False)]
