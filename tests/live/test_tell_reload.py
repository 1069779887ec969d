"""Other contacts while messages wait: none is lost, however quickly one change follows another."""

import time
from pathlib import Path

import pytest
from support.patience import LEAST_S
from support.receivers import http_receiver, refusing_port

from monitor.events import Moment, Priority
from monitor.journal.records import Outcome
from monitor.service.clock import LiveClock
from monitor.service.delivery_side import DeliverySide
from monitor.settings import Settings, load_settings
from monitor.tell.contact import Contact
from monitor.tell.delivery import Delivery
from monitor.tell.message import Message, MessageKind

pytestmark = pytest.mark.live


def settings(folder: Path, port: int) -> Settings:
    file = folder / "brooder.toml"
    file.write_text(
        f'[[brooders]]\nname = "porch"\nlength_m = 1\nwidth_m = 1\n\n'
        f'[[contacts]]\nname = "phone"\nurl = "json://127.0.0.1:{port}/hook"\n',
        encoding="utf-8",
    )
    return load_settings(file, {}, check_contacts=False)


def message(key: str) -> Message:
    return Message(
        key=key,
        thread=key,
        kind=MessageKind.RAISED,
        contacts=("phone",),
        priority=Priority.URGENT,
        title="porch: dangerously cold",
        body="Now 28.9 °C, should be 35.0 °C.",
        short="porch: dangerously cold.",
        at=time.time(),
    )


def test_three_changes_in_a_row_strand_no_message(tmp_path: Path) -> None:
    outcomes: list[Outcome] = []
    with http_receiver() as phone, refusing_port() as nobody:
        gone = settings(tmp_path, nobody.port)
        reaching = DeliverySide(
            gone, LiveClock(), on_outcome=outcomes.append, fault=lambda *_: None
        )
        reaching.start([], {})
        try:
            reaching.send([message("porch/chill/1:raised")])
            phone.wait_until(lambda _: len(outcomes) > 0)  # a try that failed
            reaching.reconfigure(gone)
            reaching.send([message("porch/chill/2:raised")])
            reaching.reconfigure(gone)
            reaching.reconfigure(settings(tmp_path, phone.port))
            reaching.send([message("porch/chill/3:raised")])
            phone.wait_for(3)
            assert reaching.alive()
        finally:
            reaching.stop(LEAST_S)
    sent = [outcome.key for outcome in outcomes if outcome.state == "sent"]
    assert sorted(sent) == [f"porch/chill/{n}:raised" for n in (1, 2, 3)], "each once"


def test_a_delivery_that_was_stopped_is_not_started() -> None:
    delivery = Delivery(
        [Contact(name="me", url="json://127.0.0.1:9/")],
        now=lambda: Moment(0, 0),
        record=lambda _: None,
        trouble=lambda *_: None,
    )
    assert delivery.alive()
    delivery.stop()
    with pytest.raises(RuntimeError, match="stopped"):
        delivery.start()
