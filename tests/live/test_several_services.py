"""One site, several services: each follows its brooders by name, with a session of its own at the
broker, so that none throws another out or takes its messages."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.mosquitto import Mosquitto
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
