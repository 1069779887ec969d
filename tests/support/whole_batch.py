"""A whole batch on an invented farm, from the empty box to months after: 115 meat chicks in a box
on a porch, two lamps and a plate, split on day 16 into a second box, moved out late, on day 30;
the probes unplugged, and nothing more.

Spring, nights of 0 to 9 degC and days of 9 to 20. The grower sets lamps and lid twice a day by the
thermometer, a little wrong each time, feeds with the lid open, and answers no message. Used by the
tests and the benchmark; every figure is invented."""

import json
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from math import cos, expm1, pi
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("America/Chicago")
HATCHED = date(2026, 4, 1)
SPLIT_DAY, OUT_DAY = 16, 30  # days of age
EVERY_S = 300.0
TIME_CONSTANT_S = 34 * 60.0
TARGETS_F = (95.0, 90.0, 85.0, 80.0, 75.0)
SITE = """\
[site]
name = "Hillside"
timezone = "America/Chicago"
units = "fahrenheit"
[[site.probes]]
name = "shade"
topic = "b/outside"
place = "outside"
"""
BOX = """\
[[brooders]]
name = "{name}"
length_m = {length_m}
width_m = 1.5
height_m = 0.56
cover = "plywood"
  [[brooders.probes]]
  name = "floor"
  topic = "b/{name}/floor"
  place = "floor"
  [[brooders.probes]]
  name = "far floor"
  topic = "b/{name}/far"
  place = "floor"
  [[brooders.probes]]
  name = "under west lamp"
  topic = "b/{name}/west"
  place = "under-heat"
  [[brooders.heat]]
  name = "west lamp"
  kind = "lamp"
  watts = 250
  [[brooders.heat]]
  name = "east lamp"
  kind = "lamp"
  watts = 250
  [[brooders.heat]]
  name = "plate"
  kind = "plate"
  watts = 100
"""
CONTACT = """\
[[contacts]]
name = "phone"
url = "json://127.0.0.1:9/x"
"""
FILE = (
    SITE + BOX.format(name="porch", length_m=2.4) + BOX.format(name="shed", length_m=1.8) + CONTACT
)


def at(day: int, clock: str = "00:00") -> float:
    """Unix time of a local time on a day of age."""
    local = datetime.combine(HATCHED + timedelta(days=day), time.fromisoformat(clock), ZONE)
    return local.timestamp()


def ledger() -> list[dict[str, Any]]:
    """What the grower writes down."""
    hatch = HATCHED.isoformat()
    bird = {"hatched": hatch, "kind": "broiler"}
    deaths = ((2, 1), (3, 1), (4, 2), (6, 1), (11, 1))
    rows = [_row(1, "11:00", "placed", "porch", count=115, **bird)]
    rows += [_row(day, "06:40", "loss", "porch", count=count) for day, count in deaths]
    rows += [
        _row(SPLIT_DAY, "10:00", "moved", "porch", count=54, note="into the shed"),
        _row(SPLIT_DAY, "10:05", "placed", "shed", count=54, **bird),
        _row(23, "06:50", "loss", "shed", count=1, note="leg"),
        _row(OUT_DAY, "11:00", "end", None),
    ]
    return rows


def _row(day: int, clock: str, entry: str, box: str | None, **more: Any) -> dict[str, Any]:
    where = {} if box is None else {"brooder": box}
    return {"at": _iso(at(day, clock)), "entry": entry, **where, **more}


def lines(seed: int = 1, *, months_after: int = 0) -> Iterator[str]:
    """The batch as journal lines, in time order: from two days before the hatch until the birds
    have been out for two days, then (probes unplugged) nothing but what `months_after` adds."""
    rows = ledger()
    at_row = [datetime.fromisoformat(row["at"]).timestamp() for row in rows]
    for when, topic, temp_c in readings(seed):
        while at_row and at_row[0] <= when:
            at_row.pop(0)
            yield json.dumps(rows.pop(0))
        payload = f"{round(temp_c * 16) / 16:.4f}"
        yield json.dumps({"at": _iso(when), "topic": topic, "payload": payload})
    if months_after:
        later = at(OUT_DAY + 30 * months_after, "12:00")
        yield json.dumps(
            {"at": _iso(later), "entry": "note", "brooder": "porch", "note": "still empty"}
        )


