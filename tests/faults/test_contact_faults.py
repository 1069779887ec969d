"""Contacts that hang, drip, refuse, answer 500 or are not there delay nobody else, are told to the
others, and get what they missed when they are back."""

from pathlib import Path

import psutil
import pytest
from support.receivers import Mode, http_receiver, refusing_port
from support.service import QUICK_LIMITS, Service, Thermometer, wait_until

from monitor.events import AlarmName

pytestmark = pytest.mark.faults


def test_five_contacts_are_unwell_and_the_sixth_is_told_at_once(tmp_path: Path) -> None:
    with (
        http_receiver(Mode.HANGING) as hanging,
        http_receiver(Mode.DRIPPING) as dripping,
        http_receiver(Mode.REFUSING) as refusing,
        http_receiver(Mode.FAILING) as failing,
        refusing_port() as nobody,
        http_receiver() as well,
        Service(
            tmp_path,
            contacts={
                "hanging": hanging.url,
                "dripping": dripping.url,
                "refusing": refusing.url,
                "failing": failing.url,
                "nobody": nobody.url,
                "no such name": "json://phone.hillside.invalid/",
                "well": well.url,
            },
            limits=QUICK_LIMITS,
            commit_s=0.5,
            tell="contact_time_limit_s = 300",
            shortened={"monitor.tell.outbox.LONGEST_BACK_OFF_S": 5.0},
        ) as service,
        Thermometer(service.broker_port) as probe,
    ):
        service.placed()
        probe.goes_on(21.0, 20)
        well.wait_for(1)
        assert not failed_for(service, "hanging"), "told before anybody's time limit ran out"
        service.tell = "contact_time_limit_s = 3"
        service.reload()
        # The others' trouble is told, by name, to who can be told.
        wait_until(
            lambda: (
                len({c.facts.get("contact") for c in service.changes(AlarmName.DELIVERY_FAULT)})
                >= 5
            ),
            150,
            "trouble with each of them in the journal",
        )
        well.wait_until(
            lambda p: any(
                "cannot" in g.title + g.body or "not reach" in g.title + g.body for g in p.got
            ),
            60,
        )
        # No child is left behind by those that were cut off.
        children = psutil.Process(service.pid).children(recursive=True)
        assert len(children) <= 8, children
        failing.mode = Mode.WELL
        failing.wait_until(lambda p: any("cold" in g.title for g in p.got), 60)
        assert "Traceback" not in service.log()
        assert service.stop() == 0
        wait_until(lambda: not any(c.is_running() for c in children), 20, "the senders to end")


def failed_for(service: Service, contact: str) -> bool:
    """Has a try to reach this contact ended in failure already?"""
    return any(d["name"] == contact and d["last_why"] for d in service.ask("about")["contacts"])
