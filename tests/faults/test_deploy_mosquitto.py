"""`install.sh mosquitto`: what it sets up is a broker that lets in the service, and each probe once
`brooder probes add` has given it its account."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from support.mosquitto import Mosquitto, needs_mosquitto
from support.patience import LEAST_S
from support.ports import free_port

from monitor.intake.link import BrokerAddress
from monitor.intake.try_broker import try_broker
from monitor.settings import load_settings

pytestmark = pytest.mark.faults

CHECKOUT = Path(__file__).parents[2]


def set_up(root: Path, code: int = 0) -> str:
    done = subprocess.run(
        ["sh", str(CHECKOUT / "deploy/mosquitto/set-up.sh")],
        env={**os.environ, "ROOT": str(root)},
        capture_output=True,
        text=True,
        timeout=LEAST_S,
        check=False,
    )
    assert done.returncode == code, done.stdout + done.stderr
    return done.stdout + done.stderr


def site_in(root: Path) -> Path:
    own = root / "etc/brooder"
    own.mkdir(parents=True)
    shutil.copy(CHECKOUT / "config/brooder.toml", own / "brooder.toml")
    return own / "brooder.toml"


@needs_mosquitto
def test_it_makes_a_broker_for_the_service_and_for_the_probes_that_are_added(
    tmp_path: Path,
) -> None:
    config = site_in(tmp_path)
    set_up(tmp_path)
    files = tmp_path / "etc/mosquitto/brooder"
    once = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    set_up(tmp_path)
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == once

    done = subprocess.run(
        [
            *(sys.executable, "-m", "monitor", "probes", "add", "floor"),
            *("--mosquitto", str(files), "--address", "localhost"),
        ],
        env={**os.environ, "BROODER_CONFIG": str(config)},
        capture_output=True,
        text=True,
        timeout=LEAST_S,
        check=True,
    )
    lines = [line.strip().partition(" = ") for line in done.stdout.splitlines()]
    card = {key: value for key, found, value in lines if found}
    assert (card["port"], card["tls"]) == ("8883", "yes")

    home, outer = free_port(), free_port()
    conf = (tmp_path / "etc/mosquitto/conf.d/brooder.conf").read_text()
    conf = conf.replace("/etc/mosquitto", str(tmp_path / "etc/mosquitto"))
    conf = conf.replace("listener 1883", f"listener {home}").replace("8883", f"{outer} 127.0.0.1")
    conf += "\nuser root\npersistence_location {folder}/\n"
    with Mosquitto(tmp_path / "run", conf, whole=True, port=home):
        broker = load_settings(config, {}, check_contacts=False).file.broker
        assert broker is not None
        assert broker.password is not None
        service = BrokerAddress(
            host=broker.host,
            port=home,
            username=broker.username,
            password=broker.password.get_secret_value(),
        )
        assert try_broker(service) is None
        probe = BrokerAddress(
            host="localhost",
            port=outer,
            username=card["name"],
            password=card["password"],
            tls=True,
            ca_file=str(files / "ca.crt"),
        )
        assert try_broker(probe, (card["topic"], "33.4")) is None
        nobody = BrokerAddress(
            host="localhost", port=outer, tls=True, ca_file=str(files / "ca.crt")
        )
        assert "turns us away" in str(try_broker(nobody))


def test_a_site_with_accounts_of_the_built_in_broker_is_not_moved_unasked(tmp_path: Path) -> None:
    config = site_in(tmp_path)
    config.write_text(config.read_text() + '\n[built_in_broker]\nlisten = "127.0.0.1"\n')
    assert "take it out, the probes get new accounts" in set_up(tmp_path, code=2)
    assert not (tmp_path / "etc/mosquitto").exists()
