"""The guided set-up on the page: the steps, a form for each, the change before it is written, the
probes that are heard, and a new probe's card. Called by `app`."""

import base64
import io
import re
from typing import Any

import segno
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from monitor.bounded import Bounded
from monitor.brooding.objection import Objection
from monitor.page.forms import FilledForm, read_form
from monitor.page.frame import Frame
from monitor.page.screen import Screen, get, post
from monitor.quantities import POWER
from monitor.service.probe_accounts import Prepared
from monitor.set_up_form import HeardProbe, Step, StepForm, WrongAnswers
from monitor.settings.set_up_steps import PLACES
from monitor.site import Place, place_for
from monitor.tell.receivers import RECEIVERS
from monitor.tell.wording.meter_words import meter_line

_LONGEST_ABOUT = 100
_OF_A_BOX = (Step.BOX, Step.HEAT, Step.METERS)  # the first one, where none is named
# By kind of receiver: its addresses, and what to set on the phone.
_EXAMPLES = tuple(
    (one.kind, re.findall(r'name = "(.+)"\nurl = "(.+)"', one.lines), one.phone)
    for one in RECEIVERS
)
_MOST_PREPARED = 5


class StepsScreen(Screen):
    def __init__(self, frame: Frame) -> None:
        super().__init__(frame)
        self._prepared: Bounded[str, Prepared] = Bounded(_MOST_PREPARED)

    @get("/set-up/step/{step}")
    async def ask(self, request: Request) -> Response:
        """A step's questions, with what stands in the file."""
        step = _step(request)
        query = request.query_params
        if step is Step.BIRDS:
            return RedirectResponse("/do/place", 303)
        if step is Step.PROBES and not {"about", "topic", "new"} & query.keys():
            return RedirectResponse("/set-up/heard", 303)
        about = query.get("about", "")[:_LONGEST_ABOUT]
        if not about and step in _OF_A_BOX and "new" not in query:
            about = self._frame.api.site.brooders[0].name
        try:
            made = await self._frame.api.set_up.form(step, about)
        except (WrongAnswers, Objection) as why:
            return self._refused(request, step, str(why))
        values = {**made.values, **self._heard_as(query.get("topic", ""), about)}
        return self._form(request, made, FilledForm(values=values))

    @post("/set-up/step/{step}")
    async def propose(self, request: Request) -> Response:
        form = await read_form(request, self._frame.sessions)
        step = _step(request)
        about = form["about"][:_LONGEST_ABOUT]
        try:
            made = await self._frame.api.set_up.form(step, about)
        except (WrongAnswers, Objection) as why:
            return self._refused(request, step, str(why))
        try:
            proposed = await self._frame.api.set_up.propose(step, about, form.values)
        except WrongAnswers as wrong:
            form.wrong = wrong.by_field
            return self._form(request, made, form, status=422)
        except Objection as why:
            return self._refused(request, step, str(why))
        return self._frame.screen(
            request, "set_up_change.html", step=step, title=step.heading, proposed=proposed
        )

    @post("/set-up/write")
    async def write(self, request: Request) -> Response:
        form = await read_form(request, self._frame.sessions)
        step = Step(form["step"]) if form["step"] in tuple(Step) else Step.SITE
        try:
            notes = await self._frame.api.set_up.write(form["mark"])
        except Objection as why:
            return self._refused(request, step, str(why))
        moved = (await self._frame.api.set_up.steps())[Step.PAGE]
        after = list(Step)[list(Step).index(step) + 1 :]
        return self._frame.screen(
            request,
            "set_up_written.html",
            notes=notes,
            next=after[0] if after else None,
            moved=moved if step is Step.PAGE and "://" in moved else None,
            step=step,
            measures=any(
                (meter.quantity is POWER) is (step is Step.HEAT)
                for meter in self._frame.api.site.all_meters
            )
            and step in (Step.HEAT, Step.METERS),
        )

    @get("/set-up/heard")
    async def heard(self, request: Request) -> Response:
        site = self._frame.api.site
        heard, status = self._frame.api.set_up.heard(), self._frame.api.status()
        known = {meter.key: meter for meter in site.all_meters}
        here = {one.key: one for one in heard if one.key is not None}
        return self._frame.screen(
            request,
            "set_up_heard.html",
            unclaimed=[one for one in heard if one.key is None],
            probes=[
                (probe, probe.brooder or "every box", here.get(probe.key))
                for probe in site.all_probes
            ],
            meters=[
                (place, known[one.key].topic if not known[one.key].local else None, one)
                for place, meters in (
                    (site.name, status.meters),
                    *((box.name, box.meters) for box in status.brooders),
                )
                for one in meters
                if one.key in known
            ],
            meter_line=meter_line,
            hand=next((one for one in heard if one.in_hand), None),
        )

    @get("/set-up/new-probe")
    async def new_probe(self, request: Request) -> Response:
        return self._new_probe(request, FilledForm(values={"place": Place.FLOOR.value}))

    @post("/set-up/new-probe")
    async def prepare_probe(self, request: Request) -> Response:
        """Shows what follows from it, nothing written yet."""
        form = await read_form(request, self._frame.sessions)
        boxes = self._frame.boxes
        name = form.text("name", most=40)
        place = form.one_of("place", tuple(place.value for place, _ in PLACES), "Where it lies")
        box = form.one_of("box", tuple(boxes), "Which box") if len(boxes) > 1 else boxes[0]
        if name is None:
            form.wrong["name"] = "Give it a name, such as floor."
        if form.wrong or name is None or place is None:
            return self._new_probe(request, form, status=422)
        outside = Place(place) is Place.OUTSIDE
        try:
            ready = await self._frame.api.set_up.prepare_probe(
                name, None if outside else box, Place(place), network=bool(form["network"])
            )
        except Objection as why:
            form.wrong[""] = str(why)
            return self._new_probe(request, form, status=409)
        mark = self._once.mark()
        self._prepared[mark] = ready
        return self._frame.screen(request, "new_probe_sure.html", ready=ready, mark=mark)

    @post("/set-up/new-probe/add")
    async def add_probe(self, request: Request) -> Response:
        """Writes it, and shows its card, this once."""
        form = await read_form(request, self._frame.sessions)
        ready = self._prepared.pop(form["mark"], None)
        if ready is None:
            return RedirectResponse("/set-up/heard", 303)
        try:
            left = await self._frame.api.set_up.add_probe(ready)
        except Objection as why:
            return self._refused(request, Step.PROBES, str(why))
        return self._frame.screen(
            request, "new_probe_card.html", ready=ready, left=left, code=_code(ready.card.lines)
        )

    def change(self, request: Request, title: str, proposed: Any) -> Response:
        """A change that another screen proposes: of a probe check."""
        return self._frame.screen(
            request, "set_up_change.html", step=Step.PROBES, title=title, proposed=proposed
        )

    def refused(self, request: Request, why: str) -> Response:
        """The same where it cannot be."""
        return self._refused(request, Step.PROBES, why)

    # -- inside

    def _form(
        self, request: Request, made: StepForm, form: FilledForm, status: int = 200
    ) -> Response:
        unheard = []
        if made.step is Step.PROBES and not made.about and form["topic"]:
            heard = {one.key for one in self._frame.api.set_up.heard()}
            unheard = [p for p in self._frame.api.site.all_probes if p.key not in heard]
        return self._frame.screen(
            request,
            "set_up_step.html",
            status=status,
            made=made,
            form=form,
            unheard=unheard,
            receivers=_EXAMPLES if made.step is Step.CONTACTS else (),
        )

    def _new_probe(self, request: Request, form: FilledForm, status: int = 200) -> Response:
        boxes = self._frame.boxes
        return self._frame.screen(
            request, "new_probe.html", status=status, form=form, boxes=boxes, places=PLACES
        )

    def _heard_as(self, topic: str, about: str) -> dict[str, str]:
        """The topic and form in which it is heard, for a probe that is to be it."""
        one: HeardProbe | None = next(
            (h for h in self._frame.api.set_up.heard() if topic and h.topic == topic), None
        )
        if one is None:
            return {"topic": topic} if topic else {}
        said = {"topic": one.topic, "unit": one.unit, "value": one.value}
        if not about:
            last = one.topic.rstrip("/").rsplit("/", 1)[-1]
            name = last[:40] if any(c.isalpha() for c in last) else ""
            said |= {"name": name, "place": place_for(one.topic).value}
        return said

    def _refused(self, request: Request, step: Step, why: str) -> Response:
        return self._frame.screen(request, "set_up_refused.html", status=409, step=step, why=why)


def _step(request: Request) -> Step:
    try:
        return Step(request.path_params["step"])
    except ValueError:
        raise HTTPException(404) from None


def _code(text: str) -> str:
    """A picture for a phone's camera, as a data URL."""
    drawn = io.BytesIO()
    segno.make(text, error="l").save(drawn, kind="svg", scale=4, dark="#000", light="#fff")
    return "data:image/svg+xml;base64," + base64.b64encode(drawn.getvalue()).decode()
