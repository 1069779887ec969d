"""The forecast for a place: asked of the service that the configuration names, in the form that
Open-Meteo documents, and of nobody where it is not wanted."""

import json
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from support.answering import Answer, Answering, Asked
from support.service import Service, wait_until

from monitor.settings import SettingsFault, load_settings

pytestmark = pytest.mark.live


@contextmanager
def weather(asked: list[str], *, ill: bool = False) -> Iterator[str]:
    """Answers as the service's documentation shows it (open-meteo.com/en/docs; from memory)."""

    def answer(request: Asked) -> Answer:
        asked.append(request.path)
        begin = int(time.time()) // 3600 * 3600
        hours = [begin + 3600 * k for k in range(96)]
        said = {
            "latitude": 41.875,
            "longitude": -87.625,
            "generationtime_ms": 0.04,
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "timezone_abbreviation": "GMT",
            "elevation": 180.0,
            "hourly_units": {"time": "unixtime", "temperature_2m": "°C"},
            "hourly": {
                "time": hours,
                "temperature_2m": [-3.5 if k == 7 else 4.0 for k in range(96)],
            },
        }
        body = {"error": True, "reason": "no"} if ill else said
        return Answer(400 if ill else 200, json.dumps(body).encode())

    with closing(Answering(answer)) as server:
        yield server.url


def place(url: str) -> str:
    return (
        "[forecast]\nlatitude = 41.87654\nlongitude = -87.62432\n"
        f'service_url = "{url}/v1/forecast"\n'
    )


def test_a_place_is_asked_about_to_a_kilometre_and_its_answer_is_said(
    tmp_path: Path,
) -> None:
    asked: list[str] = []
    with weather(asked) as url:
        service = Service(tmp_path)
        with service:
            assert service.ask("about")["forecast"] is None
            assert asked == [], "off unless asked for"
            service.more = place(url)
            service.reload()
            wait_until(lambda: service.ask("about")["forecast"] not in (None, "none has come yet"))
            query = parse_qs(urlsplit(asked[0]).query)
            assert (query["latitude"], query["longitude"]) == (["41.88"], ["-87.62"])
            assert (query["hourly"], query["timeformat"]) == (["temperature_2m"], ["unixtime"])
            said = service.ask("about")["forecast"]
            assert "lowest of the next 24 h -3.5 °C at " in said
            assert said.endswith(f"({url.removeprefix('http://')})")
            service.more = ""
            service.reload()
            assert service.ask("about")["forecast"] is None


def test_why_there_is_none_is_said(tmp_path: Path) -> None:
    with weather([], ill=True) as url, Service(tmp_path, more=place(url)) as service:
        wait_until(lambda: "answered 400" in service.ask("about")["forecast"])
        assert service.ask("about")["forecast"].startswith("the last try failed: ")


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("latitude = 41.8", "give both latitude and longitude, or neither"),
        (
            'latitude = 1\nlongitude = 2\ntopic = "a"',
            "give exactly one of topic, url, and latitude",
        ),
        ("latitude = 91\nlongitude = 2", "degrees north from -90 to 90"),
        ("latitude = 1\nlongitude = 2\nservice_url = 'http://x/?key=1'", "who is asked"),
    ],
)
def test_a_place_that_is_none_is_named(tmp_path: Path, lines: str, words: str) -> None:
    file = tmp_path / "brooder.toml"
    file.write_text(
        f'[forecast]\n{lines}\n[[brooders]]\nname = "porch"\nlength_m = 1\nwidth_m = 1\n'
    )
    with pytest.raises(SettingsFault, match=words):
        load_settings(file, {}, check_contacts=False)
