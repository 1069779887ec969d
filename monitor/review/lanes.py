"""The rows under the floor's curve: what the grower wrote, and each alarm from raised to over.
Called by `chart`."""

from monitor.events import Priority
from monitor.review.ink import ALARM_THICK_PX, CHECK, SMALL_PX, Palette, Spec
from monitor.review.labels import sides
from monitor.review.local_axis import LocalAxis
from monitor.review.scene import Event, Scene, Stretch

ROW_PX = 18
_LEAST_BAR = 0.008  # of the width: an alarm of a minute is still seen in a month
_ROW = {"loss": "flock", "placed": "flock", "moved": "flock", "note": "notes"}


def lanes(
    scene: Scene, axis: LocalAxis, x: Spec, ink: Palette, *, wide_px: int, moving: bool
) -> Spec | None:
    """The panel, or None when there is nothing to show."""
    alarms = sorted(scene.alarms, key=lambda bar: bar.raised)
    written = sorted({_ROW[event.what] for event in scene.events})  # flock above notes
    lane_names = list(dict.fromkeys([*written, *(bar.alarm for bar in alarms)]))
    if not lane_names:
        return None
    return _Lanes(scene, axis, x, ink, names=lane_names, wide_px=wide_px, moving=moving).panel()


class _Lanes:
    def __init__(
        self,
        scene: Scene,
        axis: LocalAxis,
        x: Spec,
        ink: Palette,
        *,
        names: list[str],
        wide_px: int,
        moving: bool,
    ) -> None:
        self.ink, self.wide_px = ink, wide_px
        self.scene, self.axis, self.names, self.moving = scene, axis, names, moving
        self.x = {**x, "axis": {**x["axis"], "grid": False}}
        self.y: Spec = {"field": "lane", "type": "nominal", "title": None,
                        "scale": {"domain": names, "paddingInner": 0, "paddingOuter": 0},
                        "axis": None}  # fmt: skip

    def panel(self) -> Spec:
        layers = [self._rules(), *self._bars(), *self._events(), self._labels()]
        if self.scene.stretch is Stretch.NIGHT:  # over weeks the tick would hide the bar
            layers.insert(-1, self._acknowledged())
        return {"layer": layers, "height": ROW_PX * len(self.names)}

    def _rules(self) -> Spec:
        rows = [{"lane": name} for name in self.names]
        return {"data": {"values": rows},
                "mark": {"type": "rule", "color": self.ink.grid},
                "encoding": {"x": {"value": 0}, "x2": {"value": "width"}, "y": self.y}}  # fmt: skip

    def _bars(self) -> list[Spec]:
        """Each bar is a thick line of two points: Vega-Lite warns of, and widens, a fixed time
        span that a ranged mark shares."""
        whole_s = self.scene.stop - self.scene.start
        layers = []
        for priority in ALARM_THICK_PX:
            rows: list[Spec] = []
            for number, bar in enumerate(self.scene.alarms):
                if bar.priority is not priority:
                    continue
                ends = self.scene.stop if bar.over is None else bar.over
                ends = max(ends, bar.raised + whole_s * _LEAST_BAR)
                both = {"lane": bar.alarm, "bar": number, "raised": self.axis.position(bar.raised),
                        "over": None if bar.over is None
                        else self.axis.position(bar.over)}  # fmt: skip
                rows += [{"t": self.axis.position(max(bar.raised, self.scene.start)), **both},
                         {"t": self.axis.position(min(ends, self.scene.stop)), **both}]  # fmt: skip
            if rows:
                layers.append(self._bar_layer(rows, priority))
        return layers

    def _bar_layer(self, rows: list[Spec], priority: Priority) -> Spec:
        layer: Spec = {
            "data": {"values": rows},
            "mark": {"type": "line", "color": self.ink.alarm[priority],
                     "strokeWidth": ALARM_THICK_PX[priority], "strokeCap": "butt",
                     "clip": True},
            "encoding": {"x": self.x, "y": self.y, "detail": {"field": "bar", "type": "nominal"}},
        }  # fmt: skip
        if self.moving:
            form = "%a %-d %b %H:%M"
            over = self.axis.show("datum.over", form)
            layer["transform"] = [
                {"calculate": self.axis.show("datum.raised", form), "as": "from"},
                {"calculate": f"isValid(datum.over) ? {over} : 'not over'", "as": "to"},
            ]
            layer["encoding"]["tooltip"] = [
                {"field": "lane", "type": "nominal", "title": "alarm"},
                {"field": "from", "type": "nominal", "title": "raised"},
                {"field": "to", "type": "nominal", "title": "over"},
            ]
        return layer

    def _acknowledged(self) -> Spec:
        rows = [{"lane": bar.alarm, "t": self.axis.position(bar.acknowledged)}
                for bar in self.scene.alarms if bar.acknowledged is not None]  # fmt: skip
        # On an edge of the paper's colour: readable on the bar and, when it is over, beside it.
        marks = [(self.ink.paper, 4.0), (self.ink.marks, 1.8)]
        return {"layer": [
            {"data": {"values": rows},
             "mark": {"type": "point", "shape": CHECK, "stroke": colour, "filled": False,
                      "strokeWidth": width, "size": 90, "opacity": 1, "clip": True},
             "encoding": {"x": self.x, "y": self.y}}
            for colour, width in marks
        ]}  # fmt: skip

    def _events(self) -> list[Spec]:
        rows: list[Spec] = [
            {"lane": _ROW[e.what], "t": self.axis.position(e.at), "what": e.what, "text": e.text,
             "label": self._label(e)}
            for e in self.scene.events
        ]  # fmt: skip
        if not rows:
            return []
        marks: Spec = {
            "data": {"values": rows},
            "mark": {"type": "point", "filled": True, "color": self.ink.marks, "opacity": 1,
                     "size": 55, "clip": True},
            "encoding": {
                "x": self.x,
                "y": self.y,
                "shape": {"field": "what", "type": "nominal", "legend": None,
                          "scale": {"domain": ["loss", "note", "placed", "moved"],
                                    "range": ["diamond", "triangle-up", "square", "square"]}},
            },
        }  # fmt: skip
        if self.moving:
            marks["transform"] = [
                {"calculate": self.axis.show("datum.t", "%a %-d %b %H:%M"), "as": "when"}
            ]
            marks["encoding"]["tooltip"] = [
                {"field": "text", "type": "nominal", "title": "written"},
                {"field": "when", "type": "nominal", "title": "at"},
            ]
        return [marks, *self._texts(rows)]

    def _texts(self, rows: list[Spec]) -> list[Spec]:
        """The events' words, where there is room for them."""
        begins, ends = self.axis.ends
        for lane in set(_ROW.values()):
            mine = [row for row in rows if row["lane"] == lane]
            marks = [
                ((row["t"] - begins) / (ends - begins) * self.wide_px, row["label"]) for row in mine
            ]
            for row, side in zip(mine, sides(marks, self.wide_px), strict=True):
                row["side"] = side
        layers: list[Spec] = []
        for side, align, away in (("right", "left", 7), ("left", "right", -7)):
            shown = [row for row in rows if row["side"] == side]
            if shown:
                layers.append({
                    "data": {"values": shown},
                    "mark": {"type": "text", "align": align, "clip": True, "dx": away,
                             "fontSize": SMALL_PX, "color": self.ink.text},
                    "encoding": {"x": self.x, "y": self.y,
                                 "text": {"field": "label", "type": "nominal"}},
                })  # fmt: skip
        return layers

    def _label(self, event: Event) -> str:
        """Over weeks only what is counted: notes would cover each other."""
        if event.what == "note":
            return event.text if self.scene.stretch is Stretch.NIGHT else ""
        verb = "lost" if event.what == "loss" else event.what
        many = "all" if event.count is None else str(event.count)
        return f"{many} {verb}" if self.scene.stretch is not Stretch.BATCH else many

    def _labels(self) -> Spec:
        rows = [{"lane": name} for name in self.names]
        return {"data": {"values": rows},
                "mark": {"type": "text", "align": "left", "dx": 5, "fontSize": SMALL_PX,
                         "color": self.ink.text},
                "encoding": {"x": {"value": "width"}, "y": self.y,
                             "text": {"field": "lane", "type": "nominal"}}}  # fmt: skip
