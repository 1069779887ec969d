"""One site, several services: each follows its brooders by name, with a session of its own at the
broker, so that none throws another out or takes its messages."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.mosquitto import Mosquitto
from support.patience import LEAST_S
from support.service import Service, Thermometer, wait_until

pytestmark = pytest.mark.live

BARNS = "".join(
    f'[[brooders]]\nname = "barn-{barn}-1"\nlength_m = 1\nwidth_m = 1\n'
    f'[[brooders.probes]]\nname = "floor"\ntopic = "barn/{barn}"\nplace = "floor"\n'
    for barn in "ab"
)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path / "broker") as running:
        yield running


def a_share(tmp_path: Path, broker: Mosquitto, barn: str) -> Service:
    return Service(
        tmp_path / barn, broker_port=broker.port, more=BARNS, only=f"barn-{barn}-*", commit_s=0.2
    )


def test_two_services_share_a_site_and_each_keeps_its_own_readings_over_a_restart(
    tmp_path: Path, broker: Mosquitto
) -> None:
    a, b = a_share(tmp_path, broker, "a"), a_share(tmp_path, broker, "b")
    with a, b, Thermometer(broker.port) as probe:
        for n in range(20):
            probe.say(33 + n / 16, "barn/a")
            probe.say(34 + n / 16, "barn/b")
        b.stop()
        for n in range(20):  # waits in b's own session
            probe.say(35 + n / 16, "barn/a")
            probe.say(36 + n / 16, "barn/b")
        probe.wait_acknowledged()
        b.start()
        wait_until(lambda: len(a.temps("barn-a-1/floor")) == 40, 60, "all of barn a")
        wait_until(lambda: len(b.temps("barn-b-1/floor")) == 40, 60, "all of barn b")
        assert sorted(b.temps("barn-b-1/floor"))[-1] == 36 + 19 / 16
        assert a.temps("barn-b-1/floor") == b.temps("barn-a-1/floor") == []


def test_a_second_copy_on_the_same_port_is_named_as_what_it_is(tmp_path: Path) -> None:
    with Service(tmp_path / "first") as first:
        second = Service(tmp_path / "second", broker_port=first.broker_port)
        second._own_broker = True  # else it would take the port for another broker's
        try:
            second.begin()
            assert second.process is not None
            assert second.process.wait(LEAST_S) == 2
        finally:
            second.kill()
        (line,) = (line for line in second.log().splitlines() if "cannot listen" in line)
        assert line.startswith(
            f"the built-in broker cannot listen on 127.0.0.1:{first.broker_port}: Address already "
            "in use; most likely a second copy of this service runs already: stop one of them."
        )
        assert "brooder.toml" not in line
        assert "Errno" not in line
