"""The one chart description: a Scene as Vega-Lite. Called by the review, the page and the alert.

Panels from top to bottom share one time axis: the floor in its band; what was wrong and what the
grower wrote; probes elsewhere in the box; outside; what plugs, sensors and switches measured. The
floor has its own scale: with a frosty night on the same one, the three degrees that matter would be
a few pixels.

The same description serves a phone, paper and a screen; `wide_px` is the width of the drawing
area, `moving` adds zoom and hover (static/chart.js drives them), `dark` is for a dark page."""

import textwrap
from collections.abc import Sequence
from dataclasses import replace

from monitor.review.ink import DARK, FONT, LIGHT, SMALL_PX, TITLE_PX, Palette, Spec
from monitor.review.lanes import lanes
from monitor.review.local_axis import LocalAxis
from monitor.review.panels import FLOOR_PX, Panels
from monitor.review.scene import Scene, Stretch
from monitor.review.strips import Strips
from monitor.site import Place

PHONE_PX = 264  # 390 CSS pixels less the scale, the names and a margin
LEAST_PX = 230  # what chart.js leaves on a narrow phone
PAPER_PX = 560  # fits the width of a page in portrait
SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
_BESIDE_PX = 110  # scale and names, left and right of the drawing
_TITLE_LETTER_PX, _LETTER_PX = 7.3, 6.0  # mean advance of FONT at the two sizes
_BESIDE_OTHERS_PX = 130  # a floor's height where there are several
_ELSEWHERE = (Place.UNDER_HEAT, Place.COOL_END)


def describe(
    scene: Scene, *, wide_px: int = PHONE_PX, moving: bool = False, dark: bool = False
) -> Spec:
    axis = LocalAxis(start=scene.start, stop=scene.stop, zone=scene.zone)
    ink = DARK if dark else LIGHT
    draft = Panels(scene, axis, ink, wide_px=wide_px, moving=moving)
    # Words of a moving picture are set for the narrowest screen: wider only moves them apart.
    least_px = min(wide_px, LEAST_PX) if moving else wide_px
    panels = [draft.floor()]
    if scene.stretch is Stretch.BATCH and (lost := draft.lost()):
        panels.append(lost)
        scene = replace(scene, events=tuple(e for e in scene.events if e.what != "loss"))
    if rows := lanes(scene, axis, draft.x(), ink, wide_px=least_px, moving=moving):
        panels.append({**rows, "width": wide_px})
    elsewhere = [line for line in scene.lines if line.place in _ELSEWHERE]
    if scene.stretch is Stretch.NIGHT and elsewhere:
        panels.append(draft.others(elsewhere, "elsewhere in the box", ink.elsewhere, 80))
    if outside := [line for line in scene.lines if line.place is Place.OUTSIDE]:
        panels.append(draft.others(outside, "outside", ink.outside, 56))
    panels += Strips(scene, axis, draft.x(), ink, wide_px=wide_px, moving=moving).rows()
    panels[-1] = draft.with_time_axis(panels[-1])
    spec = _stacked(panels, scene.title, scene.summary, ink, wide_px)
    if moving:  # chart.js moves `span`
        spec["params"] = [{"name": "span", "value": axis.ends}]
        spec["usermeta"] = {"whole": axis.ends}
        spec["autosize"] = {"type": "pad", "resize": True}
    return spec


def describe_boxes(scenes: Sequence[Scene], *, title: str = "", wide_px: int) -> Spec:
    """A batch in its boxes: each floor in its band, and beneath them each day's losses over all
    boxes. The scenes have one span."""
    first = scenes[0]
    axis = LocalAxis(start=first.start, stop=first.stop, zone=first.zone)
    whole = replace(first, events=tuple(e for scene in scenes for e in scene.events), alarms=())
    bare = [replace(scene, events=(), alarms=()) for scene in scenes]
    panels = [
        Panels(scene, axis, LIGHT, wide_px=wide_px, moving=False).floor(
            height=FLOOR_PX if len(scenes) == 1 else _BESIDE_OTHERS_PX,
            box=scene.box if len(scenes) > 1 else "",
        )
        for scene in bare
    ]
    draft = Panels(whole, axis, LIGHT, wide_px=wide_px, moving=False)
    if lost := draft.lost():
        panels.append(lost)
    panels[-1] = draft.with_time_axis(panels[-1])
    return _stacked(panels, title, (), LIGHT, wide_px)


def _stacked(
    panels: list[Spec], title: str, summary: Sequence[str], ink: Palette, wide_px: int
) -> Spec:
    over_px = wide_px + _BESIDE_PX
    heading: Spec = {"text": _wrapped(_title(title, wide_px), over_px, _TITLE_LETTER_PX)}
    if summary:
        heading["subtitle"] = _wrapped(summary, over_px, _LETTER_PX)
    return {
        "$schema": SCHEMA,
        "description": ". ".join([title, *summary]) + ".",
        **({"title": heading} if title else {}),
        "vconcat": panels,
        "resolve": {"scale": {"x": "shared", "color": "independent"}},
        "spacing": 8,
        "padding": 8,
        "config": _config(ink),
    }


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


def _title(title: str, wide_px: int) -> list[str]:
    """On a phone the box stands above the time."""
    box, colon, when = title.partition(": ")
    return [box, when] if colon and wide_px < PAPER_PX else [title]


def _wrapped(lines: Sequence[str], wide_px: int, letter_px: float) -> list[str]:
    """Lines broken between words so that they stay over the drawing."""
    letters = max(int(wide_px / letter_px), 20)
    return [part for line in lines for part in textwrap.wrap(line, letters)]
