"""The panels of a picture that show temperatures: the floor in its band, and probes without a
target. Called by `chart`, which stacks them."""

from collections import Counter
from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from monitor.brooding.calendar import local_date, midnight
from monitor.review.ink import SMALL_PX, Ink, Palette, Spec
from monitor.review.labels import apart, in_lines
from monitor.review.local_axis import LocalAxis, ticks
from monitor.review.points import Points
from monitor.review.scene import ProbeLine, Scene, Stretch
from monitor.site import Place
from monitor.units import sign

FLOOR_PX = 210
_HALF_DAY_MS = 12 * 3600 * 1000
_NAME_LETTERS = 12  # what fits beside the drawing on a phone
_FEW = 3  # more lines than this are drawn thinner
_ROW = "(datum.datum || datum)"
_TOLD = f"{{probe: {_ROW}.name, read: {_ROW}.shown, at: {_ROW}.when}}"
_OPEN_GAPS = "break-paths-show-path-domains"


class _Name(NamedTuple):
    """What stands beside a line's end, and where it would like to stand."""

    text: str
    value: float
    colour: str
    shape: str | None = None


class Panels:
    """One picture's panels: holds what all of them need."""

    def __init__(
        self, scene: Scene, axis: LocalAxis, ink: Palette, *, wide_px: int, moving: bool
    ) -> None:
        self.scene, self.axis, self.ink = scene, axis, ink
        self.wide_px, self.moving = wide_px, moving
        self.points = Points(scene, axis, columns=wide_px * 2 if moving else wide_px)
        self.lines_each = scene.stretch is Stretch.NIGHT

    def floor(self, *, height: int = FLOOR_PX, box: str = "") -> Spec:
        """Band, target, chill limit, floor probes, losses as lines through."""
        floors = [line for line in self.scene.lines if line.place is Place.FLOOR]
        treads = self.points.treads()
        edges = [row[name] for row in treads for name in ("low", "high") if row[name] is not None]
        low, high = self.points.reach(floors, edges)
        y = self._y(low, high)
        layers = [
            self._band(treads, y),
            self._tread_line(treads, "target", [1, 3], 1.5, y),
            self._tread_line(treads, "chill", [6, 3, 1, 3], 1.0, y),
            *self._loss_rules(),
        ]
        names = []
        if treads and treads[-1]["target"] is not None:
            names.append(_Name("target", treads[-1]["target"], self.ink.quiet))
            if treads[-1]["chill"] > low:
                names.append(_Name("chill limit", treads[-1]["chill"], self.ink.quiet))
        layers += self._curves(floors, self.ink.floor, names, y)
        layers.append(self._names(names, (low, high), height, y))
        what = "floor" if self.lines_each else "floor, lowest to highest"
        return self._framed(layers, height, f"{box}: {what}" if box else what)

    def lost(self) -> Spec | None:
        """The lost of each day as a bar; None: there are none."""
        counts: Counter[date] = Counter()
        for event in self.scene.events:
            if event.what == "loss":
                counts[local_date(event.at, self.scene.zone)] += event.count or 0
        if not counts:
            return None
        start, stop = self.axis.ends
        rows = [
            {"t": min(max(self.axis.position(midnight(day, self.scene.zone)) + _HALF_DAY_MS,
                          start), stop), "lost": count}
            for day, count in sorted(counts.items())
        ]  # fmt: skip
        most = max(counts.values())
        y = {"field": "lost", "type": "quantitative", "title": None,
             "scale": {"domain": [0, most * 1.45], "nice": False},
             "axis": {"values": [0, most], "format": "d"}}  # fmt: skip
        days = (self.scene.stop - self.scene.start) / 86400.0
        # Lines, not bars: those would have two times, which the shared axis widens.
        thick = max(2.0, min(0.7 * self.wide_px / days, 16.0))
        bars = {"type": "rule", "color": self.ink.marks, "strokeWidth": thick, "clip": True}
        words = {"type": "text", "dy": -7, "fontSize": SMALL_PX, "color": self.ink.text,
                 "clip": True}  # fmt: skip
        layers: list[Spec] = [
            {"data": {"values": rows}, "mark": bars,
             "encoding": {"x": self.x(), "y": y, "y2": {"datum": 0}}},
            {"data": {"values": rows}, "mark": words,
             "encoding": {"x": self.x(), "y": y, "text": {"field": "lost", "type": "nominal"}}},
        ]  # fmt: skip
        panel = self._framed(layers, 56, "")
        return {**panel, "title": {**panel["title"], "text": "lost each day"}}

    def others(self, lines: list[ProbeLine], what: str, inks: tuple[Ink, ...], height: int) -> Spec:
        low, high = self.points.reach(lines, [])
        y = {**self._y(low, high), "axis": {"tickCount": 3}}
        names: list[_Name] = []
        layers = self._curves(lines, inks, names, y)
        layers.append(self._names(names, (low, high), height, y))
        return self._framed(layers, height, what)

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

    def with_time_axis(self, panel: Spec) -> Spec:
        """The lowest panel carries the hours or days for all."""
        ticked = self.lines_each and any(b.acknowledged is not None for b in self.scene.alarms)
        note = "; tick mark: acknowledged" if ticked else ""
        axis = {
            **self._ticks(),
            "title": f"local time, {self.scene.zone.key}{note}",
            "titleAnchor": "start",
            "titleFontWeight": "normal",
            "titleFontSize": SMALL_PX,
            "titleColor": self.ink.quiet,
        }
        for layer in panel["layer"]:
            if "field" in layer.get("encoding", {}).get("x", {}):
                layer["encoding"]["x"] = {**layer["encoding"]["x"], "axis": axis}
        return panel

    def _ticks(self) -> Spec:
        return ticks(self.scene, self.axis, wide_px=self.wide_px, moving=self.moving)

    def _framed(self, layers: list[Spec], height: int, what: str) -> Spec:
        title = {"text": f"{what}, {sign(self.scene.units)}", "fontSize": SMALL_PX,
                 "fontWeight": "bold", "anchor": "start", "frame": "group",
                 "offset": 4}  # fmt: skip
        return {"layer": layers, "width": self.wide_px, "height": height, "title": title}

    @staticmethod
    def _y(low: float, high: float) -> Spec:
        scale = {"domain": [low, high], "nice": False, "zero": False}
        return {"type": "quantitative", "scale": scale, "title": None}

    def _band(self, treads: list[Spec], y: Spec) -> Spec:
        return {
            "data": {"values": treads},
            "mark": {"type": "area", "interpolate": "step-after", "color": self.ink.band,
                     "clip": True},
            "encoding": {"x": self.x(), "y": {"field": "low", **y}, "y2": {"field": "high"}},
        }  # fmt: skip

    def _tread_line(
        self, treads: list[Spec], field: str, dash: list[int], thick: float, y: Spec
    ) -> Spec:
        return {
            "data": {"values": treads},
            "mark": {"type": "line", "interpolate": "step-after", "color": self.ink.quiet,
                     "strokeDash": dash, "strokeWidth": thick, "clip": True},
            "encoding": {"x": self.x(), "y": {"field": field, **y}},
        }  # fmt: skip

    def _loss_rules(self) -> list[Spec]:
        rows = [{"t": self.axis.position(e.at)} for e in self.scene.events if e.what == "loss"]
        if not rows:
            return []
        mark = {"type": "rule", "color": self.ink.text, "strokeWidth": 1, "clip": True}
        return [{"data": {"values": rows}, "mark": mark, "encoding": {"x": self.x()}}]

    def _curves(
        self, lines: Sequence[ProbeLine], inks: tuple[Ink, ...], names: list[_Name], y: Spec
    ) -> list[Spec]:
        """A line per probe in a night, whose name joins `names`; an envelope over longer spans."""
        if not self.lines_each:
            return self._envelope(lines, inks[0].colour, y)
        layers: list[Spec] = []
        for number, line in enumerate(lines):
            look = inks[number % len(inks)]
            rows = self.points.line(line)
            if not rows:
                continue
            names.append(_Name(line.name, _ending(rows), look.colour, look.shape))
            thick = 1.8 if len(lines) <= _FEW else 1.1
            layers += [self._line(rows, look, thick, y), self._symbols(line, look, number, y)]
        if self.moving:
            layers.append(self._hover(lines, y))
        return layers

    def _line(self, rows: list[Spec], look: Ink, thick: float, y: Spec) -> Spec:
        return {
            "data": {"values": rows},
            "mark": {"type": "line", "color": look.colour, "strokeDash": list(look.dash),
                     "strokeWidth": thick, "clip": True, "invalid": _OPEN_GAPS},
            "encoding": {"x": self.x(), "y": {"field": "v", **y}},
        }  # fmt: skip

    def _symbols(self, line: ProbeLine, look: Ink, number: int, y: Spec) -> Spec:
        return {
            "data": {"values": self.points.symbols(line, number)},
            "mark": {"type": "point", "shape": look.shape, "filled": True, "opacity": 1,
                     "color": look.colour, "size": 40, "stroke": self.ink.paper,
                     "strokeWidth": 0.7, "clip": True},
            "encoding": {"x": self.x(), "y": {"field": "v", **y}},
        }  # fmt: skip

    def _hover(self, lines: Sequence[ProbeLine], y: Spec) -> Spec:
        """The reading nearest to the pointer, or to the finger: a dot on its line, and its value
        and local time. One layer for all lines, or the topmost would hide the others'."""
        rows = [
            {**row, "name": line.name}
            for line in lines
            for row in self.points.line(line, columns=self.wide_px // 2)
            if row["v"] is not None
        ]
        near = f"near_{lines[0].place.name.lower()}" if lines else "near"
        when = self.axis.show("datum.t", "%a %-d %b %H:%M:%S")
        value = f"format(datum.v, '.1f') + ' {sign(self.scene.units)}'"
        return {
            "data": {"values": rows},
            "transform": [{"calculate": when, "as": "when"}, {"calculate": value, "as": "shown"}],
            "params": [{
                "name": near,
                "select": {"type": "point", "nearest": True, "on": "pointerover",
                           "clear": "pointerout"},
            }],
            # What is pointed at is the cell around a dot; its datum is the dot, whose datum is the
            # row. A tooltip given as fields would look for them one step too early.
            "mark": {"type": "point", "size": 70, "filled": True, "color": self.ink.text,
                     "clip": True, "tooltip": {"expr": _TOLD}},
            "encoding": {
                "x": self.x(),
                "y": {"field": "v", **y},
                "opacity": {"condition": {"param": near, "empty": False, "value": 1}, "value": 0},
            },
        }  # fmt: skip

    def _envelope(self, lines: Sequence[ProbeLine], colour: str, y: Spec) -> list[Spec]:
        """Lowest to highest of all probes per column: over days a line per probe is a smear, and
        this keeps every extreme too."""
        rows = self.points.envelope(lines)
        ends: Spec = {"x": self.x(), "y": {"field": "low", **y}, "y2": {"field": "high"}}
        area: Spec = {
            "data": {"values": rows},
            "mark": {"type": "area", "color": colour, "fillOpacity": 0.55, "opacity": 1,
                     "stroke": colour, "strokeWidth": 0.9, "clip": True, "invalid": _OPEN_GAPS},
            "encoding": ends,
        }  # fmt: skip
        if not self.moving:
            return [area]
        tooltip = [
            {"field": "low", "type": "quantitative", "title": "lowest", "format": ".1f"},
            {"field": "high", "type": "quantitative", "title": "highest", "format": ".1f"},
            {"field": "when", "type": "nominal", "title": "from"},
        ]
        hover: Spec = {
            "data": {"values": [row for row in rows if row["low"] is not None]},
            "transform": [
                {"calculate": self.axis.show("datum.t", "%a %-d %b %H:%M"), "as": "when"}
            ],
            # From top to bottom of the panel: a finger need not hit the thin band.
            "mark": {"type": "rule", "opacity": 0, "strokeWidth": 5, "clip": True},
            "encoding": {
                "x": self.x(),
                "y": {"value": 0},
                "y2": {"value": "height"},
                "tooltip": tooltip,
            },
        }
        return [area, hover]

    def _names(self, names: list[_Name], ends: tuple[float, float], height: int, y: Spec) -> Spec:
        """Each line's symbol and name to its right, at its last value or as near as there is
        room. Names are in the text's colour: thin letters need its contrast."""
        low, high = ends
        long = any(len(name.text) > _NAME_LETTERS for name in names)
        lines = 2 if long and height >= 40 * len(names) else 1
        gap = (high - low) * (SMALL_PX * lines + 2) / height
        wanted = [name.value for name in names]
        places = apart(wanted, gap=gap, low=low + gap / 2, high=high - gap / 2)
        rows: list[Spec] = [
            {"v": place, "name": in_lines(name.text, _NAME_LETTERS, lines),
             "colour": name.colour, "shape": name.shape}
            for name, place in zip(names, places, strict=True)
        ]  # fmt: skip
        at_the_side: Spec = {"x": {"value": "width"}, "y": {"field": "v", **y}}
        own: Spec = {"type": "nominal", "scale": None, "legend": None}
        symbols: Spec = {
            "data": {"values": [row for row in rows if row["shape"]]},
            "mark": {"type": "point", "filled": True, "size": 36, "opacity": 1, "xOffset": 8},
            "encoding": {**at_the_side, "color": {"field": "colour", **own},
                         "shape": {"field": "shape", **own}},
        }  # fmt: skip
        texts = []
        for many in (1, 2):
            shown = [row for row in rows if row["name"].count("\n") == many - 1]
            if shown:
                texts.append({
                    "data": {"values": shown},
                    "mark": {"type": "text", "align": "left", "dx": 15, "lineBreak": "\n",
                             "dy": -(many - 1) * (SMALL_PX + 1) / 2, "lineHeight": SMALL_PX + 1,
                             "fontSize": SMALL_PX, "color": self.ink.text},
                    "encoding": {**at_the_side, "text": {"field": "name", "type": "nominal"}},
                })  # fmt: skip
        return {"layer": [symbols, *texts]}


def _ending(rows: list[Spec]) -> float:
    """Where a line ends to the eye: the middle of its last thirtieth, not its last flicker."""
    last = sorted(row["v"] for row in rows[-max(len(rows) // 30, 1) :] if row["v"] is not None)
    return float(last[len(last) // 2])
