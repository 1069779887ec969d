"""Before the order: will this box and this heat rear so many birds? A question, nothing is written.
Called by `app`; the answer is the one `brooder plan` gives."""

from collections.abc import Mapping

from starlette.requests import Request
from starlette.responses import Response

from monitor.brooding.bird_kinds import KINDS
from monitor.brooding.envelope import COVERS, WALLS, Cover, Wall
from monitor.brooding.rearing_plan import MOST_BIRDS, changed_box, rearing_plan
from monitor.page.forms import FilledForm
from monitor.page.phrases import capital
from monitor.page.screen import Screen, get
from monitor.page.screen_tonight import temp_in
from monitor.tell.wording.plan_words import PlanSection, plan_sections

_COLDEST_C, _WARMEST_C = -60.0, 50.0


class PlanScreen(Screen):
    @get("/do/plan")
    async def ask(self, request: Request) -> Response:
        form = FilledForm(values=dict(request.query_params))
        names = self._frame.boxes
        form.values.setdefault("brooder", names[0])
        form.values.setdefault("kind", "broiler")
        sections = self._planned(form, names) if form["ask"] else ()
        lows_c = self._frame.api.watcher()["forecast_lows"]
        return self._frame.screen(
            request,
            "plan.html",
            status=422 if form.wrong else 200,
            form=form,
            sections=sections,
            kinds=[(kind.name, kind.many) for kind in KINDS.values()],
            covers=_choices(COVERS),
            walls=_choices(WALLS),
            forecast_low_c=min(lows_c, default=None),
        )

    def _planned(self, form: FilledForm, names: tuple[str, ...]) -> tuple[PlanSection, ...]:
        site = self._frame.api.site
        count = form.whole_number("count", least=1, most=MOST_BIRDS, what="How many birds")
        kind = form.one_of("kind", tuple(KINDS), "What kind of bird")
        low_c = temp_in(form, "low", "A temperature, like 12 or -3.", site.units)
        lows_c = [] if form["low"].strip() else self._frame.api.watcher()["forecast_lows"]
        if lows_c:
            low_c = min(lows_c)
        elif low_c is None:
            form.wrong.setdefault("low", "The coldest night to expect, like 12 or -3.")
        elif not _COLDEST_C <= low_c <= _WARMEST_C:
            form.wrong["low"] = "No night is that cold or warm."
        name = form.one_of("brooder", names, "Which brooder")
        if name is None:
            return ()
        box, wrong = changed_box(site.brooder(name), form.values, site.units)
        form.wrong |= {field: f"{capital(why)}." for field, why in wrong.items()}
        if form.wrong or kind is None or count is None or low_c is None:
            return ()
        return plan_sections(
            rearing_plan(box, kind, count, low_c), site, forecast_nights=len(lows_c)
        )


def _choices(known: Mapping[str, Cover] | Mapping[str, Wall]) -> list[tuple[str, str]]:
    return [("", "As configured"), *((name, one.title) for name, one in known.items())]
