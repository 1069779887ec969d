"""A small service for the page's tests: it shows what it is given and keeps what is submitted.

api = FakeApi(site(), status(brooder("porch", temp_c=31.8)))
api.show(status(...))          # as a newer reading would
api.submitted                  # entries, in order
api.objects_to = "why not"     # the next submit raises Objection
"""

import asyncio
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from support.birds import chicks_in

from monitor import __version__
from monitor.brooding.calendar import TargetStep
from monitor.brooding.ledger import Ledger, fold
from monitor.brooding.objection import Objection
from monitor.events import AlarmName, Cause, Entry, EntryKind, Facts, Priority
from monitor.intake.unclaimed import Unclaimed
from monitor.service.live_set_up import LiveSetUp
from monitor.site import Brooder, HeatSource, Place, Probe, Site
from monitor.tell.missing import Missing
from monitor.tell.wording.tonight_words import tonight
from monitor.tell.wording.words import Voice
from monitor.thermal.coming_night import Z80
from monitor.thermal.diagnosis import Interval, Outlook
from monitor.units import Unit
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import (
    AlarmStatus,
    BatchStatus,
    BrooderStatus,
    NightStatus,
    ProbeStatus,
    SiteStatus,
)

EXAMPLE = Path(__file__).parents[2] / "config" / "brooder.toml"
NIGHT = 1770710400.0  # 2026-02-10 02:00 in Chicago


def site(**changes: Any) -> Site:
    """Hillside with one box on the porch, two lamps, a floor and a lamp probe, one outside."""
    porch = Brooder(
        name="porch",
        length_m=1.5,
        width_m=1.5,
        height_m=0.56,
        cover="plywood",
        probes=(
            Probe(
                key="porch/floor",
                brooder="porch",
                name="floor",
                topic="brooder/porch/floor",
                place=Place.FLOOR,
            ),
            Probe(
                key="porch/west",
                brooder="porch",
                name="under west lamp",
                topic="brooder/porch/west",
                place=Place.UNDER_HEAT,
            ),
        ),
        heat=(
            HeatSource(name="west lamp", kind="lamp", watts=250),
            HeatSource(name="east lamp", kind="lamp", watts=250),
        ),
    )
    whole = Site(
        name="Hillside",
        timezone=ZoneInfo("America/Chicago"),
        units=Unit.FAHRENHEIT,
        brooders=(porch,),
        probes=(
            Probe(
                key="site/shade",
                brooder=None,
                name="shade",
                topic="brooder/outside",
                place=Place.OUTSIDE,
            ),
        ),
    )
    return replace(whole, **changes)


def probe(
    key: str, temp_c: float | None, at: float | None = NIGHT - 12, **changes: Any
) -> ProbeStatus:
    """One probe; its place is told from its name."""
    name = key.split("/")[1]
    place = {"floor": Place.FLOOR, "west": Place.UNDER_HEAT, "shade": Place.OUTSIDE}.get(
        name, Place.FLOOR
    )
    given: dict[str, Any] = {
        "key": key,
        "name": name,
        "place": place,
        "temp_c": temp_c,
        "at": at,
        "age_s": None if at is None else NIGHT - at,
        "silent": False,
        "fault": None,
        "out_of_service": False,
    }
    return ProbeStatus(**{**given, **changes})


def batch(**changes: Any) -> BatchStatus:
    """98 of 100 meat chicks, nine days old."""
    given: dict[str, Any] = {
        "kind": "broiler",
        "hatched": date(2026, 2, 1),
        "age_days": 9.1,
        "head_count": 98,
        "placed": 100,
        "lost": 2,
        "started_at": NIGHT - 8 * 86400,
    }
    return BatchStatus(**{**given, **changes})


