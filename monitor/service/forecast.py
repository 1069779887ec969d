"""Fetches the weather forecast at an interval and keeps the last good one, also over a restart.

A thread of its own: a weather service that hangs must not be felt anywhere else."""

import json
import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path
from typing import NamedTuple

from monitor.intake.forecast_json import MOST_BYTES, ForecastFault, read_forecast
from monitor.journal.ownership import write_whole
from monitor.measures import span
from monitor.service.logs import facts
from monitor.settings.file_model import ForecastSettings
from monitor.site import Site
from monitor.tell.fetch import FetchFault, fetch
from monitor.tell.wording.words import Voice
from monitor.thermal import estimate
from monitor.units import Unit

log = logging.getLogger(__name__)
FETCH_LIMIT_S = 20.0
AGAIN_S = 600.0
_DAY_S = 86400.0
KEPT_AS = "forecast.json"


class ForecastFetch(NamedTuple):
    """The coming outside temperatures (Unix seconds, degC), and when they were had."""

    got_at: float
    pairs: tuple[tuple[float, float], ...]


def kept_forecast(folder: Path) -> ForecastFetch | None:
    """The last good one of a state folder, however old; None: there is none."""
    try:
        got_at, pairs = json.loads((folder / KEPT_AS).read_text(encoding="utf-8"))
        return ForecastFetch(float(got_at), tuple((float(a), float(t)) for a, t in pairs))
    except (OSError, ValueError, TypeError):
        return None


def lows_of(forecast: ForecastFetch | None, at: float, zone: tzinfo) -> list[float]:
    """The lowest of each coming night that it reaches, degC; empty: it is too old, or none."""
    if forecast is None:
        return []
    known = estimate.Forecast(forecast.pairs, forecast.got_at)
    return [low_c for _, low_c in estimate.coming_lows(known, at, zone)]


class _Asked(NamedTuple):
    """Where the forecast is had, and where in the answer it stands."""

    url: str | None  # None: it comes by MQTT
    times: str
    temperatures: str
    unit: Unit


def _asked(settings: ForecastSettings) -> _Asked:
    if settings.latitude is None or settings.longitude is None:
        url = None if settings.url is None else settings.url.get_secret_value()
        return _Asked(url, settings.times, settings.temperatures, Unit(settings.unit))
    # As Open-Meteo documents its interface (open-meteo.com/en/docs; from memory). A hundredth of a
    # degree is about a kilometre: closer than any forecast, and nobody's door.
    place = f"latitude={settings.latitude:.2f}&longitude={settings.longitude:.2f}"
    more = "hourly=temperature_2m&timeformat=unixtime&forecast_days=4"
    return _Asked(
        f"{settings.service_url}?{place}&{more}",
        "/hourly/time",
        "/hourly/temperature_2m",
        Unit.CELSIUS,
    )


@dataclass(eq=False, repr=False)
class Forecaster:
    """Keeps `newest` up to date until stopped. `hear` takes what comes by MQTT instead."""

    settings: ForecastSettings | None  # None: none is wanted, until `take` says otherwise
    site: Site
    folder: Path
    now: Callable[[], float]
    came: Callable[[], None]

    def __post_init__(self) -> None:
        self._stopping = False
        self._wake = threading.Event()
        self.newest: ForecastFetch | None = (
            kept_forecast(self.folder) if self.settings is not None else None
        )
        self._kept = self.newest  # over a restart
        self.trouble: str | None = None  # why the last try failed, in words

    def start(self) -> None:
        """Says what was kept, and begins to fetch; with a topic there is nothing to fetch."""
        if self.newest is not None:
            self.came()
        threading.Thread(target=self._run, name="forecast", daemon=True).start()

    def stop(self) -> None:
        """Ends the fetching; a fetch under way is left to its time limit."""
        self._stopping = True
        self._wake.set()

    def take(self, settings: ForecastSettings | None, site: Site) -> None:
        """Another configuration: asked at once where it asks somewhere else."""
        before, self.settings, self.site = self.settings, settings, site
        if settings != before:
            self.newest, self.trouble = None, None
            self._wake.set()

    def hear(self, document: bytes) -> None:
        """One document that came by MQTT. Called by the watch thread, which waits for no disk."""
        self._read(document)
        self._wake.set()

    def _read(self, document: bytes) -> None:
        """However it came. A wrong one is named in the log and changes nothing."""
        settings = self.settings
        if settings is None:
            return
        asked = _asked(settings)
        try:
            pairs = read_forecast(
                document,
                times=asked.times,
                temperatures=asked.temperatures,
                unit=asked.unit,
                zone=self.site.timezone,
            )
        except ForecastFault as fault:
            self._failed(str(fault))
            return
        if settings is not self.settings:
            return  # it answers what is asked no more
        self.trouble = None
        self.newest = ForecastFetch(self.now(), pairs)
        self.came()

    def _keep(self) -> None:
        newest, before = self.newest, self._kept
        self._kept = newest
        if newest is None or newest is before:
            return
        try:
            write_whole(self.folder / KEPT_AS, json.dumps(newest).encode())
        except OSError as error:
            self._failed(f"cannot be kept over a restart: {error.strerror}")

    def lows(self) -> list[float]:
        """The lowest of each coming night, degC."""
        return lows_of(self.newest, self.now(), self.site.timezone)

    def words(self) -> str | None:
        """How it stands, for the page: the last answer, its age, why there is no newer one. None:
        none is configured."""
        settings, newest = self.settings, self.newest
        if settings is None:
            return None
        failed = f"the last try failed: {self.trouble}" if self.trouble is not None else None
        if newest is None:
            return failed or "none has come yet"
        voice, now = Voice(self.site), self.now()
        said = f"{span(now - newest.got_at)} old"
        coming = [(temp_c, at) for at, temp_c in newest.pairs if now <= at <= now + _DAY_S]
        if coming:
            low_c, at = min(coming)
            said += f": lowest of the next 24 h {voice.temp(low_c)} at {voice.clock(at, now)}"
        if settings.latitude is not None:
            said += f" ({settings.service_url.split('/')[2].removeprefix('api.')})"
        return f"{said}; {failed}" if failed else said

    def _run(self) -> None:
        while not self._stopping:
            try:
                self._fetch()
                self._keep()
            except Exception:
                log.exception("The forecast could not be taken.")
                self._failed("a fault of the monitor, see its log")
            settings = self.settings
            # A failed fetch is tried again sooner, but never often: it is somebody's free service.
            every_s = 60 * settings.every_minutes if settings is not None else _DAY_S
            self._wake.wait(every_s if self.trouble is None else AGAIN_S)
            self._wake.clear()

    def _fetch(self) -> None:
        settings = self.settings
        url = _asked(settings).url if settings is not None else None
        if url is None:
            return
        headers = {"Accept": "application/json"}
        try:
            document = fetch(url, headers, limit_s=FETCH_LIMIT_S, most_bytes=MOST_BYTES + 1)
        except FetchFault as fault:
            self._failed(str(fault))
            return
        self._read(document)

    def _failed(self, why: str) -> None:
        if why != self.trouble:
            log.warning("No new forecast.", extra=facts(why=why))
        self.trouble = why
