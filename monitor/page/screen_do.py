"""The Do screen: the ledger written at the box, and contacts tried. Called by `app`.

Every form goes form -> "is this right?" -> written. What is written can be taken back."""

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.objection import Objection, question
from monitor.brooding.splitting import objection_to_any, split, taken_back_with, with_other_half
from monitor.events import Entry, EntryKind
from monitor.page.forms import FilledForm, read_form
from monitor.page.ledger_forms import FORMS, LedgerForm, entry_from, ledger_objects
from monitor.page.ledger_words import sentence_of, worth_knowing
from monitor.page.screen import Screen, get, post

SHOWN_ENTRIES = 40
JUST_CAME_S = 3 * 86400.0


class DoScreen(Screen):
    @get("/do")
    async def look(self, request: Request) -> Response:
        ledger = await self._frame.api.ledger()
        asked = request.query_params.get("kept", "")
        kept = ledger.entry(int(asked)) if asked.isascii() and asked.isdigit() else None
        if kept is not None:
            await self._frame.api.kept(kept.number)
        hidden = (EntryKind.UNDO, EntryKind.CHECKED)  # ticks have a list of their own
        written = [e for e in ledger.entries if e.entry not in hidden]
        return self._frame.screen(
            request,
            "do.html",
            boxes=[(box, ledger.running(box.name)) for box in self._frame.api.site.brooders],
            expected=ledger.all_expected(),
            just_came=self._frame.clock() - JUST_CAME_S,
            forms=FORMS.values(),
            kept=kept,
            on_disk=self._frame.api.on_disk,
            entries=[
                (entry, sentence_of(entry), entry.number in ledger.undone)
                for entry in reversed(written[-SHOWN_ENTRIES:])
            ],
            kept_words=sentence_of,
            once=self._once.mark,
        )

    @get("/do/{form}")
    async def fill_in(self, request: Request) -> Response:
        """An empty form, the brooder chosen when there is only one."""
        what = self._form_of(request)
        names = self._frame.boxes
        asked = request.query_params.get("brooder", names[0] if len(names) == 1 else "")
        return self._form(request, what, FilledForm(values={"brooder": asked}))

    @post("/do/{form}")
    async def write(self, request: Request) -> Response:
        what = self._form_of(request)
        form = await read_form(request, self._frame.sessions)
        site, now = self._frame.api.site, self._frame.clock()
        if form["change"]:
            return self._form(request, what, form)
        entry = entry_from(form, what, site, now)
        if entry is None:
            return self._form(request, what, form, status=422)
        ledger = await self._frame.api.ledger()
        entries = split(entry, form["into"] or None, ledger)
        if form["sure"]:
            try:
                return await self._written(form, *entries)
            except Objection as words:
                form.wrong[""] = str(words)
                return self._form(request, what, form, status=422)
        if not ledger_objects(form, entry, ledger, site):
            wrong = objection_to_any(ledger, entries, zone=site.timezone)
            form.wrong |= {"into" if len(entries) > 1 else "brooder": wrong} if wrong else {}
        if form.wrong:
            return self._form(request, what, form, status=422)
        ends = question(ledger, entry, site)
        return self._frame.sure(
            request,
            what.title,
            [
                *map(sentence_of, entries),
                *([ends] if ends else []),
                *worth_knowing(entries[-1], site, self._frame.say(), split=len(entries) > 1),
            ],
            at=entry.at if form["at"].strip() else None,
            action=f"/do/{what.name}",
            values={**form.values, "once": self._once.mark()},
            yes="Yes, write it down",
            can_change=True,
        )

    @get("/do/undo/{number:int}")
    async def undo(self, request: Request) -> Response:
        number = int(request.path_params["number"])
        ledger = await self._frame.api.ledger()
        entry = ledger.entry(number)
        if entry is None:
            raise HTTPException(404)
        back = with_other_half(entry, ledger)
        undoing = [self._undoing(one.number) for one in back]
        words = objection_to_any(ledger, undoing)
        ends = None if words else question(ledger, undoing[0], self._frame.api.site)
        return self._frame.sure(
            request,
            f"Take entry {number} back",
            [words] if words else [*map(sentence_of, back), *([ends] if ends else [])],
            status=200 if words is None else 409,
            at=entry.at,
            action=f"/do/undo/{number}" if words is None else None,
            values={"once": self._once.mark()},
            yes="Yes, take it back",
            back="/do",
        )

    @post("/do/undo/{number:int}")
    async def undo_now(self, request: Request) -> Response:
        form = await read_form(request, self._frame.sessions)
        number = int(request.path_params["number"])
        ledger = await self._frame.api.ledger()
        back = taken_back_with(number, ledger)
        try:
            return await self._written(form, *map(self._undoing, back))
        except Objection as words:
            return self._refused(request, f"Take entry {number} back", words)

    @get("/do/contacts")
    async def contacts(self, request: Request) -> Response:
        return self._contacts(request, None)

    @post("/do/contacts")
    async def try_contacts(self, request: Request) -> Response:
        form = await read_form(request, self._frame.sessions)
        if self._once.used(form["once"]) is not None:
            return RedirectResponse("/do/contacts", 303)
        try:
            said = await self._frame.api.try_contacts(form["contact"] or None)
        except Objection as words:
            return self._refused(request, "Try the contacts", words)
        return self._contacts(request, said)

    async def _written(self, form: FilledForm, *entries: Entry) -> Response:
        """However often the form comes; all of them or none. Raises Objection."""
        there = self._once.used(form["once"])
        if there is None:
            try:
                if len(entries) > 1:
                    words = objection_to_any(await self._frame.api.ledger(), entries)
                    if words is not None:
                        raise Objection(words)  # noqa: TRY301 - as the service would raise it
                numbers = [await self._frame.api.submit(entry) for entry in entries]
                there = f"/do?kept={numbers[-1]}"
            except Objection:
                self._once.free(form["once"])
                raise
            self._once.led_to(form["once"], there)
        return RedirectResponse(there or "/do", 303)

    def _form(
        self, request: Request, what: LedgerForm, form: FilledForm, status: int = 200
    ) -> Response:
        return self._frame.screen(
            request, "ledger_form.html", status=status, what=what, form=form, kinds=KINDS
        )

    def _contacts(self, request: Request, said: list[Any] | None) -> Response:
        return self._frame.screen(
            request,
            "contacts.html",
            contacts=self._frame.api.watcher()["contacts"],
            said=said,
            once=self._once.mark(),
        )

    def _refused(self, request: Request, title: str, words: Objection) -> Response:
        return self._frame.sure(request, title, [str(words)], status=409, back="/do")

    def _undoing(self, number: int) -> Entry:
        return Entry(at=self._frame.clock(), entry=EntryKind.UNDO, undoes=number, by="page")

    def _form_of(self, request: Request) -> LedgerForm:
        try:
            return FORMS[request.path_params["form"]]
        except KeyError:
            raise HTTPException(404) from None
