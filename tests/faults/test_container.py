"""What the container runs, without a container: the same entry point, with everything read-only but
the volume. Building it wants a builder and a registry, and is tried where there are some."""

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from support.mosquitto import Mosquitto, needs_mosquitto
from support.patience import LEAST_S, patience_s
from support.service import wait_until

from monitor.intake.link import BrokerAddress
from monitor.intake.try_broker import try_broker
from monitor.settings import load_settings

pytestmark = pytest.mark.faults

CHECKOUT = Path(__file__).parents[2]
CONTAINER = CHECKOUT / "deploy" / "container"
READ_ONLY = """
mount --rbind / "$RO" && mount -o remount,ro,bind "$RO" && mount --bind "$DATA" "$RO$DATA" &&
exec chroot "$RO" env BROODER_DATA="$DATA" sh "$ENTRY" watch
"""


@pytest.fixture
def image(tmp_path: Path) -> Path:
    """The folder that is /opt/brooder in it."""
    home = tmp_path / "opt"
    for part in ("config", "deploy", "monitor"):
        shutil.copytree(CHECKOUT / part, home / part)
    binaries = home / ".venv" / "bin"
    binaries.mkdir(parents=True)
    (binaries / "python").write_text(f'#!/bin/sh\nexec {sys.executable} "$@"\n')
    (binaries / "brooder").write_text(
        f'#!/bin/sh\nPYTHONPATH={home} exec {sys.executable} -m monitor "$@"\n'
    )
    for program in binaries.iterdir():
        program.chmod(0o755)
    return home


def enter(image: Path, data: Path, *words: str, **env: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        ["sh", str(image / "deploy/container/entry.sh"), *words],
        env={"PATH": os.environ["PATH"], "BROODER_DATA": str(data), **env},
        capture_output=True,
        text=True,
        timeout=patience_s(60),
        check=False,
    )


def may_remount() -> bool:
    words = ["unshare", "-m", "true"]
    return (
        shutil.which("unshare") is not None and subprocess.run(words, check=False).returncode == 0
    )


@pytest.mark.skipif(not may_remount(), reason="no name space of its own for the mounts here")
def test_it_watches_with_everything_read_only_but_its_volume(image: Path, tmp_path: Path) -> None:
    data, read_only = tmp_path / "data", tmp_path / "ro"
    data.mkdir()
    read_only.mkdir()
    assert enter(image, data, "check").returncode in (0, 1), "writes the first configuration"
    config = data / "brooder.toml"
    config.write_text(
        config.read_text().replace('\nlisten = "0.0.0.0"', '\nlisten = "127.0.0.1"\nport = 0')
        + "\n[built_in_broker]\nport = 0\n"
    )
    said = tmp_path / "said"
    with said.open("wb") as out:
        running = subprocess.Popen(
            ["unshare", "-m", "sh", "-c", READ_ONLY],
            env={
                "PATH": os.environ["PATH"],
                "RO": str(read_only),
                "DATA": str(data),
                "ENTRY": str(image / "deploy/container/entry.sh"),
            },
            stdout=out,
            stderr=out,
        )
    try:
        wait_until(lambda: "Stop with Ctrl-C." in said.read_text() or running.poll(), 60)
        assert running.poll() is None, said.read_text()
        assert (data / "state" / "journal.db").exists()
        assert "Read-only file system" not in said.read_text()
        running.send_signal(signal.SIGTERM)
        assert running.wait(patience_s(60)) == 0
    finally:
        running.kill()
        running.wait()


@needs_mosquitto
def test_the_first_start_makes_a_passphrase_and_lets_the_monitor_in_at_mosquitto(
    image: Path, tmp_path: Path
) -> None:
    data, files = tmp_path / "data", tmp_path / "accounts"
    data.mkdir()
    files.mkdir()
    entry = image / "deploy/container/entry.sh"
    entry.write_text(entry.read_text().replace("/etc/mosquitto/brooder", str(files)))
    first = enter(image, data, "probes", "--help", BROODER_MOSQUITTO="mosquitto")
    assert first.returncode == 0, first.stderr
    kept = {path: path.read_text() for path in (*data.iterdir(), *files.iterdir())}
    assert enter(image, data, "--version", BROODER_MOSQUITTO="mosquitto").returncode == 0
    assert {path: path.read_text() for path in (*data.iterdir(), *files.iterdir())} == kept
    settings = load_settings(data / "brooder.toml", {}, check_contacts=False)
    page, broker = settings.file.page, settings.file.broker
    assert page.passphrase is not None
    assert page.passphrase.get_secret_value() not in first.stdout + first.stderr
    assert broker is not None
    assert broker.password is not None
    conf = (CONTAINER / "mosquitto.conf").read_text()
    conf = conf.replace("/etc/mosquitto/brooder", str(files)).replace(
        "/mosquitto/data/", "{folder}/"
    )
    conf = conf.replace("listener 1883", "listener {port} 127.0.0.1") + "user root\n"
    with Mosquitto(tmp_path / "run", conf, whole=True) as running:
        address = BrokerAddress(
            host="127.0.0.1",
            port=running.port,
            username=broker.username,
            password=broker.password.get_secret_value(),
        )
        assert try_broker(address) is None


def test_a_volume_that_is_not_there_is_said(image: Path, tmp_path: Path) -> None:
    done = enter(image, tmp_path / "none", "watch")
    assert done.returncode == 2
    assert "cannot be written; mount a volume there" in done.stderr


def test_the_container_has_no_rights_and_one_volume() -> None:
    said = (CONTAINER / "Containerfile").read_text()
    assert "\nUSER 10001:10001\n" in said
    assert said.count("\nVOLUME ") == 1
    compose = (CONTAINER / "compose.yaml").read_text()
    own = compose[compose.index("  brooder:") : compose.index("  mosquitto:")]
    for line in ("read_only: true", "cap_drop: [ALL]", "no-new-privileges:true"):
        assert line in own


@pytest.mark.parametrize(
    "words",
    [
        ["shellcheck", *map(str, sorted(CHECKOUT.glob("deploy/**/*.sh")))],
        ["hadolint", str(CONTAINER / "Containerfile")],
        ["docker-compose", "-f", str(CONTAINER / "compose.yaml"), "config", "-q"],
    ],
    ids=lambda words: words[0],
)
def test_what_the_linters_say(words: list[str]) -> None:
    if shutil.which(words[0]) is None:
        pytest.skip(f"{words[0]} is not installed")
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=LEAST_S)
    assert done.returncode == 0, done.stdout + done.stderr
