"""Settings with which a plain cold would go untold are each named, and usual ones are not."""

from dataclasses import replace

import pytest
from support.engine_night import a_brooder, a_site

from monitor.events import Priority
from monitor.site import Brooder, Limits, ScheduleRow
from monitor.tell.contact import Contact
from monitor.tell.untold import untold

BOX = a_brooder()
PHONE = Contact(name="phone", url="json://a")
UNUSUAL = {
    "harm is 36.0 °F": replace(BOX, limits=Limits(harm_c=20)),
    "band is 9.2 °F": replace(BOX, limits=Limits(band_c=5.1, harm_c=8)),
    "band_delay_s is 3600": replace(BOX, limits=Limits(band_delay_s=3600)),
    "harm_delay_s is 3600": replace(BOX, limits=Limits(harm_delay_s=3600)),
    "silent_s is 86400": replace(BOX, limits=Limits(silent_s=86400)),
    "offset of the probe floor is 18.0 °F": replace(
        BOX, probes=(replace(BOX.probes[0], offset_c=10.0),)
    ),
    "own_schedule asks on day 0": replace(BOX, own_schedule=(ScheduleRow(from_day=0, target_c=5),)),
}


@pytest.mark.parametrize("named", UNUSUAL)
def test_each_setting_that_hides_a_cold_is_named(named: str) -> None:
    box: Brooder = UNUSUAL[named]
    [(subject, words)] = untold(a_site(box), (PHONE,))
    assert subject == "porch"
    assert words.startswith(named)


def test_contacts_of_whom_none_wants_what_is_urgent_are_named() -> None:
    deaf = Contact(name="phone", url="json://a", priorities=frozenset({Priority.ADVICE}))
    [(subject, _)] = untold(a_site(BOX), (deaf,))
    assert subject == "contacts"
    assert list(untold(a_site(BOX), (deaf, PHONE))) == []


def test_what_is_usual_is_not_named() -> None:
    assert list(untold(a_site(a_brooder(floors=3)), (PHONE,))) == []
