"""The Now screen and its live numbers. Called by `app`."""

from typing import Any

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from monitor.page.frame import Frame
from monitor.page.live import LiveStream, LiveUpdate
from monitor.page.now import NowView, view
from monitor.page.phrases import Phrases


class NowScreen:
    """One glance: is it right, will it hold."""

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self.live = LiveStream(frame.api, self._update)

    def routes(self) -> list[Route]:
        """Its addresses."""
        return [
            Route("/", self.look, methods=["GET"]),
            Route("/live", self.stream, methods=["GET"]),
        ]

    async def look(self, request: Request) -> Response:
        """The whole screen."""
        say = self._frame.say()
        seen = self._view(say)
        return self._frame.screen(
            request,
            "now.html",
            now_view=seen,
            watcher=self._frame.api.watcher(),
            calls=[[call.occurrence, call.title] for call in seen.calls],
        )

    async def stream(self, request: Request) -> Response:
        """Live numbers, for as long as the page is open."""
        if request.method == "HEAD":
            return Response(media_type="text/event-stream")
        if not self.live.has_room:
            return PlainTextResponse("Too many pages are open.\n", 503, {"Retry-After": "30"})
        return StreamingResponse(
            self.live.stream(),
            media_type="text/event-stream",
            headers={"X-Accel-Buffering": "no"},  # a proxy must not hold it back
        )

    def _view(self, say: Phrases) -> NowView:
        return view(self._frame.api.status(), self._frame.api.site, say, self._frame.api.missing())

    def _update(self) -> LiveUpdate:
        say = self._frame.say(live=True)
        seen = self._view(say)
        with_words: dict[str, Any] = {"say": say, "now_view": seen}
        parts = {
            f"box-{box.number}": self._frame.part("now_box.html", box=box, **with_words)
            for box in seen.boxes
        }
        parts["head"] = self._frame.part("now_head.html", **with_words)
        parts["missing"] = self._frame.part("now_missing.html", **with_words)
        parts["outside"] = self._frame.part("now_outside.html", **with_words)
        parts["watcher"] = self._frame.part(
            "now_watcher.html", watcher=self._frame.api.watcher(), **with_words
        )
        return LiveUpdate(
            parts=parts,
            also={
                "summary": seen.summary,
                "calls": [[call.occurrence, call.title] for call in seen.calls],
                "night": say.is_night,
                "at": int(say.now) // 60 * 60,
            },
        )
