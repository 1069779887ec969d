"""The Record screen: the record sheet of a batch night by night, any stretch as a picture, a loss
and the hours before it. Called by `app`.

What the ledger knows is sent at once; pictures and what has to be worked out follow in the same
answer as soon as they are there. Pictures are drawn here from columns of the journal; only who
wants to come closer waits for the drawing library."""

import asyncio
import re
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import partial
from importlib.metadata import version
from math import ceil
from typing import Any
from urllib.parse import urlencode

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response, StreamingResponse

from monitor.bounded import Bounded
from monitor.brooding.batch import Batch
from monitor.brooding.ledger import Ledger
from monitor.brooding.objection import Objection
from monitor.journal.records import StorageFault
from monitor.page.day_picture import Birds, DayPicture, span_picture
from monitor.page.day_readings import DayFound, read_span
from monitor.page.frame import Frame
from monitor.page.review_worker import Question, ReviewWorker
from monitor.page.screen import Screen, get
from monitor.page.weight_curve import weight_curve
from monitor.site import Place

LONGEST_SPAN_S = 400 * 86400.0
SHORTEST_SPAN_S = 600.0
DAY_S = 86400.0
_COLUMNS = 360  # of a picture: a phone's pixels
_COURSE_COLUMN_S = 1200.0
_PAST_S = 3600.0  # what is older seldom changes any more
_MOST_KEPT = 24
_FILE_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
_MOST_BESIDE = 8
_BEFORE_S = 48 * 3600.0  # a chick weakened by cold may die a day later