def brooder(name: str = "porch", temp_c: float | None = 31.8, **changes: Any) -> BrooderStatus:
    """A box that is well, nine hours in band."""
    given: dict[str, Any] = {
        "name": name,
        "out_of_service": False,
        "temp_c": temp_c,
        "temp_at": NIGHT - 12,
        "hottest_c": temp_c,
        "coldest_c": temp_c,
        "target_c": 32.2,
        "low_c": 29.4,
        "high_c": 35.0,
        "chill_c": 26.6,
        "overheat_c": 37.8,
        "in_band": True if temp_c is not None else None,
        "in_band_since": NIGHT - 9 * 3600 if temp_c is not None else None,
        "trend_c_per_h": 0.1,
        "minutes_to_chill": None,
        "diagnosis": None,
        "outlook": outlook(),
        "outlook_at": NIGHT - 600,
        "outside_c": -9.0,
        "batch": batch(),
        "next_step": TargetStep(
            at=NIGHT + 4 * 86400 + 22 * 3600, from_c=32.2, to_c=29.4, gradual=False
        ),
        "night": NightStatus(
            since_at=NIGHT - 8 * 3600,
            low_c=31.1,
            low_at=NIGHT - 3600,
            high_c=33.0,
            high_at=NIGHT - 7 * 3600,
            below_s=0.0,
            above_s=0.0,
            unseen_s=0.0,
        ),
        "alarms": (),
        "probes": (probe(f"{name}/floor", temp_c), probe(f"{name}/west", 41.0)),
        "estimate_fault": None,
    }
    return BrooderStatus(**{**given, **changes})


def outlook(**changes: Any) -> Outlook:
    """A cold night that the box will hold."""
    given: dict[str, Any] = {
        "lowest_c": Interval(30.9, 29.8, 31.9),
        "lowest_at": NIGHT + 4 * 3600,
        "leaves_band_at": None,
        "chance": 0.12,
        "missing_watts": 0.0,
        "outside_low_c": -14.0,
        "outside_from": "yesterday and the cooling so far",
        "learned": 0.8,
        "mend": (),
    }
    given |= changes
    ways = ((1.0, course(given["lowest_c"], given["lowest_at"])),)
    return Outlook(**{"begins": (NIGHT, 31.8), "ways": ways, **given})


def course(lowest: Interval, lowest_at: float) -> tuple[tuple[float, float], ...]:
    """From a floor at 31.8 degC straight down to the lowest, then level until seven."""
    found = []
    for step in range(1, 21):
        share = min(1.0, step * 900.0 / (lowest_at - NIGHT))
        mid_c = 31.8 + share * (lowest.mid - 31.8)
        found.append((mid_c, share * (lowest.high - lowest.low) / 2 / Z80))
    return tuple(found)


def alarm(
    name: AlarmName = AlarmName.HEAT_LOSS,
    *,
    box: str | None = "porch",
    priority: Priority = Priority.URGENT,
    state: AlarmState = AlarmState.UNACKNOWLEDGED,
    since: float = NIGHT - 300,
    facts: Facts | None = None,
    **changes: Any,
) -> AlarmStatus:
    """One alarm that nobody has answered."""
    key = f"{box or 'site'}/{name}/{int(since)}"
    given: dict[str, Any] = {
        "occurrence": key,
        "folded": False,
        "incident": key,
        "alarm": name,
        "brooder": box,
        "probe": None,
        "contact": None,
        "priority": priority,
        "cause": Cause.HEAT_SOURCE if name is AlarmName.HEAT_LOSS else Cause.UNKNOWN,
        "state": state,
        "since": since,
        "raised_at": since,
        "extreme_c": None,
        "by": None,
        "acknowledged_at": None,
        "shelved_until": None,
        "shelved_note": None,
        "facts": facts or {},
    }
    return AlarmStatus(**{**given, **changes})


