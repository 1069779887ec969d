"""The day the chicks come: its list, each step ticked by a tap and unticked by another, and the
sheet for the hatchery's claim, to be printed. Called by `app`."""

import asyncio
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from monitor.brooding.arrival import BEFORE, STEP_NAMES, STEPS, arrival_of
from monitor.brooding.objection import Objection
from monitor.events import Entry, EntryKind
from monitor.journal.arrival_floor import arrival_floor
from monitor.page.forms import read_form
from monitor.page.screen import Screen, get, post
from monitor.tell.wording.arrival_words import SHEET_TITLE, sheet_rows


class ArrivalScreen(Screen):
    """What is done before they come, and when they are there."""

    @get("/do/arrival")
    async def look(self, request: Request) -> Response:
        box = self._frame.box_of(request.query_params.get("brooder"))
        arrival = arrival_of(await self._frame.api.ledger(), box)
        return self._frame.screen(
            request,
            "arrival.html",
            box=box,
            arrival=arrival,
            parts=(("Before they come", BEFORE), ("When they come", STEPS)),
        )

    @post("/do/arrival")
    async def tap(self, request: Request) -> Response:
        """Ticks a step, or takes its tick back; what is so already stays so, whoever taps twice."""
        form = await read_form(request, self._frame.sessions)
        box, step = self._frame.box_of(form["brooder"]), form["step"]
        if step not in STEP_NAMES:
            raise HTTPException(404)
        done = arrival_of(await self._frame.api.ledger(), box).done
        now = self._frame.clock()
        entry = None
        if form["tick"] and step not in done:
            entry = Entry(at=now, entry=EntryKind.CHECKED, brooder=box, note=step, by="page")
        elif not form["tick"] and step in done:
            entry = Entry(at=now, entry=EntryKind.UNDO, undoes=done[step], by="page")
        if entry is not None:
            try:
                await self._frame.api.submit(entry)
            except Objection as words:
                raise HTTPException(409, str(words)) from words
        return RedirectResponse(f"/do/arrival?brooder={quote(box)}#{step}", 303)

    @get("/do/arrival/sheet")
    async def sheet(self, request: Request) -> Response:
        box = self._frame.box_of(request.query_params.get("brooder"))
        arrival = arrival_of(await self._frame.api.ledger(), box)
        floor_c = None
        if arrival.at is not None:
            setting, path = self._frame.api.site.brooder(box), self._frame.api.journal_path
            floor_c = await asyncio.to_thread(arrival_floor, path, setting, arrival.at)
        return self._frame.screen(
            request,
            "arrival_sheet.html",
            title=SHEET_TITLE,
            box=box,
            came=arrival.at is not None or arrival.dead > 0,
            rows=sheet_rows(arrival, floor_c, self._frame.say()),
        )