class RecordScreen(Screen):
    def __init__(self, frame: Frame) -> None:
        super().__init__(frame)
        self.worker = ReviewWorker()
        self._script: bytes | None = None
        self._read_before: Bounded[tuple[Any, ...], tuple[float, DayFound]] = Bounded(_MOST_KEPT)

    @get("/record")
    async def sheet(self, request: Request) -> Response:
        ledger = await self._frame.api.ledger()
        box, batch, ordinal = self._chosen(request, ledger)
        warming = asyncio.ensure_future(self.worker.warm_up())
        warming.add_done_callback(lambda done: done.cancelled() or done.exception())

        async def hours_before() -> str:
            if batch is None or not batch.losses:
                return ""
            at = batch.losses[-1].at
            return await self._picture(box, at - DAY_S, at)

        async def rest() -> str:
            if batch is None:
                return self._frame.part("record_none.html")
            found = await self.worker.ask("sheet_of", self._question(ledger, box, batch=ordinal))
            nights = [
                (row["start"], row["stop"]) for week in found["weeks"] for row in week["rows"]
            ]
            return self._frame.part(
                "record_sheet.html",
                sheet=found,
                box=box,
                courses=await self._courses(box, nights),
                span_link=span_link,
                say=self._frame.say(),
            )

        return self._in_parts(
            request,
            [hours_before, rest],
            "record.html",
            box=box,
            batch=batch,
            ordinal=ordinal,
            batches=[
                (one.name, number, past)
                for one in self._frame.api.site.brooders
                for number, past in enumerate(ledger.of(one.name), 1)
            ],
            family=[] if batch is None else list(ledger.family(batch)),
            counts=None if batch is None else ledger.family_count(batch),
            losses=[] if batch is None else list(reversed(batch.losses)),
            weights=None if batch is None else weight_curve(batch, self._frame.say()),
        )

    @get("/record/span")
    async def span(self, request: Request) -> Response:
        box, start, stop = self._span(request)
        ledger = await self._frame.api.ledger()

        async def rest() -> str:
            question = self._question(ledger, box, start=start, stop=stop)
            story = await self.worker.ask("story_of", question)
            return self._frame.part("record_story.html", story=story)

        return self._in_parts(
            request,
            [partial(self._picture, box, start, stop), rest],
            "record_span.html",
            box=box,
            start=start,
            stop=stop,
            span_link=span_link,
        )

    @get("/record/loss")
    async def loss(self, request: Request) -> Response:
        ledger = await self._frame.api.ledger()
        box, _, ordinal = self._chosen(request, ledger)
        at = _number(request, "at")

        async def rest() -> str:
            question = self._question(ledger, box, batch=ordinal, stop=at)
            found = await self.worker.ask("loss_of", question)
            if found is None:
                raise Objection("The record does not hold that loss yet. Try again in a minute.")
            return self._frame.part("record_loss_words.html", loss=found)

        return self._in_parts(
            request,
            [partial(self._picture, box, at - _BEFORE_S, at), rest],
            "record_loss.html",
            box=box,
            ordinal=ordinal,
            start=at - _BEFORE_S,
            stop=at,
            span_link=span_link,
        )

    @get("/record/batches")
    async def batches(self, request: Request) -> Response:
        """The site's batches beside each other, the newest first."""
        ledger = await self._frame.api.ledger()
        names = self._frame.boxes
        every = enumerate(ledger.families(names), 1)
        firsts = [(number, family[0]) for number, family in every][-_MOST_BESIDE:]

        def card(batch: Batch) -> Callable[[], Awaitable[str]]:
            async def drawn() -> str:
                ordinal = ledger.of(batch.brooder).index(batch) + 1
                question = self._question(ledger, batch.brooder, batch=ordinal)
                found = await self.worker.ask("batch_figures_of", question)
                return self._frame.part(
                    "record_batch.html", found=found, box=batch.brooder, ordinal=ordinal
                )

            return drawn

        return self._in_parts(
            request,
            [card(batch) for _, batch in reversed(firsts)],
            "record_batches.html",
            numbers=[number for number, _ in reversed(firsts)],
        )

    @get("/record/report")
    async def report(self, request: Request) -> Response:
        return await self._file(request, "report_of")

    @get("/record/vet")
    async def vet_page(self, request: Request) -> Response:
        return await self._file(request, "vet_page_of")

    async def _file(self, request: Request, how: str) -> Response:
        """A file of the review's as it is: it brings its own style and pictures, and no script."""
        ledger = await self._frame.api.ledger()
        box, batch, ordinal = self._chosen(request, ledger)
        if batch is None:
            raise HTTPException(404)
        try:
            text = await self.worker.ask(how, self._question(ledger, box, batch=ordinal))
        except Objection as words:
            raise HTTPException(503, str(words)) from None
        return HTMLResponse(text, headers={"Content-Security-Policy": _FILE_POLICY})

    async def _picture(self, box: str, start: float, stop: float) -> str:
        day = await self._read(box, start, stop, _COLUMNS)
        return self._frame.part("day_picture.html", day=await self._drawn_of(box, day, start, stop))

    async def _courses(
        self, box: str, nights: list[tuple[float, float]]
    ) -> dict[float, DayPicture]:
        """A small picture for each night, by its beginning."""
        if not nights:
            return {}
        start, stop = nights[0][0], nights[-1][1]
        day = await self._read(box, start, stop, ceil((stop - start) / _COURSE_COLUMN_S))
        return {begins: await self._drawn_of(box, day, begins, ends) for begins, ends in nights}

    async def _drawn_of(self, box: str, day: DayFound, start: float, stop: float) -> DayPicture:
        ledger = await self._frame.api.ledger()
        birds = [Birds(b.kind, b.hatched, b.started_at, b.ended_at) for b in ledger.of(box)]
        within = [b for b in birds if b.started_at < stop and (b.ended_at or stop) > start]
        setting = self._frame.api.site.brooder(box)
        return span_picture(setting, within, day, (start, stop), say=self._frame.say())

    async def _read(self, box: str, start: float, stop: float, columns: int) -> DayFound:
        """Of the journal, in a thread; kept for a while. Raises Objection."""
        key = (box, start, stop, columns)
        api, now = self._frame.api, self._frame.clock()
        if (kept := self._read_before.get(key)) and 0 <= now - kept[0] < (
            600.0 if now - stop > _PAST_S else 60.0
        ):
            return kept[1]
        probes = [*api.site.brooder(box).probes, *api.site.probes]
        keys = tuple(p.key for p in probes if p.place in (Place.FLOOR, Place.OUTSIDE))
        try:
            day = await asyncio.to_thread(read_span, api.journal_path, keys, start, stop, columns)
        except StorageFault as fault:
            raise Objection(fault.words) from fault
        self._read_before[key] = (now, day)
        return day

    @get("/record/chart.json")
    async def moving(self, request: Request) -> Response:
        box, start, stop = self._span(request)
        ledger = await self._frame.api.ledger()
        dark = request.query_params.get("dark") == "1"
        question = self._question(ledger, box, start=start, stop=stop, dark=dark)
        try:
            drawn = await self.worker.ask("moving_chart", question)
        except Objection as words:
            raise HTTPException(503, str(words)) from None
        return Response(drawn, media_type="application/json")

    @get("/record/drawing.js")
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
        await self.worker.end()

    def _question(self, ledger: Ledger, box: str, **more: Any) -> Question:
        api = self._frame.api
        return Question(
            journal=api.journal_path,
            site=api.site,
            now=self._frame.clock(),
            brooder=box,
            entries=len(ledger.entries),
            **more,
        )

    def _in_parts(
        self,
        request: Request,
        parts: list[Callable[[], Awaitable[str]]],
        template: str,
        **context: Any,
    ) -> Response:
        """A screen whose middle follows as it gets ready. Without scripts, in one answer."""
        marks = [secrets.token_hex(16) for _ in parts]  # where they go; no note can hold one
        whole = bytes(
            self._frame.screen(
                request, template, later=marks, drawing=drawing_address(), **context
            ).body
        ).decode()

        async def all_of_it() -> AsyncIterator[str]:
            rest = whole
            for mark, part in zip(marks, parts, strict=True):
                before, _, rest = rest.partition(mark)
                yield before
                try:
                    yield await part()
                except Objection as words:
                    yield self._frame.part("record_objection.html", words=str(words))
            yield rest

        return StreamingResponse(all_of_it(), media_type="text/html; charset=utf-8")

    def _chosen(self, request: Request, ledger: Ledger) -> tuple[str, Batch | None, int | None]:
        """The box and batch asked for; without a word the last batch that began."""
        names = self._frame.boxes
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
        if box not in self._frame.boxes:
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
