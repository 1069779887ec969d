"""Messages reach people through real servers, and one that is unwell delays nobody else."""

import time
from collections.abc import Iterator
from contextlib import contextmanager

import psutil
import pytest
from support.patience import LEAST_S, patience_s
from support.receivers import Mode, Receiver, http_receiver, refusing_port, smtp_receiver

from monitor.events import Moment, Priority
from monitor.journal.records import Outcome
from monitor.tell.contact import Contact
from monitor.tell.delivery import Delivery
from monitor.tell.message import Message, MessageKind
from monitor.tell.outbox import rows

pytestmark = pytest.mark.live


class Kept:
    """What the service would write into the journal."""

    def __init__(self) -> None:
        self.outcomes: list[Outcome] = []
        self.trouble: list[tuple[str, bool, str]] = []

    def states(self) -> dict[tuple[str, str], str]:
        return {(o.key, o.contact): o.state for o in self.outcomes}


def now() -> Moment:
    return Moment(time.time(), time.monotonic())


def urgent(*contacts: str, key: str = "porch/chill/1:raised", thread: str = "a") -> Message:
    return Message(
        key=key,
        thread=thread,
        kind=MessageKind.RAISED,
        contacts=contacts,
        priority=Priority.URGENT,
        title="porch: dangerously cold",
        body="Now 28.9 °C, should be 35.0 °C. Go now. Check the lamps first.\nSecond line.",
        short="porch: dangerously cold.",
        at=time.time(),
        ack_for=("porch/chill/1",),
    )


@contextmanager
def delivering(
    kept: Kept, *receivers: tuple[str, Receiver], limit_s: float = LEAST_S, **calls: object
) -> Iterator[Delivery]:
    contacts = [Contact(name=name, url=receiver.url) for name, receiver in receivers]
    delivery = Delivery(
        contacts,
        now=now,
        record=kept.outcomes.extend,
        trouble=lambda *said: kept.trouble.append(said),
        limit_s=limit_s,
        **calls,  # type: ignore[arg-type]
    )
    delivery.start()
    try:
        yield delivery
    finally:
        delivery.stop()


def until(true: object, within_s: float = 60.0) -> None:
    end = time.monotonic() + patience_s(within_s)
    while not true():  # type: ignore[operator]
        assert time.monotonic() < end, f"waited {within_s} s in vain"
        time.sleep(0.02)


def test_a_message_arrives_at_a_phone_and_in_a_mailbox_word_for_word():
    kept = Kept()
    with http_receiver() as phone, smtp_receiver() as mailbox:
        message = urgent("phone", "mail")
        with delivering(kept, ("phone", phone), ("mail", mailbox)) as delivery:
            delivery.send([message])
            [by_phone], [by_mail] = phone.wait_for(1), mailbox.wait_for(1)
            assert delivery.drain(LEAST_S) == 0
    assert (by_phone.title, by_phone.body) == (message.title, message.body)
    assert by_mail.title == message.title
    assert message.body in by_mail.body.replace("\r\n", "\n")
    assert set(kept.states().values()) == {"sent"}


def test_a_contact_that_hangs_does_not_delay_another():
    kept = Kept()
    with (
        http_receiver(Mode.HANGING) as stuck,
        http_receiver() as phone,
        delivering(kept, ("stuck", stuck), ("phone", phone), limit_s=600) as delivery,
    ):
        delivery.send([urgent("stuck", key="porch/hot/1:raised")])
        stuck.wait_until(lambda me: me.holding == 1)
        begun = time.monotonic()
        delivery.send([urgent("stuck", "phone")])
        [got] = phone.wait_for(1)
        assert stuck.holding == 1, "the other one was no longer hanging"
        print(f"\nsend to arrival beside a hanging contact: {got.at - begun:.3f} s")
        assert kept.states().get(("porch/chill/1:raised", "stuck")) is None


@pytest.mark.parametrize("mode", [Mode.HANGING, Mode.DRIPPING])
def test_a_contact_that_hangs_or_drips_is_left_after_its_time_limit_and_tried_again(mode):
    kept = Kept()
    with http_receiver(mode) as stuck, delivering(kept, ("stuck", stuck), limit_s=3) as delivery:
        delivery.send([urgent("stuck")])
        until(lambda: kept.outcomes)
        assert kept.outcomes[0].failure == "no answer in time"
        assert kept.outcomes[0].state == "pending"
        stuck.mode = Mode.WELL
        [got] = stuck.wait_for(1)
        assert got.title == "porch: dangerously cold"


