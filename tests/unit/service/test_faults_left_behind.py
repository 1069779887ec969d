"""A trouble of the watcher whose cause is no longer configured: nobody else reports its end."""

from itertools import count
from pathlib import Path

import pytest
from support.engine_night import a_site
from support.one_box import ONE_BOX

from monitor.events import AlarmName, Facts, Moment
from monitor.service.copying import Copying
from monitor.service.core import Core
from monitor.settings import load_settings
from monitor.tell.contact import Contact
from monitor.tell.policy import Policy

T0 = 1_770_685_200.0
ME = Contact(name="me", url="json://nowhere")
ANN = Contact(name="ann", url="json://nowhere")


def core_with(*contacts: Contact) -> Core:
    numbers = count(1)
    now = Moment(T0, T0)
    return Core(a_site(), now, contacts=contacts, next_entry_number=lambda: next(numbers))


@pytest.mark.parametrize("how", ["a start", "a reload"])
def test_a_contact_that_is_gone_need_not_be_reached(how: str) -> None:
    """It was asked for every two hours, and each morning, for good."""
    core, now = core_with(ME, ANN), Moment(T0 + 60.0, T0 + 60.0)
    core.fault(AlarmName.DELIVERY_FAULT, True, now, Facts(contact="ann", reason="no answer"))
    core.fault(AlarmName.DELIVERY_FAULT, True, now, Facts(contact="me", reason="no answer"))
    if how == "a start":
        state = core.snapshots()
        core = core_with(ME)
        core.restore(state, 0.0)
        core.fit_configuration(now)
    else:
        core.reconfigured(a_site(), (ME,), Policy(), now)
    alarms = core.status(now).alarms
    assert [alarm.contact for alarm in alarms if alarm.active] == ["me"]


def test_a_mirror_that_is_configured_no_longer_is_not_behind(tmp_path: Path) -> None:
    """Taken out over a reload that was seen, but not over a start."""
    file, said = tmp_path / "brooder.toml", []
    file.write_text(ONE_BOX, encoding="utf-8")
    settings = load_settings(file, {}, check_contacts=False)
    copying = Copying(
        settings, lambda _name, _state: None, lambda name, begins, _: said.append((name, begins))
    )
    copying.start()
    assert said == [(AlarmName.MIRROR_FAULT, False)]
