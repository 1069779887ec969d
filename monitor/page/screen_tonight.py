"""Will it hold tonight, and with another cover or more heat? A question, nothing is written. Called
by `app`; the answer is the one `brooder tonight` gives."""

from starlette.requests import Request
from starlette.responses import Response

from monitor.brooding.envelope import COVERS
from monitor.brooding.lamp_safety import overload
from monitor.brooding.objection import Objection
from monitor.measures import temp_c
from monitor.page.forms import FilledForm
from monitor.page.screen import Screen, get
from monitor.tell.wording import first_aid
from monitor.units import Unit

MOST_WATTS = 5000.0
_COLDEST_C, _WARMEST_C = -50.0, 45.0


class TonightScreen(Screen):
    @get("/do/tonight")
    async def ask(self, request: Request) -> Response:
        form = FilledForm(values=dict(request.query_params))
        names = self._frame.boxes
        if len(names) == 1:
            form.values.setdefault("brooder", names[0])
        lines: tuple[str, ...] = ()
        if form["ask"]:
            lines = await self._answered(form, names)
        return self._frame.screen(
            request,
            "tonight.html",
            status=422 if form.wrong else 200,
            form=form,
            lines=lines,
            covers=[("", "As it is now"), *((name, cover.title) for name, cover in COVERS.items())],
        )

    async def _answered(self, form: FilledForm, names: tuple[str, ...]) -> tuple[str, ...]:
        box = form.one_of("brooder", names, "Which brooder")
        words = "A temperature, like 12 or -3; leave it empty if not known."
        low_c = temp_in(form, "low", words, self._frame.api.site.units)
        watts = number_in(form, "watts", "Watts, like 250; leave it empty for none.")
        cover = form.one_of("cover", tuple(COVERS), "Cover") if form["cover"] else None
        if low_c is not None and not _COLDEST_C <= low_c <= _WARMEST_C:
            form.wrong["low"] = "No night is that cold or warm."
        if watts is not None and not 0 <= watts <= MOST_WATTS:
            form.wrong["watts"] = f"From 0 to {MOST_WATTS:.0f} W."
        if box is None or form.wrong:
            return ()
        try:
            said = await self._frame.api.tonight(
                box, low_c=low_c, cover=cover, extra_watts=watts or 0.0
            )
        except Objection as words:
            form.wrong[""] = str(words)
            return ()
        return tuple(dict.fromkeys((*said["lines"], *self._cautions(box, watts or 0.0, cover))))

    def _cautions(self, box: str, watts: float, cover: str | None) -> list[str]:
        """What the grower asks about must not end in a fire."""
        site = self._frame.api.site
        brooder = site.brooder(box)
        found: list[str] = []
        full = overload(site, brooder.watts + watts)
        if watts > 0 and full is not None:
            found.append(full)
        lamps = any(source.kind == "lamp" for source in brooder.heat)
        if watts > 0 or (lamps and cover not in (None, "none", "wire")):
            found.append(first_aid.LAMP_CARE)
        return found


def temp_in(form: FilledForm, name: str, words: str, bare: Unit) -> float | None:
    """In degC, written with its unit or without; None when there is none or it is wrong."""
    said = form[name].strip().replace("−", "-")
    try:
        return temp_c(said, bare) if said else None
    except ValueError:
        form.wrong[name] = words
        return None


def number_in(form: FilledForm, name: str, words: str) -> float | None:
    """A number; None when there is none or it is wrong."""
    said = form[name].strip().replace(",", ".").replace("−", "-")
    if not said:
        return None
    try:
        number = float(said)
    except ValueError:
        number = float("nan")
    if number != number or abs(number) > 1e6:  # noqa: PLR0124 - not a number
        form.wrong[name] = words
        return None
    return number
