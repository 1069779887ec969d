"""Fetches the weather forecast at an interval and keeps the last good one, also over a restart.

A thread of its own: a weather service that hangs must not be felt anywhere else."""

import json
import logging
import threading
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from monitor.intake.forecast_json import MOST_BYTES, ForecastFault, read_forecast
from monitor.service.logs import facts
from monitor.settings.file_model import ForecastSettings
from monitor.site import Site
from monitor.tell.fetch import FetchFault, fetch
from monitor.units import Unit

log = logging.getLogger(__name__)
FETCH_LIMIT_S = 20.0


class Forecast(NamedTuple):
    """The coming outside temperatures (Unix seconds, degC), and when they were had."""

    got_at: float
    pairs: tuple[tuple[float, float], ...]


class Forecaster:
    """Keeps `newest` up to date until stopped. `hear` takes what comes by MQTT instead."""

    def __init__(
        self,
        settings: ForecastSettings,
        site: Site,
        keep: Path,
        now: Callable[[], float],
        came: Callable[[], None],
    ) -> None:
        self._settings = settings
        self._site = site
        self._keep = keep
        self._now = now
        self._came = came
        self._stop = threading.Event()
        self.newest: Forecast | None = self._kept()
        self.trouble: str | None = None  # why the last try failed, in words

    def start(self) -> None:
        """Says what was kept, and begins to fetch; with a topic there is nothing to fetch."""
        if self.newest is not None:
            self._came()
        if self._settings.url is not None:
            threading.Thread(target=self._run, name="forecast", daemon=True).start()

    def stop(self) -> None:
        """Ends the fetching; a fetch under way is left to its time limit."""
        self._stop.set()

    def hear(self, document: bytes) -> None:
        """One document, however it came. A wrong one is named in the log and changes nothing."""
        try:
            pairs = read_forecast(
                document,
                times=self._settings.times,
                temperatures=self._settings.temperatures,
                unit=Unit(self._settings.unit),
                zone=self._site.timezone,
            )
        except ForecastFault as fault:
            self._failed(str(fault))
            return
        self.trouble = None
        self.newest = Forecast(self._now(), pairs)
        self._came()
        try:
            self._keep.write_text(json.dumps(self.newest), encoding="utf-8")
        except OSError as error:
            self._failed(f"cannot be kept over a restart: {error.strerror}")

    def words(self) -> str:
        """How it stands, for the page."""
        if self.trouble is not None:
            return self.trouble
        return "fetched" if self.newest is not None else "not fetched yet"

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._fetch()
            except Exception:
                log.exception("The forecast could not be taken.")
                self._failed("a fault of the monitor, see its log")
            # A failed fetch is tried again sooner, but never often: it is somebody's free service.
            self._stop.wait(60 * (self._settings.every_minutes if self.trouble is None else 10))

    def _fetch(self) -> None:
        url = self._settings.url.get_secret_value() if self._settings.url else ""
        headers = {"Accept": "application/json"}
        try:
            document = fetch(url, headers, limit_s=FETCH_LIMIT_S, most_bytes=MOST_BYTES + 1)
        except FetchFault as fault:
            self._failed(str(fault))
            return
        self.hear(document)

    def _failed(self, why: str) -> None:
        if why != self.trouble:
            log.warning("No new forecast.", extra=facts(why=why))
        self.trouble = why

    def _kept(self) -> Forecast | None:
        try:
            got_at, pairs = json.loads(self._keep.read_text(encoding="utf-8"))
            return Forecast(float(got_at), tuple((float(a), float(t)) for a, t in pairs))
        except (OSError, ValueError, TypeError):
            return None
