"""The Set-up screen: the steps and what is missing in each, what was refused, the configuration in
force, and the probe check. Called by `app`."""

import asyncio

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from monitor.brooding.objection import Objection
from monitor.page.forms import FilledForm, read_form
from monitor.page.frame import Frame
from monitor.page.probe_check import LASTS_S, Method, ProbeCheck
from monitor.page.screen import Screen, get, post
from monitor.page.screen_alarm import cleaning_entries
from monitor.page.screen_steps import StepsScreen
from monitor.set_up_form import WrongAnswers
from monitor.settings.set_up_steps import AS_IN_EXAMPLE, NONE_YET

LOOK_EVERY_S = 4.0
_ASIDE_MINUTES = 20.0  # the ten minutes of the check, and time to put the probes back


class SetUpScreen(Screen):
    def __init__(self, frame: Frame, steps: StepsScreen) -> None:
        super().__init__(frame)
        self._steps = steps
        self._check: ProbeCheck | None = None
        self._looking: asyncio.Task[None] | None = None

    @get("/set-up")
    async def look(self, request: Request) -> Response:
        api = self._frame.api
        missing = api.missing()
        why_not = None
        try:
            steps = await api.set_up.steps()
        except Objection as why:
            steps, why_not = {}, str(why)
        return self._frame.screen(
            request,
            "set_up.html",
            steps=steps,
            why_not=why_not,
            missing=missing,
            nothing=NONE_YET,
            copied={step for step, now in steps.items() if now.endswith(AS_IN_EXAMPLE)},
            lacking={one.step for one in missing if one.essential},
            left=[one for one in missing if one.essential and (one.step or not one.alarmed)],
            refused=api.refused(),
            settings=api.settings_shown(),
            version=api.watcher().get("version"),
        )

    @get("/set-up/probes")
    async def probes(self, request: Request) -> Response:
        """The check: its form, how far it is, or what it came to."""
        return self._screen(request, FilledForm())

    @post("/set-up/probes")
    async def begin(self, request: Request) -> Response:
        """Starts a check. Alarms that it would set off are put aside first."""
        form = await read_form(request, self._frame.sessions)
        site = self._frame.api.site
        method = form.one_of("method", tuple(Method), "How")
        keys = tuple(p.key for p in site.all_probes if form[f"probe {p.key}"])
        if not keys:
            form.wrong["probes"] = "Choose the probes that lie together now."
        if method is None or not keys:
            return self._screen(request, form, status=422)
        now = self._frame.clock()
        touched = {p.brooder for p in site.all_probes if p.key in keys and p.brooder}
        try:
            for box in sorted(touched):
                for entry in cleaning_entries(box, _ASIDE_MINUTES, "probe check", now):
                    await self._frame.api.submit(entry)
        except Objection as words:
            form.wrong[""] = str(words)
            return self._screen(request, form, status=409)
        self.end()
        self._check = ProbeCheck(method=Method(method), keys=keys, started=now)
        self._looking = asyncio.create_task(self._keep_looking(self._check))
        return RedirectResponse("/set-up/probes", 303)

    @post("/set-up/probes/end")
    async def stop(self, request: Request) -> Response:
        await read_form(request, self._frame.sessions)
        self.end()
        self._check = None
        return RedirectResponse("/set-up/probes", 303)

    @post("/set-up/probes/correct")
    async def correct(self, request: Request) -> Response:
        """Shows the change by which the probes are corrected."""
        await read_form(request, self._frame.sessions)
        check, site = self._check, self._frame.api.site
        found = [] if check is None else check.findings(site)
        offsets_c = {
            one.key: one.offset_c for one in found if one.doubt is None and one.offset_c is not None
        }
        try:
            proposed = await self._frame.api.set_up.propose_offsets(offsets_c)
        except (Objection, WrongAnswers) as why:
            return self._steps.refused(request, str(why))
        return self._steps.change(request, "Correct the probes", proposed)

    def end(self) -> None:
        if self._looking is not None:
            self._looking.cancel()
            self._looking = None

    async def _keep_looking(self, check: ProbeCheck) -> None:
        for _ in range(int(LASTS_S / LOOK_EVERY_S) + 2):
            check.take(self._frame.api.status())
            if self._frame.clock() > check.ends:
                return
            await asyncio.sleep(LOOK_EVERY_S)

    def _screen(self, request: Request, form: FilledForm, status: int = 200) -> Response:
        check, site = self._check, self._frame.api.site
        left_s = 0.0 if check is None else max(0.0, check.ends - self._frame.clock())
        return self._frame.screen(
            request,
            "probe_check.html",
            status=status,
            form=form,
            check=check,
            left_s=left_s,
            names={p.key: f"{p.brooder or site.name}, {p.name}" for p in site.all_probes},
            heard={} if check is None else {k: len(v) for k, v in check.readings.items()},
            findings=[] if check is None or left_s else check.findings(site),
        )
