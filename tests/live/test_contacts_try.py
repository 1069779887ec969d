"""`brooder contacts try`: the trial comes as an urgent alarm does, and its answer is waited for."""

import re
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from support.patience import patience_s
from support.receivers import http_receiver
from support.service import MAIN, Service, Thermometer, quick_service, wait_until

from monitor.journal.reader import JournalReader

pytestmark = pytest.mark.live

LINK = re.compile(r"I am seeing to it: (http://\S+)")
PAGE = 'listen = "127.0.0.1"\npublic_url = "http://board.local"\n'


def get(url: str, data: bytes | None = None) -> str:
    with urllib.request.urlopen(url, data, timeout=patience_s(30)) as answer:
        return str(answer.read().decode())


def here(service: Service, body: str) -> str:
    """The message's link, at the address that this test reaches."""
    found = LINK.search(body)
    assert found is not None, body
    return found[1].replace("http://board.local", f"http://127.0.0.1:{service.page_port}")


def test_a_trial_is_as_urgent_as_an_alarm_and_says_how_long_its_answer_took(
    tmp_path: Path,
) -> None:
    with http_receiver() as phone:
        service = quick_service(tmp_path, phone.url, page=True, page_lines=PAGE, commit_s=0.5)
        with service, Thermometer(service.broker_port) as probe:
            said: list[str] = []
            running = subprocess.Popen(
                [sys.executable, "-c", MAIN, "contacts", "try", "--config", str(service.config)],
                stdout=subprocess.PIPE,
                text=True,
            )
            assert running.stdout is not None
            reading = threading.Thread(target=lambda: said.extend(running.stdout or ()))
            reading.start()
            (trial,) = phone.wait_for(1)
            link = here(service, trial.body)
            assert "A trial alarm. Nothing is wrong." in get(link)
            assert running.poll() is None, "looking at the link answers nothing"
            assert "Your answer has come." in get(link, b"")
            assert running.wait(patience_s(60)) == 0
            reading.join()
            assert re.search(r"phone: answered after \d+ s\.", "".join(said)), said
            (known,) = service.ask("about")["contacts"]
            assert known["last_ok_at"] is not None, "a trial that came has reached somebody"
            assert known["trial_answered_s"] > 0
            with pytest.raises(urllib.error.HTTPError, match="410"):
                get(link, b"")

            service.placed(100)
            for _ in range(15):
                probe.say(10.0)
            phone.wait_until(lambda p: any(LINK.search(g.body) for g in p.got[1:]))
            alarm = next(g for g in phone.got[1:] if LINK.search(g.body))
            assert trial.raw["type"] == alarm.raw["type"] == "failure"
            assert trial.title.partition(":")[0] == alarm.title.partition(":")[0] == "porch"


def test_a_trial_that_nobody_answers_is_not_well(tmp_path: Path) -> None:
    with http_receiver() as phone:
        service = Service(tmp_path, contacts={"phone": phone.url}, page=True, page_lines=PAGE)
        with service:
            done = service.command("contacts", "try", "--wait", "1")
            assert done.returncode == 1
            assert "phone: not answered within 1 s." in done.stdout
            assert service.ask("about")["contacts"][0]["trial_answered_s"] is None


def test_without_a_link_it_says_why_there_is_none(tmp_path: Path) -> None:
    with http_receiver() as phone, Service(tmp_path, contacts={"phone": phone.url}) as service:
        done = service.command("contacts", "try")
        assert done.returncode == 0
        assert "[page] public_url does not say where a phone finds the page" in done.stdout
        wait_until(lambda: phone.got, 30)
        assert not LINK.search(phone.got[0].body)


def test_that_a_trial_reached_somebody_is_known_after_a_restart(tmp_path: Path) -> None:
    """Each power cut had the contact stand under "Missing for tonight" again."""
    with http_receiver() as phone, Service(tmp_path, contacts={"phone": phone.url}) as service:
        service.command("contacts", "try")
        (known,) = service.ask("about")["contacts"]

        def kept() -> bool:
            with JournalReader(service.journal) as reader:
                return "phone" in reader.reached(0.0)

        wait_until(kept, 30, "the trial in the journal")
        service.kill()
        service.start()
        (again,) = service.ask("about")["contacts"]
        assert again["last_ok_at"] == pytest.approx(known["last_ok_at"], abs=0.002)


def test_a_rehearsal_goes_to_the_contacts_only_when_asked_and_says_that_it_is_one(
    tmp_path: Path,
) -> None:
    with http_receiver() as phone:
        service = Service(tmp_path, contacts={"phone": phone.url})
        service.write_config()
        calm = ("rehearse", "--calm", "--speed", "3600")
        assert service.command(*calm, within_s=300).returncode == 0
        assert phone.got == []
        done = service.command(*calm, "--to-contacts", within_s=300)
        assert "Each message goes to phone too" in done.stdout
        assert phone.got
        assert {g.title[:29] for g in phone.got} == {"REHEARSAL, nothing is wrong. "}
        service.contacts = {}
        service.write_config()
        assert "no contacts are configured" in service.command("rehearse", "--to-contacts").stderr
