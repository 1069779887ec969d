"""A configuration that would leave birds unwatched is not taken, and one that a start finds so is
told; a box that only has another name keeps its birds."""

from dataclasses import replace
from itertools import count

import pytest
from support.birds import chicks_in
from support.engine_night import EVENING, a_brooder, a_probe, a_site

from monitor.events import AlarmName, Moment, Reading
from monitor.service.core import Core
from monitor.service.entry_rules import lost_by
from monitor.site import Place, Site
from monitor.tell.contact import Contact
from monitor.tell.policy import Policy

NOW = Moment(EVENING, EVENING)
PHONE = (Contact(name="phone", url="json://a"),)


def later(seconds: float) -> Moment:
    return Moment(EVENING + seconds, EVENING + seconds)


@pytest.fixture
def core() -> Core:
    core = Core(
        a_site(a_brooder("porch"), a_brooder("shed")),
        NOW,
        contacts=PHONE,
        next_entry_number=count(1).__next__,
    )
    core.enter(chicks_in(EVENING), NOW)
    core.take(NOW)
    return core


def told(core: Core, site: Site) -> list[str]:
    """Titles of what the phone gets once that configuration is in force."""
    core.reconfigured(site, PHONE, Policy(), later(60))
    core.advance(later(120))
    return [message.title for message in core.take(later(120)).messages]


def test_a_box_with_birds_is_not_lost_by_a_slip_in_its_name(core: Core) -> None:
    [why] = lost_by(core.ledger, core.site, a_site(a_brooder("Porch"), a_brooder("shed")))
    assert why.startswith("100 birds are in porch, which this configuration does not have")
    assert 'renamed_from = "porch"' in why


def test_a_box_without_birds_may_go(core: Core) -> None:
    assert lost_by(core.ledger, core.site, a_site(a_brooder("porch"))) == []


def test_the_last_floor_probe_of_birds_is_not_taken_away(core: Core) -> None:
    box = replace(a_brooder("porch"), probes=(a_probe("porch", "lamp", Place.UNDER_HEAT),))
    [why] = lost_by(core.ledger, core.site, a_site(box))
    assert "last floor probe" in why


def test_birds_that_are_lost_already_keep_no_change_from_the_others(core: Core) -> None:
    """Until they were found again no contact and no probe could be added."""
    lost = a_site(a_brooder("shed"))
    assert lost_by(core.ledger, lost, a_site(a_brooder("shed", floors=2))) == []


def test_a_start_that_finds_it_so_says_it_urgently_and_again(core: Core) -> None:
    assert told(core, a_site(a_brooder("Porch"))) == ["Hillside: cold is not watched for"]
    core.advance(later(1500))
    again = core.take(later(1500)).messages
    assert "urgent" in [message.priority.value for message in again]


def test_a_box_that_was_renamed_takes_its_birds_along_and_is_watched(core: Core) -> None:
    renamed = replace(a_brooder("big porch"), renamed_from="porch")
    site = a_site(renamed, a_brooder("shed"))
    assert lost_by(core.ledger, core.site, site) == []
    assert told(core, site) == []
    batch = core.ledger.running("big porch")
    assert batch is not None
    assert (batch.head_count(), batch.hatched.isoformat()) == (100, "2026-02-08")
    assert core.ledger.running("porch") is None
    for seconds in range(200, 500, 10):
        core.take_in(Reading(*later(seconds), "big porch/floor", 19.9))
    assert AlarmName.CHILL in {alarm.alarm for alarm in core.status(later(500)).all_alarms}
    written = len(core.ledger.entries)
    core.reconfigured(site, PHONE, Policy(), later(600))
    assert len(core.ledger.entries) == written, "once is enough"