def test_a_contact_that_answers_late_is_waited_for_and_does_not_get_the_same_for_ever():
    kept = Kept()
    with http_receiver(Mode.SLOW) as phone, delivering(kept, ("phone", phone), limit_s=3) as tell:
        phone.slow_s = 4.0
        tell.send([urgent("phone")])
        until(lambda: kept.states().get(("porch/chill/1:raised", "phone")) == "sent")


@pytest.mark.parametrize(
    ("mode", "why"),
    [
        (Mode.FAILING, "the service answered 500"),
        (Mode.REFUSING, "the service refused the password or token (answer 403)"),
        (Mode.MOVED, "the service sent us elsewhere (answer 302); correct its URL"),
        (Mode.QUIET_MOVED, "the service sent us elsewhere (answer 302); correct its URL"),
    ],
)
def test_a_failure_says_why_and_holds_no_secret(mode, why, caplog):
    kept = Kept()
    with http_receiver(mode) as phone:
        phone.suffix = "/hook?token=hidden-token"
        phone.scheme = "json"
        with delivering(kept, ("phone", phone)) as delivery:
            delivery.send([urgent("phone")])
            until(lambda: kept.outcomes)
    assert kept.outcomes[0].failure == why
    assert "hidden-token" not in caplog.text + repr(kept.outcomes)


def test_a_server_that_proves_nothing_is_told_from_one_that_is_away():
    """So does one whose certificate has run out, or is not valid yet by the board's clock."""
    kept = Kept()
    with http_receiver() as phone:
        phone.scheme = "jsons"
        with delivering(kept, ("phone", phone)) as delivery:
            delivery.send([urgent("phone")])
            until(lambda: kept.outcomes)
    why = kept.outcomes[0].failure or ""
    assert why.startswith("no secure connection to the service; see whether its certificate")


def test_what_a_redirect_leads_to_is_never_taken_for_the_receivers_yes():
    """As a guest network's log-in answers: 302, and 200 to whoever follows."""
    kept = Kept()
    with http_receiver(Mode.MOVED) as phone, delivering(kept, ("phone", phone)) as delivery:
        delivery.send([urgent("phone")])
        until(lambda: kept.outcomes)
        assert kept.outcomes[0].state == "pending"
        assert phone.got == []
        phone.mode = Mode.WELL
        [got] = phone.wait_for(1)
        assert got.title == "porch: dangerously cold"


def test_a_port_where_nobody_listens_is_no_connection():
    kept = Kept()
    with refusing_port() as nobody, delivering(kept, ("phone", nobody)) as delivery:
        delivery.send([urgent("phone")])
        until(lambda: kept.outcomes)
    assert kept.outcomes[0].failure == "no connection to the service"


def test_a_contact_not_reached_is_told_as_trouble_once_and_its_end_too():
    kept = Kept()
    with http_receiver(Mode.FAILING) as phone, delivering(kept, ("phone", phone)) as delivery:
        for number in range(3):  # urgent news tries again after five seconds at the latest
            delivery.send([urgent("phone", key=f"porch/chill/{number}:raised", thread=str(number))])
            until(lambda n=number: len(kept.outcomes) > n)
        until(lambda: kept.trouble)
        phone.mode = Mode.WELL
        delivery.send([urgent("phone", key="porch/chill/9:raised", thread="9")])
        until(lambda: len(kept.trouble) == 2)
    assert [(who, begins) for who, begins, _ in kept.trouble] == [("phone", True), ("phone", False)]


def test_a_slow_line_is_waited_for_and_gets_the_message_once():
    kept = Kept()
    with http_receiver(Mode.SLOW) as phone, delivering(kept, ("phone", phone)) as delivery:
        delivery.send([urgent("phone")])
        until(lambda: kept.outcomes)
        assert delivery.drain(LEAST_S) == 0
    assert kept.outcomes[0].failure is None
    assert phone.tried == 1


def test_what_the_journal_says_is_unsent_goes_out_at_the_start():
    kept = Kept()
    with http_receiver() as phone:
        delivery = Delivery(
            [Contact(name="phone", url=phone.url)],
            now=now,
            record=kept.outcomes.extend,
            trouble=lambda *_: None,
        )
        delivery.start(rows(urgent("phone")))
        try:
            [got] = phone.wait_for(1)
        finally:
            delivery.stop()
    assert got.title == "porch: dangerously cold"


