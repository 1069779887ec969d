"""The one chart description: a Scene as Vega-Lite. Called by the review, the page and the alert.

Panels from top to bottom share one time axis: the floor in its band; what was wrong and what the
grower wrote; probes elsewhere in the box; outside. The floor has its own scale: with a frosty night
on the same one, the three degrees that matter would be a few pixels.

The same description serves a phone, paper and a screen; `wide_px` is the width of the drawing
area and `moving` adds zoom and hover (and leaves ticks to Vega, since the span changes)."""

import textwrap
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from monitor.review.exposure import Trace
from monitor.review.ink import DARK, FONT, LIGHT, SMALL_PX, TITLE_PX, Ink, Palette
from monitor.review.labels import apart
from monitor.review.lanes import lanes
from monitor.review.local_axis import LocalAxis
from monitor.review.scene import Line, Scene, Stretch
from monitor.review.thinning import thinned
from monitor.site import Place
from monitor.units import from_celsius, sign, step_from_celsius

PHONE_PX = 264  # 390 CSS pixels less the scale, the names and a margin
PAPER_PX = 560  # fits the width of a page in portrait
SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
Spec = dict[str, Any]
_BESIDE_PX = 110  # scale and names, left and right of the drawing
_TITLE_LETTER_PX, _LETTER_PX = 7.3, 6.0  # mean advance of FONT at the two sizes
_NAME_LETTERS = 12  # what fits beside the drawing on a phone


class _Name(NamedTuple):
    """What stands beside a line's end, and where it would like to stand."""

    text: str
    value: float
    colour: str
    shape: str | None = None


def describe(
    scene: Scene, *, wide_px: int = PHONE_PX, moving: bool = False, dark: bool = False
) -> Spec:
    """The Vega-Lite description of a scene."""
    axis = LocalAxis(start=scene.start, stop=scene.stop, zone=scene.zone)
    ink = DARK if dark else LIGHT
    draft = _Draft(scene, axis, wide_px, moving, ink)
    panels = [draft.floor()]
    if rows := lanes(scene, axis, draft.x(), ink, moving=moving):
        panels.append(draft.framed(rows))
    elsewhere = [x for x in scene.lines if x.place in (Place.UNDER_HEAT, Place.COOL_END)]
    if scene.stretch is Stretch.NIGHT and elsewhere:
        panels.append(draft.others(elsewhere, "elsewhere in the box", ink.elsewhere, 80))
    if outside := [x for x in scene.lines if x.place is Place.OUTSIDE]:
        panels.append(draft.others(outside, "outside", ink.outside, 56))
    panels[-1] = draft.with_time_axis(panels[-1])
    spec: Spec = {
        "$schema": SCHEMA,
        "description": " ".join([scene.title + ".", *scene.summary]),
        "title": {
            "text": _wrapped([scene.title], wide_px + _BESIDE_PX, _TITLE_LETTER_PX),
            "subtitle": _wrapped(scene.summary, wide_px + _BESIDE_PX, _LETTER_PX),
        },
        "vconcat": panels,
        "resolve": {"scale": {"x": "shared", "color": "independent"}},
        "spacing": 8,
        "padding": 8,
        "config": _config(ink),
    }
    if moving:  # picture.js sets it; null is the whole span
        spec["params"] = [{"name": "span", "value": None}]
        spec["usermeta"] = {"whole": axis.ends}
    return spec


