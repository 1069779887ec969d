"""A time axis in the site's local time, right in nights of 23 and 25 hours. Called by `chart`.

Vega knows UTC and the viewer's zone, and a phone may be in another zone than the box. So the chart
draws on UTC moved by the site's offset at the start of the span (ticks then fall on local hours,
also in a zone of half hours), and every label adds what the offset has changed by since."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from monitor.brooding.calendar import midnight
from monitor.review.ink import Spec
from monitor.review.scene import Scene, Stretch

_HOUR_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalAxis:
    """Positions (ms for Vega) and label expressions of one span."""

    start: float
    stop: float
    zone: ZoneInfo

    def position(self, at: float) -> float:
        return round((at + self._offset_s(self.start)) * 1000)

    @property
    def local(self) -> str:
        """A Vega expression's name for local ms of `value`, to be filled by `format`."""
        text = "toNumber({value})"  # an axis hands over a Date, to which + would append text
        for at, change_s in self._changes():
            text += f" + ({{value}} >= {self.position(at):.0f} ? {change_s * 1000:.0f} : 0)"
        return f"({text})"

    def show(self, value: str, form: str) -> str:
        """A Vega expression: `value` (an expression of a position) as local time in a d3 format."""
        return f"utcFormat({self.local.format(value=value)}, '{form}')"

    @property
    def ends(self) -> list[float]:
        return [self.position(self.start), self.position(self.stop)]

    def hours(self, every: int) -> list[float]:
        """Positions of the local hours 0, every, 2*every, ... within the span."""
        ticks = []
        at = self.start - (self.start % 900)
        while at <= self.stop:
            there = datetime.fromtimestamp(at, self.zone)
            if at >= self.start and there.minute == 0 and there.hour % every == 0:
                ticks.append(self.position(at))
            at += 900
        return ticks

    def days(self, every: int = 1) -> list[float]:
        """Positions of local midnights within the span, each `every`-th from the first on."""
        day = datetime.fromtimestamp(self.start, self.zone).date()
        found = []
        while (at := midnight(day, self.zone)) <= self.stop:
            if at >= self.start:
                found.append(self.position(at))
            day += timedelta(days=1)
        return found[::every]

    def _offset_s(self, at: float) -> float:
        offset = datetime.fromtimestamp(at, self.zone).utcoffset()
        return offset.total_seconds() if offset else 0.0

    def _changes(self) -> list[tuple[float, float]]:
        """(when, by how much) the zone's offset changes within the span."""
        found = []
        at, before = self.start, self._offset_s(self.start)
        while at < self.stop:
            following = min((at // _HOUR_S + 1) * _HOUR_S, self.stop)
            if (now := self._offset_s(following)) != before:
                found.append((following, now - before))
                before = now
            at = following
        return found


_HOUR_PX, _DAY_PX = 36, 42  # `18:00` and `11 Feb` at the small size, with air


def ticks(scene: Scene, axis: LocalAxis, *, wide_px: int, moving: bool) -> Spec:
    """Axis settings. A picture that zooms leaves the choice to Vega, which knows the span shown;
    the labels are in local time either way."""
    hour, day = axis.show("datum.value", "%H:%M"), axis.show("datum.value", "%-d %b")
    if moving:
        return {
            "labelExpr": f"{hour} == '00:00' ? {day} : {hour}",
            "labelOverlap": True,
            "tickCount": max(wide_px // 60, 3),
        }
    fixed: Spec = {"labelOverlap": False, "labelFlush": False}
    if scene.stretch is Stretch.NIGHT:
        hours = (scene.stop - scene.start) / 3600
        every = _first(
            [n for n in (1, 2, 3, 4, 6) if hours / n * _HOUR_PX <= wide_px], otherwise=12
        )
        label = f"{hour} == '00:00' ? [{hour}, {day}] : {hour}"
        return {**fixed, "values": axis.hours(every), "labelExpr": label}
    midnights = axis.days()
    every = _first(
        [n for n in (1, 2, 3, 7, 14) if len(midnights) / n * _DAY_PX <= wide_px], otherwise=28
    )
    if scene.ages:
        at, age = scene.ages[0]
        day = f"[{day}, 'day ' + (round((datum.value - {axis.position(at):.0f}) / 864e5) + {age})]"
    return {**fixed, "values": midnights[::every], "labelExpr": day}


def _first(fitting: list[int], *, otherwise: int) -> int:
    return fitting[0] if fitting else otherwise