def readings(seed: int) -> Iterator[tuple[float, str, float]]:
    """What the probes publish: Unix time, topic, degC."""
    dice = Random(seed)
    boxes = {
        "porch": _Box(
            dice, from_at=at(0, "20:00"), to_at=at(OUT_DAY, "14:00"), dead=at(9, "02:10")
        ),
        "shed": _Box(
            dice, from_at=at(SPLIT_DAY - 1, "18:00"), to_at=at(OUT_DAY, "14:00"), dead=None
        ),
    }
    weather = _Weather(dice)
    now, end = at(-1, "12:00"), at(OUT_DAY + 2, "12:00")
    while now < end:
        outside = weather.outside_c(now)
        yield now, "b/outside", outside + dice.gauss(0, 0.05)
        for number, (name, box) in enumerate(boxes.items()):
            if now >= box.to_at + 3600.0:
                continue  # unplugged with the box
            for topic, temp_c in box.live(now, outside, weather.seen_c):
                yield now + 1.0 + number, f"b/{name}/{topic}", temp_c + dice.gauss(0, 0.04)
        now += EVERY_S


class _Weather:
    """A spring that gets warmer, days that differ."""

    def __init__(self, dice: Random) -> None:
        self._days = [(dice.gauss(0, 2.0), dice.uniform(2.5, 6.5)) for _ in range(60)]
        self.seen_c: dict[str, float] = {"day": 10.0, "night": 5.0}

    def outside_c(self, now: float) -> float:
        local = datetime.fromtimestamp(now, ZONE)
        hours = local.hour + local.minute / 60
        day = (local.date() - HATCHED).days + 2
        share = hours / 24
        (mean_0, swing_0), (mean_1, swing_1) = self._days[day], self._days[day + 1]
        mean = mean_0 + share * (mean_1 - mean_0)
        swing = swing_0 + share * (swing_1 - swing_0)
        here = 7.5 + 0.14 * day + mean - swing * cos(2 * pi * (hours - 4) / 24)
        part = "day" if 8 <= hours < 20 else "night"
        self.seen_c[part] += (here - self.seen_c[part]) * EVERY_S / 20000.0
        return here


class _Box:
    """One heat store. A thermostat has one lamp, and holds what that can; morning and evening the
    grower sets the rest to what the coming half of the day seems to need, and opens the lid."""

    def __init__(self, dice: Random, *, from_at: float, to_at: float, dead: float | None) -> None:
        self._dice, self.from_at, self.to_at, self._dead_at = dice, from_at, to_at, dead
        self._rest_k = 0.0
        self._floor_c: float | None = None
        self._set_for = ""
        self._lid_open_s = 0.0
        self._wander = [0.0, 0.0]
        self._spot_k = 0.0

    def live(
        self, now: float, outside: float, seen_c: dict[str, float]
    ) -> Iterator[tuple[str, float]]:
        """Moves on to `now`; what its probes read."""
        if self._floor_c is None:
            self._floor_c = outside
        local = datetime.fromtimestamp(now, ZONE)
        warm = self.from_at <= now < self.to_at
        set_c = self._set(local, seen_c) if warm else outside
        for _ in range(5):
            lamp_k = max(0.0, min(12.0, 6.0 + 6.0 * (set_c - self._floor_c))) if warm else 0.0
            dead = self._dead_at is not None and 0 <= now - self._dead_at < 3000.0
            rest_k = self._rest_k * (0.5 if dead else 1.0) if warm else 0.0
            open_s = min(self._lid_open_s, EVERY_S / 5)
            self._lid_open_s -= open_s
            rise_k = (lamp_k + rest_k) * (1.0 - 0.4 * open_s / (EVERY_S / 5))
            goal_c = outside + rise_k
            self._floor_c += (goal_c - self._floor_c) * -expm1(-EVERY_S / 5 / TIME_CONSTANT_S)
            spot_k = 9.0 if warm and not dead else 0.0
            self._spot_k += (spot_k - self._spot_k) * -expm1(-EVERY_S / 5 / 120.0)
        for i in (0, 1):
            self._wander[i] = 0.6 * self._wander[i] + self._dice.gauss(0, 0.12)
        yield "floor", self._floor_c + self._wander[0]
        yield "far", self._floor_c - 0.5 + self._wander[1]
        yield "west", self._floor_c + self._spot_k

    def _set(self, local: datetime, seen_c: dict[str, float]) -> float:
        """What the thermostat is set to: a step down is made in the morning."""
        day = local.hour >= 8 and local.hour < 20
        week = max(0, (local - timedelta(hours=8)).date().toordinal() - HATCHED.toordinal()) // 7
        set_c = (TARGETS_F[min(week, 4)] - 32) / 1.8 + 0.4
        key = f"{(local - timedelta(hours=8)).date()}{day}"
        if key != self._set_for:
            self._set_for = key
            need_k = set_c - seen_c["day" if day else "night"] + self._dice.gauss(0.0, 1.0)
            self._rest_k = max(0.0, min(need_k - 6.0, 22.0))
            self._lid_open_s = self._dice.uniform(120, 480)
        return set_c


def _iso(when: float) -> str:
    return datetime.fromtimestamp(round(when), ZONE).isoformat()