def failing_porch() -> BrooderStatus:
    """The west lamp has died: still in band, falling."""
    facts: Facts = {
        "temp_c": 30.4,
        "target_c": 32.2,
        "low_c": 29.4,
        "chill_c": 26.6,
        "rate_c_per_h": -5.2,
        "minutes_to_chill": 44,
        "minutes_to_chill_low": 35,
        "minutes_to_chill_high": 58,
        "since": NIGHT - 900,
        "source": "west lamp",
        "source_sure": True,
        "source_watts": 250,
        "outside_c": -9.0,
    }
    return brooder(
        temp_c=30.4,
        trend_c_per_h=-5.2,
        minutes_to_chill=Interval(44, 35, 58),
        alarms=(alarm(facts=facts),),
        outlook=outlook(
            lowest_c=Interval(17.0, 14.0, 20.0),
            leaves_band_at=NIGHT + 1500,
            chance=0.99,
            missing_watts=240,
            mend=("a second layer over the cover", "about 240 W more heat"),
        ),
    )


def status(*boxes: BrooderStatus, at: float = NIGHT, **changes: Any) -> SiteStatus:
    """Everything, at two in the night."""
    given: dict[str, Any] = {
        "at": at,
        "clock_sure": True,
        "brooders": boxes or (brooder(),),
        "probes": (probe("site/shade", -9.0),),
        "alarms": (),
    }
    return SiteStatus(**{**given, **changes})


def placed() -> list[Entry]:
    """The ledger behind `batch()`."""
    day = 86400.0
    return [
        chicks_in(NIGHT - 8 * day, number=1, hatched="2026-02-01", by="page"),
        Entry(
            at=NIGHT - 6 * day,
            entry=EntryKind.LOSS,
            brooder="porch",
            number=2,
            count=2,
            note="piled in the corner",
            by="page",
        ),
        Entry(
            at=NIGHT - 5 * day,
            entry=EntryKind.NOTE,
            brooder="porch",
            number=3,
            note="new litter",
            by="page",
        ),
    ]


def answered(shown: SiteStatus, entry: Entry) -> SiteStatus:
    """What the watch makes of an answer."""
    boxes = tuple(
        replace(
            box,
            alarms=tuple(
                replace(one, state=AlarmState.ACKNOWLEDGED, by=entry.by, acknowledged_at=entry.at)
                if (one.brooder, one.alarm) == (entry.brooder, entry.alarm) and one.active
                else one
                for one in box.alarms
            ),
        )
        for box in shown.brooders
    )
    return replace(shown, brooders=boxes)


def acknowledge(box: str = "porch", name: AlarmName = AlarmName.HEAT_LOSS) -> Entry:
    """What a one-use link does."""
    return Entry(at=NIGHT, entry=EntryKind.ACKNOWLEDGE, brooder=box, alarm=str(name), by="my phone")


class FakeLinks(dict[str, tuple[str, ...]]):
    """Token -> occurrences."""

    def __init__(self, api: "FakeApi") -> None:
        super().__init__()
        self._api = api

    def occurrences(self, token: str) -> tuple[str, ...]:
        try:
            return self[token]
        except KeyError:
            raise Objection("This link is not whole. Open it again from the message.") from None

    async def answer(self, token: str) -> list[str]:
        alarms = self._api.status().all_alarms
        found = [a for a in alarms if a.occurrence in self.occurrences(token)]
        for one in found:
            await self._api.submit(acknowledge(one.brooder or "", one.alarm))
        return [f"{one.brooder}: {one.alarm}" for one in found]


