"""The mirror off the board, through the real service: what it holds, and what is said when
it cannot be kept."""

import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.answering import Answer, Answering, Asked
from support.influx import Likeness
from support.patience import LEAST_S
from support.service import FLOOR, Service, Thermometer, wait_until
from support.victoria import Victoria

from monitor.events import AlarmName, ChangeKind
from monitor.journal.reader import JournalReader

pytestmark = pytest.mark.live

SHADE = "brooder/outside"
OUTSIDE = f'[[site.probes]]\nname = "shade"\ntopic = "{SHADE}"\nplace = "outside"\n'
# The mirror looks up by the half minute; a test by the half second.
SOON = {
    "monitor.journal.mirror.sending.IDLE_S": 0.3,
    "monitor.journal.mirror.sending.FIRST_WAIT_S": 0.3,
    "monitor.journal.mirror.sending.REFUSED_WAIT_S": 0.3,
    "monitor.journal.mirror.sending.LONGEST_WAIT_S": 1.0,
}
AT_ONCE = {"band_delay_s": 0, "harm_delay_s": 0, "clear_delay_s": 0}


def influx(url: str) -> str:
    return f'[influx]\nurl = "{url}"\ntoken = "a token"\norg = "farm"\nbucket = "brooder"\n'


def words(service: Service) -> str:
    return str(service.ask("about")["mirror"])


def kept(path: Path) -> dict[tuple[str, str], list[tuple[int, float]]]:
    """(brooder, probe) -> [(ms, degC)] of the journal."""
    found = {}
    with JournalReader(path) as reader:
        for brooder, probe in (("porch", "floor"), ("site", "shade")):
            times, temps = reader.readings_plain(f"{brooder}/{probe}", 0.0, 4e9)
            pairs = zip((round(at * 1000) for at in times), temps, strict=True)
            found[brooder, probe] = sorted(set(pairs))
    return found


def test_the_copy_is_the_record_though_server_and_service_were_away_in_the_middle(
    tmp_path: Path,
) -> None:
    victoria = Victoria(tmp_path / "victoria")
    victoria.start()
    service = Service(
        tmp_path / "porch",
        more=OUTSIDE + influx(victoria.url),
        commit_s=0.2,
        limits=AT_ONCE,
        shortened=SOON,
    )
    try:
        with service, Thermometer(service.broker_port) as probe:
            service.placed()
            speak(probe, 34.5)
            wait_until(
                lambda: len(victoria.series('{__name__="temperature_celsius"}')) == 2,
                60,
                "the first readings in the mirror",
            )
            victoria.stop()
            speak(probe, 20.0)
            service.enter("loss", count=2, note="in the corner")
            wait_until(lambda: "cannot be reached" in words(service), 60, "words of the outage")
            speak(probe, 34.5)
            probe.wait_acknowledged()
            assert service.stop() == 0
            service.start()
            speak(probe, 34.0)
            probe.wait_acknowledged()
            victoria.start()
            wait_until(
                lambda: (
                    words(service).startswith("everything was sent")
                    and victoria.series('{__name__="temperature_celsius"}') == kept(service.journal)
                ),
                90,
                "the same readings there as here",
            )
            the_derived_is_there(victoria, service)
    finally:
        victoria.stop()


def speak(probe: Thermometer, about_c: float) -> None:
    for n in range(20):
        probe.say(5.0 + n % 3 / 16, SHADE)  # first: without an outside nothing is estimated
        probe.say(round(about_c + n % 5 / 16, 4), FLOOR)
        time.sleep(0.02)


def the_derived_is_there(victoria: Victoria, service: Service) -> None:
    def numbers(name: str) -> list[float]:
        found = victoria.series(f'{{__name__="{name}",brooder="porch"}}')
        return [value for pairs in found.values() for _, value in pairs]

    with JournalReader(service.journal) as reader:
        entries = reader.entries()
    assert sorted(numbers("ledger_count")) == [2.0, 50.0] == sorted(e.count or 0.0 for e in entries)

    def targets_are_the_same() -> bool:  # another may be written while the last is sent
        with JournalReader(service.journal) as reader:
            targets = reader.samples("porch", "target_c")[1].tolist()
        lows = pytest.approx([t - 2.8 for t in targets], abs=0.05)
        there = numbers("brooder_target_c") == pytest.approx(targets)
        return bool(targets) and there and numbers("brooder_low_c") == lows

    wait_until(targets_are_the_same, 90, "the same targets there as here")
    for name in ("time_constant_s", "rise_k", "rise_sd_k", "learned"):
        assert numbers(f"brooder_{name}"), f"no {name} of the thermal estimate"

    def chills_are_the_same() -> bool:
        chills = [c for c in service.changes(AlarmName.CHILL) if "temp_c" in c.facts]
        there = victoria.series('{__name__="alarm_temp_c",alarm="chill"}')
        same = pytest.approx(sorted(c.facts["temp_c"] for c in chills))
        both = {c.change for c in chills} >= {ChangeKind.RAISED, ChangeKind.CLEARED}
        return both and sorted(v for pairs in there.values() for _, v in pairs) == same

    wait_until(chills_are_the_same, 90, "the same alarms there as here")


