"""What is done with an alarm: acknowledge, put aside (shelve), watch again; and putting a whole box
aside while it is cleaned out. Called by `app`."""

from dataclasses import replace
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from monitor.brooding.objection import Objection
from monitor.events import Entry, EntryKind, Priority
from monitor.page.alarm_card import card, same_trouble
from monitor.page.alarm_words import alarm_view, aside, link
from monitor.page.forms import FilledForm, read_form
from monitor.page.phrases import capital
from monitor.page.screen import Screen, get, post
from monitor.watch.alarm_table import CHILL_MOST_MINUTES, TABLE, cleaning_out
from monitor.watch.life_cycle import AlarmState
from monitor.watch.status import AlarmStatus

# Cleaning out opens the cover, moves lamps and pulls probes. Overheat is not among them: a lamp
# laid down "for a moment" is how litter catches fire.
MINUTES = (15, 30, 60, 120, 240)
TAKEN_WITHIN_S = 1.0  # the watch renews its status at once when somebody did something
CLEANING_MINUTES = (15, 30, 60, 120)


class AlarmScreen(Screen):
    @get("/alarm/{occurrence:path}/acknowledge")
    async def ask_acknowledge(self, request: Request) -> Response:
        """How it stands, what to do, and the one button; once answered, what comes next."""
        alarm = self._alarm(request)
        status, say = self._frame.api.status(), self._frame.say()
        together = same_trouble(alarm, status)
        return self._frame.screen(
            request,
            "alarm_screen.html",
            cards=[card(one, status, self._frame.api.site, say) for one in together],
            action=link(alarm, "acknowledge"),
            once=self._once.mark(),
            signed=True,
            memory=request.query_params.get("memory") == "yes",
        )

    @post("/alarm/{occurrence:path}/acknowledge")
    async def acknowledge(self, request: Request) -> Response:
        """Stops the repeats, of all boxes that have the same trouble. Back to the screen, which
        says what comes next; of what is over, to Now."""
        alarm = self._alarm(request)
        together = same_trouble(alarm, self._frame.api.status())
        form = await read_form(request, self._frame.sessions)
        over = alarm.state is AlarmState.RETURNED or alarm.priority is Priority.ADVICE
        there = "/" if over else link(alarm, "acknowledge")
        entries = [self._entry(EntryKind.ACKNOWLEDGE, one) for one in together]
        return await self._submit(request, form, entries, there)

    @get("/alarm/{occurrence:path}/shelve")
    async def ask_shelve(self, request: Request) -> Response:
        return self._shelve_form(request, self._alarm(request), FilledForm())

    @post("/alarm/{occurrence:path}/shelve")
    async def shelve(self, request: Request) -> Response:
        alarm = self._alarm(request)
        form = await read_form(request, self._frame.sessions)
        minutes, note = _minutes_and_reason(form, _minutes_for(alarm))
        if minutes is None or note is None:
            return self._shelve_form(request, alarm, form, status=422)
        entry = replace(self._entry(EntryKind.SHELVE, alarm), minutes=minutes, note=note)
        return await self._submit(request, form, [entry])

    @get("/do/put-aside")
    async def ask_put_aside(self, request: Request) -> Response:
        return self._put_aside_form(
            request, self._frame.box_of(request.query_params.get("brooder")), FilledForm()
        )

    @post("/do/put-aside")
    async def put_aside(self, request: Request) -> Response:
        """Puts a box's alarms aside for the time of the work."""
        form = await read_form(request, self._frame.sessions)
        box = self._frame.box_of(form["brooder"])
        minutes, note = _minutes_and_reason(form, CLEANING_MINUTES)
        if minutes is None or note is None:
            return self._put_aside_form(request, box, form, status=422)
        return await self._submit(
            request, form, cleaning_entries(box, minutes, note, self._frame.clock())
        )

    @get("/do/watch-again")
    async def ask_watch_again(self, request: Request) -> Response:
        box = request.query_params.get("brooder", "")
        return self._frame.sure(
            request,
            f"{self._frame.say().where(box or None)}: watched again",
            [one.words for one in aside(tuple(self._of(box)), self._frame.say())]
            + ["From now on it is watched again, and told when it is not right."],
            action="/do/watch-again",
            values={"once": self._once.mark(), "brooder": box},
            yes="Yes, watch it again",
        )

    @post("/do/watch-again")
    async def watch_again(self, request: Request) -> Response:
        """All that is put aside in a box, or of the site."""
        form = await read_form(request, self._frame.sessions)
        shelved = [a for a in self._of(form["brooder"]) if a.state is AlarmState.SHELVED]
        by_name = {alarm.alarm: alarm for alarm in shelved}
        entries = [self._entry(EntryKind.UNSHELVE, alarm) for alarm in by_name.values()]
        return await self._submit(request, form, entries)

    def _of(self, box: str) -> list[AlarmStatus]:
        alarms = self._frame.api.status().all_alarms
        return [alarm for alarm in alarms if (alarm.brooder or "") == box]

    async def _submit(
        self, request: Request, form: FilledForm, entries: list[Entry], there: str = "/"
    ) -> Response:
        if self._once.used(form["once"]) is not None:
            return RedirectResponse(there, 303)
        api, kept = self._frame.api, True
        try:
            for number in [await api.submit(entry) for entry in entries]:
                kept = kept and await api.kept(number)
        except Objection as words:
            self._once.free(form["once"])
            return self._frame.screen(request, "fault.html", status=409, words=str(words))
        if not kept:
            there += "?memory=yes" if there != "/" else ""
        self._once.led_to(form["once"], there)
        await self._frame.api.changed(TAKEN_WITHIN_S)  # the screen that follows is to know of it
        return RedirectResponse(there, 303)

    def _entry(self, kind: EntryKind, alarm: AlarmStatus) -> Entry:
        name, at = alarm.alarm.value, self._frame.clock()
        return Entry(at=at, entry=kind, brooder=alarm.brooder, alarm=name, by="page")

    def _alarm(self, request: Request) -> AlarmStatus:
        """The alarm of the address, which may be over by now."""
        occurrence = request.path_params["occurrence"]
        for alarm in self._frame.api.status().all_alarms:
            if alarm.occurrence == occurrence:
                return alarm
        raise HTTPException(410, "That alarm is over and answered. Now shows how things stand.")

    def _shelve_form(
        self, request: Request, alarm: AlarmStatus, form: FilledForm, status: int = 200
    ) -> Response:
        shown = alarm_view(alarm, self._frame.api.site, self._frame.say(), None)
        return self._aside(
            request,
            form,
            status,
            title=f"Put aside: {shown.title}",
            words="You will not be told about it while it is put aside. It comes back by "
            "itself when the time is up. Somebody should be at the box until then.",
            action=link(alarm, "shelve"),
            minutes=_minutes_for(alarm),
        )

    def _put_aside_form(
        self, request: Request, box: str, form: FilledForm, status: int = 200
    ) -> Response:
        form.values.setdefault("reason", "cleaning out")
        form.values["brooder"] = box
        return self._aside(
            request,
            form,
            status,
            title=f"Cleaning out {capital(box)}",
            words="For this long you are not told of cold, heat, lost heat, silence or probe "
            "faults in this box. Of dangerous cold you are told again after "
            f"{CHILL_MOST_MINUTES} minutes, since more of it harms the chicks, and of dangerous "
            "heat all the time: a lamp that is laid down can set litter on fire.",
            action="/do/put-aside",
            minutes=CLEANING_MINUTES,
        )

    def _aside(self, request: Request, form: FilledForm, status: int, **said: Any) -> Response:
        once = self._once.mark()
        return self._frame.screen(
            request, "put_aside.html", status=status, form=form, once=once, **said
        )


def cleaning_entries(box: str, minutes: float, note: str, at: float) -> list[Entry]:
    """What cleaning out sets off is put aside."""
    return [
        Entry(
            at=at, entry=EntryKind.SHELVE, brooder=box, alarm=name.value, minutes=float(lasts),
            note=note, by="page",
        )
        for name, lasts in cleaning_out(minutes).items()
    ]  # fmt: skip


def _minutes_for(alarm: AlarmStatus) -> tuple[int, ...]:
    most = TABLE[alarm.alarm].shelve_max_s / 60
    return tuple(minutes for minutes in MINUTES if minutes <= most)


def _minutes_and_reason(
    form: FilledForm, on_offer: tuple[int, ...]
) -> tuple[int | None, str | None]:
    minutes = form.one_of("minutes", tuple(str(m) for m in on_offer), "For how many minutes")
    note = form.text("reason", most=120)
    if note is None:
        form.wrong.setdefault("reason", "Say why in a word or two, for whoever looks later.")
    return (None if minutes is None else int(minutes)), None if form.wrong else note