class _Draft:
    """One picture in the making: holds what all panels need."""

    def __init__(
        self, scene: Scene, axis: LocalAxis, wide_px: int, moving: bool, ink: Palette
    ) -> None:
        self.scene, self.axis, self.wide_px, self.moving, self.ink = (
            scene,
            axis,
            wide_px,
            moving,
            ink,
        )
        self.columns = wide_px * 2 if moving else wide_px

    def floor(self) -> Spec:
        """Band, target, chill limit, floor probes, losses as lines through."""
        floors = [x for x in self.scene.lines if x.place is Place.FLOOR]
        treads = self._treads()
        values = [(tread["low"], tread["high"]) for tread in treads if tread["low"] is not None]
        low, high = self._reach(floors, [v for pair in values for v in pair])
        scale = {"domain": [low, high], "nice": False, "zero": False}
        y = {"type": "quantitative", "scale": scale, "title": None}
        layers: list[Spec] = [
            {
                "data": {"values": treads},
                "mark": {
                    "type": "area",
                    "interpolate": "step-after",
                    "color": self.ink.band,
                    "clip": True,
                },
                "encoding": {"x": self.x(), "y": {"field": "low", **y}, "y2": {"field": "high"}},
            },
            {
                "data": {"values": treads},
                "mark": {
                    "type": "line",
                    "interpolate": "step-after",
                    "color": self.ink.quiet,
                    "strokeDash": [1, 3],
                    "strokeWidth": 1.5,
                    "clip": True,
                },
                "encoding": {"x": self.x(), "y": {"field": "target", **y}},
            },
            {
                "data": {"values": treads},
                "mark": {
                    "type": "line",
                    "interpolate": "step-after",
                    "color": self.ink.quiet,
                    "strokeDash": [6, 3, 1, 3],
                    "strokeWidth": 1,
                    "clip": True,
                },
                "encoding": {"x": self.x(), "y": {"field": "chill", **y}},
            },
        ]
        losses = [{"t": self.axis.position(e.at)} for e in self.scene.events if e.what == "loss"]
        if losses:
            layers.append({
                "data": {"values": losses},
                "mark": {"type": "rule", "color": self.ink.text, "strokeWidth": 1, "clip": True},
                "encoding": {"x": self.x()},
            })  # fmt: skip
        names: list[_Name] = []
        if treads and treads[-1]["target"] is not None:
            names.append(_Name("target", treads[-1]["target"], self.ink.quiet))
            if treads[-1]["chill"] > low:
                names.append(_Name("chill limit", treads[-1]["chill"], self.ink.quiet))
        if self.scene.stretch is Stretch.NIGHT:
            layers += self._drawn(floors, self.ink.floor, y, names)
        else:
            layers += self._envelope(floors, self.ink.floor[0].colour, y)
        height = 210
        layers.append(self._names(names, low, high, height, y))
        panel: Spec = {"layer": layers, "width": self.wide_px, "height": height}
        what = "floor" if self.scene.stretch is Stretch.NIGHT else "floor, lowest to highest"
        return self.framed(panel, f"{what}, {sign(self.scene.units)}")

    def others(self, lines: list[Line], what: str, inks: tuple[Ink, ...], height: int) -> Spec:
        """A low panel for probes that have no target."""
        low, high = self._reach(lines, [])
        y = {"type": "quantitative", "title": None,
             "scale": {"domain": [low, high], "nice": False, "zero": False},
             "axis": {"tickCount": 3}}  # fmt: skip
        names: list[_Name] = []
        if self.scene.stretch is Stretch.NIGHT:
            layers = self._drawn(lines, inks, y, names)
        else:
            layers = self._envelope(lines, inks[0].colour, y)
        layers.append(self._names(names, low, high, height, y))
        panel: Spec = {"layer": layers, "width": self.wide_px, "height": height}
        return self.framed(panel, f"{what}, {sign(self.scene.units)}")

    def framed(self, panel: Spec, title: str | None = None) -> Spec:
        """A panel with its name above it and no time axis labels of its own."""
        panel["width"] = self.wide_px
        if title:
            panel["title"] = {"text": title, "fontSize": SMALL_PX, "fontWeight": "bold",
                              "anchor": "start", "frame": "group", "offset": 4}  # fmt: skip
        return panel

    def with_time_axis(self, panel: Spec) -> Spec:
        """The lowest panel carries the hours or days for all."""
        axis = {**self._ticks(), "labels": True, "ticks": True, "domain": True,
                "title": self._time_title(), "titleAnchor": "start", "titleFontWeight": "normal",
                "titleFontSize": SMALL_PX, "titleColor": self.ink.quiet}  # fmt: skip
        for layer in panel["layer"]:
            if "field" in layer.get("encoding", {}).get("x", {}):
                layer["encoding"]["x"] = {**layer["encoding"]["x"], "axis": axis}
        return panel

    def _time_title(self) -> str:
        ticked = self.scene.stretch is Stretch.NIGHT and any(
            bar.acknowledged is not None for bar in self.scene.alarms
        )
        note = "; tick mark: acknowledged" if ticked else ""
        return f"local time, {self.scene.zone.key}{note}"

    def x(self) -> Spec:
        """The shared time axis, without labels."""
        scale: Spec = {"type": "utc", "domain": self.axis.ends, "nice": False}
        if self.moving:
            scale["domainRaw"] = {"expr": "span"}
        return {
            "field": "t",
            "type": "temporal",
            "title": None,
            "scale": scale,
            "axis": {**self._ticks(), "labels": False, "ticks": False, "domain": False},
        }

    def _ticks(self) -> Spec:
        if self.moving:
            local = self.axis.show("datum.value", "%H:%M")
            day = self.axis.show("datum.value", "%-d %b")
            return {"labelExpr": f"{local} == '00:00' ? {day} : {local}", "labelOverlap": True,
                    "tickCount": max(self.wide_px // 60, 3)}  # fmt: skip
        if self.scene.stretch is Stretch.NIGHT:
            hours = (self.scene.stop - self.scene.start) / 3600
            every = next((n for n in (1, 2, 3, 4, 6) if hours / n * 36 <= self.wide_px), 12)
            local = self.axis.show("datum.value", "%H:%M")
            day = self.axis.show("datum.value", "%-d %b")
            label = f"{local} == '00:00' ? [{local}, {day}] : {local}"
            return {"values": self.axis.hours(every), "labelExpr": label, "labelOverlap": False,
                    "labelFlush": False}  # fmt: skip
        days = self.axis.days()
        every = next((n for n in (1, 2, 3, 7, 14) if len(days) / n * 42 <= self.wide_px), 28)
        first = self.scene.ages[0] if self.scene.ages else None
        label = self.axis.show("datum.value", "%-d %b")
        if first is not None:
            zero = self.axis.position(first[0])
            age = f"'day ' + (round((datum.value - {zero:.0f}) / 864e5) + {first[1]})"
            label = f"[{label}, {age}]"
        return {"values": days[::every], "labelExpr": label, "labelOverlap": False,
                "labelFlush": False}  # fmt: skip

    def _treads(self) -> list[Spec]:
        target, rows = self.scene.target, []
        for start, level in zip(target.edges, [*target.target_c, np.nan], strict=False):
            rows.append(self._tread(float(start), float(level), target.band_c, target.harm_c))
        if len(target.target_c):  # the last tread ends where the span does
            last = float(target.target_c[-1])
            rows[-1] = self._tread(float(target.edges[-1]), last, target.band_c, target.harm_c)
        return rows

    def _tread(self, at: float, level: float, band_c: float, harm_c: float) -> Spec:
        if np.isnan(level):
            return {"t": self.axis.position(at), "target": None, "low": None, "high": None,
                    "chill": None}  # fmt: skip
        return {"t": self.axis.position(at), "target": self._temp(level),
                "low": self._temp(level - band_c), "high": self._temp(level + band_c),
                "chill": self._temp(level - harm_c)}  # fmt: skip

    def _drawn(self, lines: list[Line], inks: tuple[Ink, ...], y: Spec,
               names: list[_Name]) -> list[Spec]:  # fmt: skip
        layers: list[Spec] = []
        for number, line in enumerate(lines):
            look = inks[number % len(inks)]
            rows = self._rows(line)
            if not rows:
                continue
            last = [row["v"] for row in rows if row["v"] is not None][-1]
            names.append(_Name(line.name, last, look.colour, look.shape))
            layers.append({
                "data": {"values": rows},
                "mark": {"type": "line", "color": look.colour, "strokeDash": list(look.dash),
                         "strokeWidth": 1.8, "clip": True, "interpolate": "linear",
                         "invalid": "break-paths-show-path-domains"},
                "encoding": {"x": self.x(), "y": {"field": "v", **y}},
            })  # fmt: skip
            layers.append(self._symbols(line, look, number, y))
            if self.moving:
                layers.append(self._hover(rows, line.name, look, y))
        return layers

    def _symbols(self, line: Line, look: Ink, number: int, y: Spec) -> Spec:
        """Some eight symbols along a line, each line's set aside from the others'."""
        span = self.scene.stop - self.scene.start
        wanted = self.scene.start + span * (np.arange(8) + 0.15 + 0.22 * (number % 4)) / 8
        rows = []
        for piece in line.pieces:
            near = np.searchsorted(piece.times, wanted)
            for place in near[(near > 0) & (near < len(piece.times))]:
                rows.append({"t": self.axis.position(float(piece.times[place])),
                             "v": self._temp(float(piece.temps_c[place]))})  # fmt: skip
        return {
            "data": {"values": rows},
            "mark": {"type": "point", "shape": look.shape, "filled": True, "opacity": 1,
                     "color": look.colour, "size": 40, "stroke": self.ink.paper, "strokeWidth": 0.7,
                     "clip": True},
            "encoding": {"x": self.x(), "y": {"field": "v", **y}},
        }  # fmt: skip

    def _hover(self, rows: list[Spec], name: str, look: Ink, y: Spec) -> Spec:
        """Unseen points that show their value and local time when pointed at or tapped."""
        when = self.axis.show("datum.t", "%a %-d %b %H:%M:%S")
        return {
            "data": {"values": [row for row in rows if row["v"] is not None]},
            "transform": [
                {"calculate": when, "as": "when"},
                {"calculate": f"format(datum.v, '.1f') + ' {sign(self.scene.units)}'",
                 "as": "shown"},
            ],
            "mark": {"type": "point", "size": 90, "filled": True, "color": look.colour,
                     "opacity": 0, "clip": True},
            "encoding": {
                "x": self.x(),
                "y": {"field": "v", **y},
                "tooltip": [{"field": "shown", "type": "nominal", "title": name},
                            {"field": "when", "type": "nominal", "title": "at"}],
            },
        }  # fmt: skip

    def _envelope(self, lines: list[Line], colour: str, y: Spec) -> list[Spec]:
        """Lowest to highest of all probes per column: over days a line per probe is a smear, and
        this keeps every extreme too."""
        rows = self._columns(lines)
        layers: list[Spec] = [
            {
                "data": {"values": rows},
                "mark": {"type": "area", "color": colour, "fillOpacity": 0.55, "opacity": 1,
                         "stroke": colour, "strokeWidth": 0.9, "clip": True,
                         "invalid": "break-paths-show-path-domains"},
                "encoding": {"x": self.x(), "y": {"field": "low", **y}, "y2": {"field": "high"}},
            }
        ]  # fmt: skip
        if self.moving:
            when = self.axis.show("datum.t", "%a %-d %b %H:%M")
            layers.append({
                "data": {"values": [row for row in rows if row["low"] is not None]},
                "transform": [{"calculate": when, "as": "when"}],
                "mark": {"type": "rule", "opacity": 0, "strokeWidth": 3, "clip": True},
                "encoding": {
                    "x": self.x(), "y": {"field": "low", **y}, "y2": {"field": "high"},
                    "tooltip": [{"field": "low", "type": "quantitative", "title": "lowest",
                                 "format": ".1f"},
                                {"field": "high", "type": "quantitative", "title": "highest",
                                 "format": ".1f"},
                                {"field": "when", "type": "nominal", "title": "from"}],
                },
            })  # fmt: skip
        return layers

    def _columns(self, lines: list[Line]) -> list[Spec]:
        start, stop = self.scene.start, self.scene.stop
        many = max(int(min(self.columns * 2, (stop - start) / self.scene.hold_s)), 1)
        low, high = np.full(many, np.inf), np.full(many, -np.inf)
        for line in lines:
            for piece in line.pieces:
                trace = piece.between(start, stop)
                column = ((trace.times - start) * (many / (stop - start))).astype(np.int64)
                np.minimum.at(low, column, trace.temps_c)
                np.maximum.at(high, column, trace.temps_c)
        width = (stop - start) / many
        rows: list[Spec] = []
        for number in range(many):
            row: Spec = {"t": self.axis.position(start + number * width), "low": None, "high": None}
            if low[number] <= high[number]:
                row["low"] = self._temp(float(low[number]))
                row["high"] = self._temp(float(high[number]))
            rows.append(row)
        return rows

    def _rows(self, line: Line) -> list[Spec]:
        rows: list[Spec] = []
        for piece in line.pieces:
            thin = thinned(
                piece, start=self.scene.start, stop=self.scene.stop, columns=self.columns
            )
            if not len(thin.times):
                continue
            if rows:  # a null opens the line; it lies in the gap
                rows.append({"t": rows[-1]["t"] + 1, "v": None})
            rows += self._points(thin)
        return rows

    def _points(self, trace: Trace) -> list[Spec]:
        times = np.round((trace.times + self.axis.position(0) / 1000) * 1000)
        temps = np.round(self._many(trace.temps_c), 2)
        return [{"t": t, "v": v} for t, v in zip(times.tolist(), temps.tolist(), strict=True)]

    def _many(self, temps_c: "np.ndarray[Any, np.dtype[np.float64]]") -> Any:
        zero = from_celsius(0.0, self.scene.units)
        return temps_c * step_from_celsius(1.0, self.scene.units) + zero

    def _names(self, names: list[_Name], low: float, high: float, height: int,
               y: Spec) -> Spec:  # fmt: skip
        """Each line's name to its right, at its last value or as near as there is room."""
        gap = (high - low) * (SMALL_PX + 2) / height
        half = gap / 2
        wanted = [name.value for name in names]
        places = apart(wanted, gap=gap, low=low + half, high=high - half)
        rows = [{"v": place, "name": name.text[:_NAME_LETTERS], "colour": name.colour,
                 "shape": name.shape}
                for name, place in zip(names, places, strict=True)]  # fmt: skip
        beside: Spec = {
            "y": {"field": "v", **y},
            "color": {"field": "colour", "type": "nominal", "scale": None, "legend": None},
        }
        symbols = [row for row in rows if row["shape"]]
        return {
            "layer": [
                {"data": {"values": symbols},
                 "mark": {"type": "point", "filled": True, "size": 36, "opacity": 1, "xOffset": 8},
                 "encoding": {"x": {"value": "width"}, **beside,
                              "shape": {"field": "shape", "type": "nominal", "scale": None,
                                        "legend": None}}},
                {"data": {"values": rows},
                 "mark": {"type": "text", "align": "left", "dx": 15, "fontSize": SMALL_PX},
                 "encoding": {"x": {"value": "width"}, **beside,
                              "text": {"field": "name", "type": "nominal"}}},
            ]
        }  # fmt: skip

    def _reach(self, lines: list[Line], others: list[float]) -> tuple[float, float]:
        """The scale's ends: all that is drawn, and a little air."""
        seen = list(others)
        for line in lines:
            for piece in line.pieces:
                if len(piece.temps_c):
                    seen += [self._temp(float(piece.temps_c.min())),
                             self._temp(float(piece.temps_c.max()))]  # fmt: skip
        low, high = (min(seen), max(seen)) if seen else (0.0, 1.0)
        air = max((high - low) * 0.06, 0.5)
        return low - air, high + air

    def _temp(self, temp_c: float) -> float:
        return round(from_celsius(temp_c, self.scene.units), 2)


def _config(ink: Palette) -> Spec:
    return {
        "font": FONT,
        "background": ink.paper,
        "view": {"stroke": ink.frame},
        "title": {"anchor": "start", "frame": "bounds", "fontSize": TITLE_PX,
                  "subtitleFontSize": SMALL_PX + 1, "subtitleColor": ink.text,
                  "color": ink.text, "offset": 8, "subtitleLineHeight": 15},
        "axis": {"labelFontSize": SMALL_PX, "labelColor": ink.text, "gridColor": ink.grid,
                 "tickColor": ink.frame, "domainColor": ink.frame},
        "axisY": {"minExtent": 30, "maxExtent": 30},
    }  # fmt: skip


def _wrapped(lines: Sequence[str], wide_px: int, letter_px: float) -> list[str]:
    """Lines broken between words so that they stay over the drawing."""
    letters = max(int(wide_px / letter_px), 20)
    return [part for line in lines for part in textwrap.wrap(line, letters)]
