"""Plugs and the mains, end to end: a lamp that draws nothing, and a power cut, reach the phone of
the real service by real MQTT, a real file and a real program; what was said is kept."""

import json
import os
import stat
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from support.mosquitto import Mosquitto, needs_mosquitto
from support.receivers import http_receiver
from support.service import Service, Thermometer, wait_until

from monitor.events import AlarmName
from monitor.journal.reader import JournalReader

pytestmark = pytest.mark.live

PLUG = '  topic = "plug/west"\n  value = "/power"\n  thermostat = false\n'
QUICK = {"monitor.service.mains_reading.EVERY_S": 0.1}


def at_once(path: Path, text: str) -> None:
    """Nobody reads half of it, or nothing."""
    path.with_suffix(".new").write_text(text)
    path.with_suffix(".new").replace(path)


def lines(service: Service) -> list[str]:
    return [meter["line"] for meter in service.ask("probes")["meters"]]


@needs_mosquitto
def test_a_lamp_that_draws_nothing_is_told_by_name_while_the_floor_is_warm_and_once(
    tmp_path: Path,
) -> None:
    with (
        Mosquitto(tmp_path / "broker", persistent=True) as broker,
        http_receiver() as phone,
        Service(
            tmp_path, broker_port=broker.port, contacts={"phone": phone.url}, heat_lines=PLUG
        ) as service,
        Thermometer(broker.port) as floor,
        Thermometer(broker.port, "plug/west", client_id="plug") as plug,
    ):
        service.placed()
        floor.say("35.0")
        plug.say('{"power": 243.5, "on": true}')
        plug.say('{"power": 0.4, "on": true}')
        plug.say('{"power": 0.4, "on": true}')
        [told, *_] = phone.wait_for(1)
        assert told.title == "porch: heat has stopped"
        assert "The west lamp draws 0 W, and drew 244 W before." in told.body
        said = service.command("probes", "--wait", "0").stdout
        assert "west lamp 0 W (out)" in said
        service.kill()
        with JournalReader(service.journal) as reader:
            assert reader.samples("porch", "west lamp power_w")[1].tolist() == [243.5, 0.4, 0.4]
        service.start()
        plug.say('{"power": 0.4, "on": true}')
        wait_until(lambda: service.ask("probes")["meters"][0]["age_s"] is not None)
        plug.say('{"power": 243.5, "on": true}')
        wait_until(lambda: "(out)" not in service.ask("probes")["meters"][0]["line"])
        assert [c.alarm for c in service.changes() if c.change == "raised"] == [AlarmName.HEAT_LOSS]


def test_a_plug_is_known_as_one_after_a_reload_as_before(tmp_path: Path) -> None:
    """A reload reads the configuration in a child process; what came back was no plug's power."""
    with (
        http_receiver() as phone,
        Service(tmp_path, contacts={"phone": phone.url}, heat_lines=PLUG) as service,
        Thermometer(service.broker_port) as floor,
        Thermometer(service.broker_port, "plug/west", client_id="plug") as plug,
    ):
        service.placed()
        service.tell = "urgent_repeat_minutes = 11\n"
        service.reload()
        floor.say("35.0")
        plug.say('{"power": 243.5, "on": true}')
        plug.say('{"power": 0.4, "on": true}')
        plug.say('{"power": 0.4, "on": true}')
        [told, *_] = phone.wait_for(1)
        assert "The west lamp draws 0 W, and drew 244 W before." in told.body
        service.more = '[mains]\ntopic = "mains"\n'
        service.reload()
        assert "Not reloaded" not in service.log()


def test_a_probe_whose_clock_is_behind_is_not_shown_as_never_heard(tmp_path: Path) -> None:
    """Local time sent as if it were UTC, while it is set up."""
    with Service(tmp_path) as service, Thermometer(service.broker_port) as floor:
        floor.say(
            json.dumps([{"n": "floor", "u": "Cel", "v": 33.5, "t": time.time() - 5 * 3600}])
        )  # SenML
        wait_until(lambda: service.ask("probes")["probes"][0]["stamps_old_s"])
        said = service.command("probes", "--wait", "0").stdout
        assert "heard, but its own time stamps are 5 h old" in " ".join(said.split())


def test_a_file_of_this_board_that_says_the_mains_is_off_is_told_at_once_and_its_return(
    tmp_path: Path,
) -> None:
    online = tmp_path / "online"
    online.write_text("1\n")
    with (
        http_receiver() as phone,
        Service(
            tmp_path,
            contacts={"phone": phone.url},
            more=f'[mains]\nfile = "{online}"\n',
            shortened=QUICK,
        ) as service,
    ):
        service.placed()
        wait_until(lambda: "mains power on" in lines(service))
        at_once(online, "0\n")
        told = phone.wait_for(1)[0]
        assert told.title == "Hillside: mains power is off"
        assert "how long that lasts is not known" in told.body
        at_once(online, "1\n")
        wait_until(lambda: "mains power on" in lines(service))


def test_a_ups_says_how_long_the_board_lasts_and_the_last_word_comes_before_silence(
    tmp_path: Path,
) -> None:
    """`upsc` stands in for the real one: its answers are those of Network UPS Tools 2.8."""
    answer, folder = tmp_path / "answer", tmp_path / "bin"
    answer.write_text("battery.runtime: 2400\nups.status: OL\n")
    folder.mkdir()
    upsc = folder / "upsc"
    upsc.write_text(f'#!/bin/sh\ntest "$1" = ups@localhost && cat {answer}\n')
    upsc.chmod(upsc.stat().st_mode | stat.S_IXUSR)
    with (
        http_receiver() as phone,
        Service(
            tmp_path / "site",
            contacts={"phone": phone.url},
            more='[mains]\nups = "ups@localhost"\n',
            env={"PATH": f"{folder}:{os.environ['PATH']}"},
            shortened=QUICK,
        ) as service,
    ):
        service.placed()
        wait_until(lambda: "mains power on" in lines(service))
        at_once(answer, "battery.runtime: 2400\nups.status: OB DISCHRG\n")
        assert "lasts about 40 min more" in phone.wait_for(1)[0].body
        at_once(answer, "battery.runtime: 120\nups.status: OB DISCHRG LB\n")
        last = phone.wait_for(2)[1]
        assert last.title == "Hillside: the monitor is about to go dark"
        at_once(answer, "")
        service.wait_log("gave no ups.status")


def test_the_guided_set_up_listens_until_a_new_plug_is_heard(
    tmp_path: Path,
) -> None:
    with Service(tmp_path) as service, Thermometer(service.broker_port, "plug/west") as plug:

        def set_up(topic: str) -> str:
            answers = ["", "", "", "1", topic, "", *[""] * 6, "y"]
            return service.command(
                "set-up", "heat", typed="\n".join([*answers, ""]), within_s=120.0
            ).stdout

        with ThreadPoolExecutor(1) as pool:
            asked = pool.submit(set_up, "plug/west")
            while not asked.done():
                plug.say("243.5")
                time.sleep(0.2)
            said = asked.result()
        assert "+  thermostat = false" in said
        assert "Heard: west lamp 244 W" in said
        assert "plug/west" in service.config.read_text()
