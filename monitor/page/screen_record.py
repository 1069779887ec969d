"""The Record screen: the record sheet of a batch, nights and weeks as charts, a loss and the
hours before it. Called by `app`.

What the ledger knows is sent at once; what has to be reckoned from the readings follows in the same
answer as soon as it is there."""

import asyncio
import re
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable
from importlib.metadata import version
from typing import Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from monitor.brooding.batch import Batch, Ledger
from monitor.brooding.objection import Objection
from monitor.page.frame import Frame
from monitor.page.review_question import Question
from monitor.page.review_worker import ReviewWorker

LONGEST_SPAN_S = 400 * 86400.0
SHORTEST_SPAN_S = 600.0
_BEFORE_S = 48 * 3600.0  # a chick weakened by cold may die a day later


class RecordScreen:
    """What happened."""

    def __init__(self, frame: Frame) -> None:
        self._frame = frame
        self.worker = ReviewWorker()
        self._script: bytes | None = None

    def routes(self) -> list[Route]:
        """Its addresses."""
        return [
            Route("/record", self.sheet, methods=["GET"]),
            Route("/record/span", self.span, methods=["GET"]),
            Route("/record/loss", self.loss, methods=["GET"]),
            Route("/record/chart.json", self.moving, methods=["GET"]),
            Route("/record/chart.svg", self.still, methods=["GET"]),
            Route("/record/drawing.js", self.script, methods=["GET"]),
        ]

    async def sheet(self, request: Request) -> Response:
        """A batch: ledger first, then the sheet."""
        ledger = await self._frame.api.ledger()
        box, batch, ordinal = self._chosen(request, ledger)
        warming = asyncio.ensure_future(self.worker.warm_up())
        warming.add_done_callback(lambda done: done.cancelled() or done.exception())

        async def rest() -> str:
            if batch is None:
                return self._frame.part("record_none.html")
            found = await self.worker.ask("sheet_of", self._question(box, batch=ordinal))
            return self._frame.part(
                "record_sheet.html",
                sheet=found,
                box=box,
                span_link=span_link,
                say=self._frame.say(),
            )

        return self._in_two(
            request,
            rest,
            "record.html",
            box=box,
            batch=batch,
            ordinal=ordinal,
            batches=[
                (one.name, number, past)
                for one in self._frame.api.site.brooders
                for number, past in enumerate(ledger.of(one.name), 1)
            ],
            losses=[] if batch is None else list(reversed(batch.losses)),
        )

    async def span(self, request: Request) -> Response:
        """A night, a week or a whole batch as a picture."""
        box, start, stop = self._span(request)

        async def rest() -> str:
            question = self._question(box, start=start, stop=stop)
            story = await self.worker.ask("story_of", question)
            return self._frame.part("record_story.html", story=story)

        return self._in_two(
            request, rest, "record_span.html", box=box, start=start, stop=stop, span_link=span_link
        )

    async def loss(self, request: Request) -> Response:
        """One loss and the hours before it."""
        ledger = await self._frame.api.ledger()
        box, _, ordinal = self._chosen(request, ledger)
        at = _number(request, "at")

        async def rest() -> str:
            question = self._question(box, batch=ordinal, stop=at)
            found = await self.worker.ask("loss_of", question)
            if found is None:
                raise Objection("The record does not hold that loss yet. Try again in a minute.")
            return self._frame.part(
                "record_loss_words.html",
                loss=found,
                box=box,
                start=at - _BEFORE_S,
                stop=at,
                span_link=span_link,
            )

        return self._in_two(
            request,
            rest,
            "record_loss.html",
            box=box,
            ordinal=ordinal,
        )

    async def moving(self, request: Request) -> Response:
        """The chart description of a span."""
        return await self._drawn(request, "moving_chart", "application/json")

    async def still(self, request: Request) -> Response:
        """The same as a drawing."""
        return await self._drawn(request, "still_chart", "image/svg+xml")

    async def script(self, _: Request) -> Response:
        """The drawing library's script, from the installed package."""
        if self._script is None:
            try:
                self._script = await self.worker.ask("drawing_script")
            except Objection as words:
                raise HTTPException(503, str(words)) from None
        return Response(
            self._script,
            media_type="text/javascript; charset=utf-8",
            headers={"Cache-Control": "public, max-age=31536000, immutable"},
        )

    async def end(self) -> None:
        """The service stops."""
        await self.worker.end()

    async def _drawn(self, request: Request, how: str, kind: str) -> Response:
        box, start, stop = self._span(request)
        dark = request.query_params.get("dark") == "1"
        try:
            drawn = await self.worker.ask(
                how, self._question(box, start=start, stop=stop, dark=dark)
            )
        except Objection as words:
            raise HTTPException(503, str(words)) from None
        return Response(drawn, media_type=kind)

    def _question(self, box: str, **more: Any) -> Question:
        api = self._frame.api
        return Question(
            journal=api.journal_path,
            site=api.site,
            now=self._frame.clock(),
            brooder=box,
            **more,
        )

    def _in_two(
        self,
        request: Request,
        rest: Callable[[], Awaitable[str]],
        template: str,
        **context: Any,
    ) -> Response:
        """A screen whose middle follows when it is ready. Without scripts, in one answer."""
        later = secrets.token_hex(16)  # stands where it goes; no note can hold it
        whole = bytes(
            self._frame.screen(
                request, template, later=later, drawing=drawing_address(), **context
            ).body
        ).decode()
        before, _, after = whole.partition(later)

        async def both() -> AsyncIterator[str]:
            yield before
            try:
                yield await rest()
            except Objection as words:
                yield self._frame.part("record_objection.html", words=str(words))
            yield after

        return StreamingResponse(both(), media_type="text/html; charset=utf-8")

    def _chosen(self, request: Request, ledger: Ledger) -> tuple[str, Batch | None, int | None]:
        """The box and batch asked for; without a word the last batch that began."""
        names = [box.name for box in self._frame.api.site.brooders]
        box = request.query_params.get("brooder")
        if box is None:
            begun = [batch.brooder for batch in ledger.batches if batch.brooder in names]
            box = begun[-1] if begun else names[0]
        if box not in names:
            raise HTTPException(404)
        batches = ledger.of(box)
        asked = request.query_params.get("batch", "")
        if not asked:
            return box, (batches[-1] if batches else None), len(batches) or None
        if not re.fullmatch("[1-9][0-9]{0,4}", asked) or int(asked) > len(batches):
            raise HTTPException(404)
        return box, batches[int(asked) - 1], int(asked)

    def _span(self, request: Request) -> tuple[str, float, float]:
        box = request.query_params.get("brooder", "")
        if box not in [one.name for one in self._frame.api.site.brooders]:
            raise HTTPException(404)
        start, stop = _number(request, "from"), _number(request, "to")
        if not SHORTEST_SPAN_S <= stop - start <= LONGEST_SPAN_S:
            raise HTTPException(404)
        return box, start, stop


def _number(request: Request, name: str) -> float:
    said = request.query_params.get(name, "")
    if not re.fullmatch(r"[0-9]{1,11}(\.[0-9]{1,6})?", said):
        raise HTTPException(404)
    return float(said)


def span_link(box: str, start: float, stop: float, what: str = "span") -> str:
    """The address of a picture's screen, or of the picture itself."""
    return f"/record/{what}?" + urlencode(
        {"brooder": box, "from": f"{start:.0f}", "to": f"{stop:.0f}"}
    )


def drawing_address() -> str:
    """Changes with the installed drawing library, so a browser may keep it for ever."""
    return f"/record/drawing.js?v={version('vl-convert-python')}"
