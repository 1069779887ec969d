"""`brooder probes add`: what it shows, typed into a probe, lets exactly that probe in."""

import os
import signal
import subprocess
from pathlib import Path

import pytest
from support.mosquitto import Mosquitto, needs_mosquitto
from support.patience import LEAST_S
from support.ports import free_port
from support.service import Service, Thermometer, wait_until

from monitor.intake.link import BrokerAddress
from monitor.intake.try_broker import try_broker

pytestmark = pytest.mark.live

FLOOR, LAMP = "brooder/porch/floor", "brooder/porch/under-west-lamp"


def card_of(said: str) -> dict[str, str]:
    """What is to be typed into the probe."""
    lines = [line.strip().partition(" = ") for line in said.splitlines() if line[:4] == "    "]
    return {key: value for key, found, value in lines if found}


def says(port: int, card: dict[str, str], topic: str, temp_c: float) -> bool:
    """One reading with the card's account; does the broker take it?"""
    address = BrokerAddress(
        host="127.0.0.1", port=port, username=card["name"], password=card["password"]
    )
    return try_broker(address, (topic, str(temp_c))) is None


def service_in(folder: Path) -> Service:
    """On a port that its configuration names, as a grower's does."""
    service = Service(folder, commit_s=1.0)
    service.broker_port = free_port()
    return service


def test_the_card_lets_its_probe_in_and_lets_it_say_nothing_else(tmp_path: Path) -> None:
    with service_in(tmp_path) as service:
        done = service.command("probes", "add", "under west lamp")
        assert done.returncode == 0, done.stderr
        assert "again with --network" in done.stdout
        lamp = card_of(done.stdout)
        port = str(service.broker_port)
        assert lamp == {"broker": "127.0.0.1", "port": port, "topic": LAMP}
        with Thermometer(service.broker_port, LAMP) as probe:  # taken without a restart
            probe.say(36.5)
            probe.wait_acknowledged()
        wait_until(
            lambda: service.temps("porch/under west lamp") == [36.5], 30, "the lamp's reading"
        )

        refused = service.command("probes", "add", "floor", "--network")
        assert refused.returncode == 2
        assert "No account yet: porch/under west lamp." in refused.stdout
        assert not (tmp_path / "accounts").exists()
        opened = service.command("probes", "add", "floor", "--network", "--yes", "--address", "hen")
        floor = card_of(opened.stdout)
        assert (floor["broker"], floor["name"]) == ("hen", "porch-floor")
        assert "from the next start" in opened.stdout
        assert says(service.broker_port, floor, LAMP, 20.0), (
            "taken and dropped, as MQTT 3.1.1 has it"
        )
        assert says(service.broker_port, floor, FLOOR, 33.4)
        wait_until(lambda: service.temps() == [33.4], 30, "the floor's reading")
        assert service.temps("porch/under west lamp") == [36.5]
        assert not says(service.broker_port, {**floor, "password": "wrong"}, FLOOR, 1.0)


def test_an_account_given_anew_closes_the_old_one(tmp_path: Path) -> None:
    with service_in(tmp_path) as service:
        first = card_of(service.command("probes", "add", "floor", "--network", "--yes").stdout)
        assert not first["broker"].startswith("127."), "by which the probe finds this board"
        asked = service.command("probes", "add", "floor")
        assert "The account porch-floor is there already." in asked.stdout
        assert asked.stderr.startswith("nothing was written")
        second = card_of(service.command("probes", "add", "floor", "--yes").stdout)
        assert says(service.broker_port, second, FLOOR, 33.0)
        assert not says(service.broker_port, first, FLOOR, 1.0)


@needs_mosquitto
def test_mosquitto_takes_the_account_and_the_service_may_read_it(tmp_path: Path) -> None:
    files = tmp_path / "files"
    files.mkdir()
    (files / "passwords").touch(0o600)
    words = ["mosquitto_passwd", "-b", str(files / "passwords"), "monitor", "chicks"]
    subprocess.run(words, check=True, timeout=LEAST_S)
    (files / "rights").write_text(
        "user monitor\ntopic read brooder/porch/floor\ntopic write brooder/status\n"
    )
    conf = (
        f"allow_anonymous false\nuser root\npassword_file {files}/passwords\n"
        f"acl_file {files}/rights\nlistener {{port}} 127.0.0.1\n"
    )
    with Mosquitto(tmp_path / "run", conf, whole=True) as broker:
        account = 'username = "monitor"\npassword = "chicks"\n'
        with Service(
            tmp_path / "service", broker_port=broker.port, broker=account, commit_s=1.0
        ) as service:
            done = service.command("probes", "add", "under west lamp", "--mosquitto", str(files))
            assert done.returncode == 0, done.stdout + done.stderr
            assert "sudo systemctl reload mosquitto" in done.stdout
            card = card_of(done.stdout)
            assert card["name"] == "porch-under-west-lamp"
            assert (
                f"user monitor\ntopic read {FLOOR}\ntopic write brooder/status\ntopic read {LAMP}"
                in (files / "rights").read_text()
            )

            def heard() -> bool:
                says(broker.port, card, LAMP, 36.5)
                return 36.5 in service.temps("porch/under west lamp")

            os.kill(broker.pid, signal.SIGHUP)
            wait_until(heard, 60, "the reading")


def test_a_reading_without_hardware_goes_the_probes_own_way(tmp_path: Path) -> None:
    with service_in(tmp_path) as service:
        asked = service.command("probes", "try", "porch/floor", "95F")
        assert asked.returncode == 2
        assert "will stand in the records as a reading of porch/floor" in asked.stderr
        done = service.command("probes", "try", "floor", "95F", "--yes")
        assert (done.returncode, done.stdout) == (0, "porch/floor was heard: 35.0 °C.\n")
        again = service.command("probes", "try", "floor", "20C", "--yes")
        assert again.returncode == 2
        assert "speaks for itself" in again.stderr
        assert "it is taken after 15 min of silence" in again.stderr


def test_a_reading_with_a_wrong_password_says_so(tmp_path: Path) -> None:
    with service_in(tmp_path) as service:
        service.command("probes", "add", "floor", "--network", "--yes")
        (secret := tmp_path / "secret").write_text("wrong")
        done = service.command(
            "probes", "try", "floor", "95F", "--yes", "--password-file", str(secret)
        )
        assert done.returncode == 1
        assert "look at user and password" in done.stderr