class FakeApi:
    """Answers as service.service_api.ServiceApi."""

    def __init__(
        self,
        what: Site | None = None,
        shown: SiteStatus | None = None,
        *,
        journal_path: Path = Path("no-journal.db"),
    ) -> None:
        self.site = what or site()
        self.journal_path = journal_path
        self.entries: list[Entry] = placed()  # written before
        self.submitted: list[Entry] = []
        self.objects_to: str | None = None
        self.disk_takes = True
        self.refused_messages: list[Mapping[str, Any]] = []
        self.settings: list[tuple[str, str]] = [("site.name", "Hillside")]
        self.missing_tonight: list[Missing] = []
        self.links = FakeLinks(self)
        self._folder = tempfile.TemporaryDirectory()
        self.config = Path(self._folder.name) / "brooder.toml"
        shutil.copy(EXAMPLE, self.config)
        self.unclaimed = Unclaimed()
        self.set_up = LiveSetUp(  # the real one, of a file of its own
            self.config,
            unclaimed=self.unclaimed,
            site=lambda: self.site,
            status=self.status,
            listen=lambda: None,
            reload=self._reload,
        )
        self.reload_refuses: list[str] = []
        self.tried: list[str | None] = []
        self.forecast: str | None = "12 min old: lowest of the next 24 h 28.4 °F at 05:00"
        self.forecast_lows: list[float] = []
        self.asked: list[tuple[str, float | None, str | None, float]] = []
        self._shown = shown or status()
        self._newer = asyncio.Event()

    def show(self, shown: SiteStatus) -> None:
        """A newer status. From a thread: loop.call_soon_threadsafe(api.show, ...)."""
        self._shown = shown
        self._newer.set()

    async def _reload(self) -> dict[str, Any]:
        return {"wrong": self.reload_refuses, "waits_for_a_start": False}

    def status(self) -> SiteStatus:
        return self._shown

    async def changed(self, wait_s: float) -> bool:
        try:
            await asyncio.wait_for(self._newer.wait(), wait_s)
        except TimeoutError:
            return False
        self._newer.clear()
        return True

    async def submit(self, entry: Entry) -> int:
        if self.objects_to is not None:
            raise Objection(self.objects_to)
        number = len(self.entries) + len(self.submitted) + 1
        self.submitted.append(replace(entry, number=number))
        if entry.entry is EntryKind.ACKNOWLEDGE:
            self.show(answered(self._shown, entry))
        return number

    def on_disk(self, number: int) -> bool:
        return self.disk_takes or number <= len(self.entries)

    async def kept(self, number: int) -> bool:
        return self.on_disk(number)

    async def ledger(self) -> Ledger:
        return fold([*self.entries, *self.submitted])

    async def tonight(
        self, brooder: str, *, low_c: float | None, cover: str | None, extra_watts: float
    ) -> Mapping[str, Any]:
        self.asked.append((brooder, low_c, cover, extra_watts))
        lines = tonight(outlook(), Voice(self.site), NIGHT, NIGHT - 12)
        return {"brooder": brooder, "lines": list(lines), "too_cold": False}

    async def try_contacts(self, name: str | None) -> list[Mapping[str, Any]]:
        self.tried.append(name)
        return [
            {"contact": "my phone", "ok": True, "why": "", "took_s": 0.4, "trial": None},
            {
                "contact": "barn siren",
                "ok": False,
                "why": "no answer within 20 s",
                "took_s": 20.0,
                "trial": None,
            },
        ]

    def refused(self) -> list[Mapping[str, Any]]:
        return self.refused_messages

    def watcher(self) -> Mapping[str, Any]:
        return {
            "started_at": NIGHT - 3 * 86400,
            "broker": "the built-in broker listens on 127.0.0.1:1883",
            "broker_connected": True,
            "without_estimate": [],
            "journal_ok": True,
            "last_commit_at": NIGHT - 4,
            "mirror": "not set up",
            "forecast": self.forecast,
            "forecast_learned": {"porch": 0.5},
            "forecast_lows": self.forecast_lows,
            "contacts": [
                {
                    "name": "my phone",
                    "last_ok_at": NIGHT - 19 * 3600,
                    "last_try_at": NIGHT - 19 * 3600,
                    "last_why": "",
                    "pending": 0,
                    "trial_answered_s": 12.0,
                }
            ],
            "version": __version__,
        }

    def missing(self) -> list[Missing]:
        return self.missing_tonight

    def settings_shown(self) -> list[tuple[str, str]]:
        return self.settings