@contextmanager
def one_that_waits(kept: Kept, *, limit_s: float) -> Iterator[tuple[Receiver, psutil.Process]]:
    """A phone that hangs, and the sender, of which a child waits for its answer."""
    others = set(psutil.Process().children())
    with (
        http_receiver(Mode.HANGING) as phone,
        delivering(kept, ("phone", phone), limit_s=limit_s) as delivery,
    ):
        delivery.send([urgent("phone")])
        phone.wait_until(lambda me: me.holding == 1)
        [sender] = set(psutil.Process().children()) - others
        yield phone, sender


def test_a_sender_that_is_killed_is_started_anew_and_nothing_is_lost():
    kept = Kept()
    with one_that_waits(kept, limit_s=20) as (phone, sender):
        phone.mode = Mode.WELL
        sender.kill()
        phone.wait_for(1)
        until(lambda: kept.states().get(("porch/chill/1:raised", "phone")) == "sent")


def test_a_sender_that_is_killed_is_noticed_though_what_it_began_still_hangs():
    """That held the sender's pipe open: the death was seen ten seconds after the time limit."""
    kept = Kept()
    with one_that_waits(kept, limit_s=3600) as (_, sender):
        sender.kill()
        until(lambda: kept.outcomes)
        assert kept.outcomes[0].failure == "the sending broke off"


def test_the_link_and_the_picture_go_along(tmp_path):
    kept = Kept()
    chart = tmp_path / "porch.png"
    chart.write_bytes(b"\x89PNG\r\n\x1a\n" + b"0" * 64)
    with http_receiver() as phone:
        calls = {
            "chart": lambda brooder: chart if brooder == "porch" else None,
            "link": lambda message, contact: f"http://board/{contact}/{message.ack_for[0]}",
        }
        message = Message(
            **{
                name: getattr(urgent("phone"), name)
                for name in Message.__dataclass_fields__
                if name != "attach_brooder"
            },
            attach_brooder="porch",
        )
        with delivering(kept, ("phone", phone), **calls) as delivery:
            delivery.send([message])
            [got] = phone.wait_for(1)
    assert got.body.endswith("I am seeing to it: http://board/phone/porch/chill/1")
    assert [a["filename"] for a in got.raw["attachments"]] == ["porch.png"]


def test_trouble_that_an_earlier_run_told_of_ends_with_the_first_message_that_arrives():
    kept = Kept()
    with http_receiver() as phone, delivering(kept, ("phone", phone)) as delivery:
        delivery.send([urgent("phone")])
        until(lambda: kept.trouble)
        delivery.send([urgent("phone", key="porch/chill/2:raised", thread="b")])
        phone.wait_for(2)
        assert delivery.drain(LEAST_S) == 0
    assert kept.trouble == [("phone", False, "")]


def test_a_hundred_messages_while_a_contact_is_away_become_one_per_cause():
    kept = Kept()
    with http_receiver(Mode.FAILING) as phone, delivering(kept, ("phone", phone)) as delivery:
        delivery.send([urgent("phone", key="first", thread="a")])
        until(lambda: kept.outcomes)
        delivery.send([urgent("phone", key=f"{n}", thread="ab"[n % 2]) for n in range(100)])
        phone.mode = Mode.WELL
        got = phone.wait_for(2)
        assert delivery.drain(LEAST_S) == 0
    assert len(got) == 2
    assert kept.states()["98", "phone"] == kept.states()["99", "phone"] == "sent"


def test_another_delivery_goes_on_with_what_one_could_not_send():
    kept = Kept()
    with http_receiver(Mode.HANGING) as phone:
        with delivering(kept, ("phone", phone)) as first:
            first.send([urgent("phone", key="one", thread="a")])
            phone.wait_until(lambda me: me.holding == 1)
            first.send([urgent("phone", key="two", thread="b")])
        left = first.unsent()
        phone.mode = Mode.WELL
        second = Delivery(
            [Contact(name="phone", url=phone.url)],
            now=now,
            record=kept.outcomes.extend,
            trouble=lambda *_: None,
        )
        second.start(left)
        try:
            phone.wait_for(2)
            assert second.drain(LEAST_S) == 0
        finally:
            second.stop()
    assert {row.key for row in left} == {"one", "two"}
    assert kept.states() == {("one", "phone"): "sent", ("two", "phone"): "sent"}
