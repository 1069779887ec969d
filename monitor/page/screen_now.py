"""The Now screen and its live numbers. Called by `app`."""

import asyncio
from collections.abc import Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse

from monitor.page.day_picture import DayPicture, day_picture
from monitor.page.day_readings import COLUMN_S, MOST_BOXES, DayFound, DayReadings
from monitor.page.frame import Frame
from monitor.page.live import LiveStream, LiveUpdate
from monitor.page.now import BoxView, NowView, view
from monitor.page.phrases import Phrases
from monitor.page.screen import Screen, get
from monitor.watch.status import SiteStatus

DRAWN_WITHIN_S = 0.08  # the screen waits so long for its picture; later it comes by the live stream


class NowScreen(Screen):
    def __init__(self, frame: Frame) -> None:
        super().__init__(frame)
        self._readings = DayReadings()
        self._drawn: dict[int, tuple[tuple[Any, ...], DayPicture]] = {}
        self.live = LiveStream(frame.api, self._update)

    @get("/")
    async def look(self, request: Request) -> Response:
        reading = self._refresh()
        if reading is not None:
            await asyncio.wait([reading], timeout=DRAWN_WITHIN_S)
        words = self._words(self._frame.say())
        del words["say"]  # the frame has its own of the same moment
        calls = _calls(words["now_view"])
        return self._frame.screen(request, "now.html", calls=calls, **words)

    @get("/bedside")
    async def bedside(self, request: Request) -> Response:
        """The worst box alone, in large letters, for a night on the bedside table."""
        words = self._words(self._frame.say())
        del words["say"]
        calls = _calls(words["now_view"])
        return self._frame.screen(request, "bedside.html", calls=calls, **words)

    @get("/live")
    async def stream(self, request: Request) -> Response:
        """Live numbers, for as long as the page is open."""
        if request.method == "HEAD":  # nothing follows: it would hold a place for half an hour
            return Response(media_type="text/event-stream")
        if not self.live.has_room:
            return PlainTextResponse("Too many open pages.", 503, {"Retry-After": "30"})
        return StreamingResponse(
            self.live.stream(),
            media_type="text/event-stream",
            headers={"X-Accel-Buffering": "no"},  # a proxy must not hold it back
        )

    def _words(self, say: Phrases) -> dict[str, Any]:
        """All that the screen says, from one snapshot."""
        status = self._frame.api.status()
        site, missing = self._frame.api.site, self._frame.api.missing()
        seen = view(status, site, say, missing, self._readings.day)
        watcher = self._frame.api.watcher()
        return {
            "say": say,
            "now_view": seen,
            "only": len(seen.boxes) == 1,
            "days": self._days(status, say),
            "watcher": watcher,
            "watcher_line": _watcher_line(watcher),
        }

    def _update(self) -> LiveUpdate:
        self._refresh()
        words = self._words(self._frame.say(live=True))
        seen: NowView = words["now_view"]
        say: Phrases = words["say"]
        parts = {
            "head": self._frame.part("now_head.html", **words),
            "rest": self._frame.part("now_rest.html", **words),
            "bedside": self._frame.part("now_bedside.html", **words),
        }
        parts["missing"] = self._frame.part("now_missing.html", **words)
        for box in seen.boxes:
            parts |= self._parts(box, words)
        return LiveUpdate(
            parts=parts,
            also={
                "summary": seen.summary,
                "order": [f"box-{box.number}" for box in seen.boxes],
                "calls": _calls(seen),
                "night": say.is_night,
                "at": int(say.now) // 60 * 60,
            },
        )

    def _parts(self, box: BoxView, words: Mapping[str, Any]) -> dict[str, str]:
        day = words["days"][box.number]
        return {
            f"line-{box.number}": self._frame.part("now_line.html", box=box, **words),
            f"day-{box.number}": self._frame.part("now_day.html", day=day),
            f"box-{box.number}": self._frame.part("now_box.html", box=box, **words),
        }

    def _refresh(self) -> "asyncio.Task[None] | None":
        api = self._frame.api
        if len(api.site.brooders) > MOST_BOXES:
            return None
        keys = [probe.key for probe in api.site.all_probes]
        return self._readings.refresh(api.journal_path, keys, self._frame.clock())

    def _days(self, status: SiteStatus, say: Phrases) -> dict[int, DayPicture | str | None]:
        """By number of the box; None: not read yet, "": a site too large for pictures."""
        if len(status.brooders) > MOST_BOXES:
            return dict.fromkeys(range(len(status.brooders)), "")
        day = self._readings.day
        if day is None:
            return dict.fromkeys(range(len(status.brooders)))
        return {n: self._day(n, status, day, say) for n in range(len(status.brooders))}

    def _day(
        self, number: int, status: SiteStatus, day: DayFound, say: Phrases
    ) -> DayPicture | str:
        """Drawn anew only where it would look different."""
        box, site = status.brooders[number], self._frame.api.site
        setting = next((one for one in site.brooders if one.name == box.name), None)
        if setting is None:
            return ""
        key = (
            box.name,
            id(site),
            say.now // COLUMN_S,
            day.read_at,
            box.outlook_at,
            box.batch and (box.batch.hatched, box.batch.kind, box.batch.started_at),
            box.warm_up and box.warm_up.limits,
            None if box.temp_c is None else round(box.temp_c * 4),
            tuple((a.occurrence, a.state) for a in box.alarms),
        )
        kept = self._drawn.get(number)
        if kept is None or kept[0] != key:
            kept = self._drawn[number] = (key, day_picture(box, setting, site, day, say))
        return kept[1]


def _calls(seen: NowView) -> list[list[Any]]:
    """For the scripts: which alarms wait, what they are called, whether they are urgent."""
    return [[call.occurrence, call.title, call.urgent] for call in seen.calls]


def _watcher_line(watcher: Mapping[str, Any]) -> str:
    """What is wrong with it, or that nothing is."""
    wrong = []
    if not watcher["broker_connected"]:
        wrong.append("the broker is not connected")
    if not watcher["journal_ok"]:
        wrong.append("the record is not being kept")
    if not watcher["contacts"]:
        wrong.append("nobody is told")
    wrong += [f"{c['name']} was not reached" for c in watcher["contacts"] if c["last_why"]]
    return "; ".join(wrong).capitalize() if wrong else "All well"
