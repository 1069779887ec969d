"""From a thermometer's message to a person, through the real service: over MQTT in, over HTTP and
SMTP out, beside a contact that hangs; answered by the link in the message."""

import time
import urllib.request
from pathlib import Path

import pytest
from support.patience import LEAST_S
from support.receivers import Mode, http_receiver, smtp_receiver
from support.service import Service, Thermometer, wait_until

from monitor.events import AlarmName, ChangeKind

pytestmark = pytest.mark.live

# The thermal estimate may hold an alarm for minutes while a grower seems to be at work; a floor
# 14 degrees too cold from the first reading on is held by nothing.
LIMITS = {"band_delay_s": 1, "harm_delay_s": 0.5, "clear_delay_s": 1}
TOO_COLD_C = 21.0


def chill(service: Service, probe: Thermometer) -> None:
    """Says that the floor is cold until the alarm is raised."""

    def raised() -> bool:
        probe.say(TOO_COLD_C)
        time.sleep(0.1)
        return "chill" in service.log()

    wait_until(raised, 30, "the chill alarm")


def test_a_cold_floor_reaches_a_phone_and_a_mailbox(tmp_path: Path):
    with (
        http_receiver() as phone,
        smtp_receiver() as mailbox,
        Service(
            tmp_path, contacts={"phone": phone.url, "mail": mailbox.url}, limits=LIMITS
        ) as service,
        Thermometer(service.broker_port) as probe,
    ):
        service.placed(100)
        chill(service, probe)
        for receiver in (phone, mailbox):
            receiver.wait_until(
                lambda me: any(got.title == "porch: dangerously cold" for got in me.got)
            )
            told = next(got for got in receiver.got if got.title == "porch: dangerously cold")
            assert "Now 21.0 °C, should be " in told.body


def test_beside_a_contact_that_hangs_the_other_is_alerted_at_once(tmp_path: Path):
    with (
        http_receiver(Mode.HANGING) as stuck,
        http_receiver() as phone,
        Service(
            tmp_path,
            contacts={"stuck": stuck.url, "phone": phone.url},
            limits=LIMITS,
            tell="contact_time_limit_s = 300",
        ) as service,
        Thermometer(service.broker_port) as probe,
    ):
        service.placed(100)
        chill(service, probe)
        phone.wait_until(lambda me: "porch: dangerously cold" in me.titles())
        arrived = next(got.at for got in phone.got if got.title == "porch: dangerously cold")
        stuck.wait_until(lambda me: me.holding >= 1)
        assert stuck.got == []
        raised_at = service.changes(AlarmName.CHILL)[0].at
        took_s = arrived + time.time() - time.monotonic() - raised_at
        print(f"\nalarm to phone beside a hanging contact: {took_s:.2f} s")


def test_the_link_in_the_message_answers_the_alarm_once(tmp_path: Path):
    with http_receiver() as phone:
        service = Service(
            tmp_path,
            contacts={"phone": phone.url},
            limits=LIMITS,
            page=True,
            page_lines='public_url = "http://board.hillside.example"',
        )
        with service, Thermometer(service.broker_port) as probe:
            service.placed(100)
            chill(service, probe)
            phone.wait_until(lambda me: "porch: dangerously cold" in me.titles())
            told = next(got for got in phone.got if got.title == "porch: dangerously cold")
            line = told.body.splitlines()[-1]
            begins = "I am seeing to it: http://board.hillside.example"
            assert line.startswith(begins + "/answer/")
            url = f"http://127.0.0.1:{service.page_port}{line.removeprefix(begins)}"

            with urllib.request.urlopen(url, timeout=LEAST_S) as page:
                assert page.status == 200
            assert acknowledged(service) == []  # a mail scanner has opened it, nobody has answered

            post = urllib.request.Request(url, data=b"", method="POST")
            with urllib.request.urlopen(post, timeout=LEAST_S) as page:
                assert page.status == 200
            wait_until(lambda: acknowledged(service), 30, "the answer in the journal")
            assert [change.facts["by"] for change in acknowledged(service)] == ["phone"]

            with pytest.raises(urllib.error.HTTPError) as refused:
                urllib.request.urlopen(
                    urllib.request.Request(url, data=b"", method="POST"), timeout=LEAST_S
                )
            assert refused.value.code in range(400, 500)
            refused.value.close()


def acknowledged(service: Service) -> list:  # type: ignore[type-arg]
    return [
        change
        for change in service.changes(AlarmName.CHILL)
        if change.change is ChangeKind.ACKNOWLEDGED
    ]
