"""Which times stand under a picture, and how they are written. Called by `panels`."""

from monitor.review.ink import Spec
from monitor.review.local_axis import LocalAxis
from monitor.review.scene import Scene, Stretch

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