class Refusing(Answering):
    """It says no, each time as it is told."""

    def __init__(self) -> None:
        self.status, self.message = 204, ""
        super().__init__(self._answer)

    def _answer(self, asked: Asked) -> Answer:
        status = self.status
        if status == 204:  # the token may only write
            return Answer(404 if asked.path.startswith("/api/v2/query") else 204)
        return Answer(status, self.message.encode())


@pytest.fixture
def refusing() -> Iterator[Refusing]:
    server = Refusing()
    yield server
    server.close()


TROUBLES = [
    (401, '{"code":"unauthorized","message":"unauthorized access"}', "does not accept the token"),
    (404, '{"code":"not found","message":"bucket not found"}', "make the bucket"),
    (507, '{"code":"unavailable","message":"no space left on device"}', "no room left on its disk"),
    (429, '{"code":"too many requests","message":"slow down"}', "asks us to slow down"),
]


def test_what_keeps_the_copy_from_being_made_is_said_by_check_and_on_the_page(
    tmp_path: Path, refusing: Refusing
) -> None:
    service = Service(tmp_path, page=True, more=influx(refusing.url), commit_s=0.2, shortened=SOON)
    with service, Thermometer(service.broker_port) as probe:
        for number, (status, message, phrase) in enumerate(TROUBLES):
            refusing.status, refusing.message = status, message
            probe.say(34.0 + number / 16)
            wait_until(lambda phrase=phrase: phrase in words(service), 60, phrase)
            page = f"http://127.0.0.1:{service.page_port}/"
            with urllib.request.urlopen(page, timeout=LEAST_S) as answer:
                assert phrase in answer.read().decode()
            told = service.command("check")
            assert phrase in " ".join(told.stdout.split())
            assert "a token" not in told.stdout + told.stderr + service.log()
        refusing.status = 204
        wait_until(
            lambda: words(service).startswith("everything was sent"), 60, "the end of the trouble"
        )
        assert "InfluxDB takes what we write" in service.command("check").stdout


def test_trouble_of_an_hour_is_told_once_and_a_reload_takes_the_mended_token_and_another_bucket(
    tmp_path: Path,
) -> None:
    influx_2 = Likeness()
    token = tmp_path / "token"
    token.write_text("nobody's")
    section = (
        f'[influx]\nurl = "{influx_2.url}"\ntoken_file = "{token}"\norg = "farm"\n'
        'bucket = "brooder"\n'
    )
    service = Service(
        tmp_path / "porch",
        more=section,
        commit_s=0.2,
        # The hour: long enough that a doubled sending would show.
        shortened=SOON | {"monitor.service.copying.TELL_AFTER_S": 1.0},
    )

    def told() -> list[ChangeKind]:
        return [change.change for change in service.changes(AlarmName.MIRROR_FAULT)]

    with service, Thermometer(service.broker_port) as probe:
        probe.say(34.0)
        wait_until(lambda: told() == [ChangeKind.RAISED], 60, "the warning")
        change = service.changes(AlarmName.MIRROR_FAULT)[0]
        assert "does not accept the token" in change.facts["reason"]
        assert service.log().count("The mirror has not been well for an hour.") == 1
        token.write_text("both")
        service.reload()
        wait_until(lambda: words(service) == "up to date", 60, "the mended token to be taken")
        wait_until(lambda: told()[-1] is ChangeKind.CLEARED, 60, "the end of the warning")
        assert len(told()) == 2
        assert influx_2.points["brooder"]
        other = influx_2.bucket()
        service.more = section.replace('"brooder"', f'"{other}"')
        service.write_config()
        service.reload()
        wait_until(
            lambda: (
                words(service) == "up to date"
                and readings(influx_2, other) == len(service.temps()) > 0
            ),
            60,
            "the other bucket to be filled from the beginning",
        )
        influx_2.empty(other, "Hillside")
        assert "0 of them there" in service.command("mirror", "status").stdout
        filled = service.command("mirror", "fill")
        assert filled.returncode == 0, filled.stdout + filled.stderr
        assert readings(influx_2, other) == len(service.temps())
        assert "both" not in service.log()
    influx_2.close()


def readings(server: Likeness, bucket: str) -> int:
    found = list(server.points.get(bucket, {}).items())  # at once: it is being filled
    return sum(len(points) for series, points in found if series[0] == "temperature")
